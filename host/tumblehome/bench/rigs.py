"""What a sequence is run on: a controller in lockstep with a simulated lander, or a board with its own sensors.

Both are a `Rig`: values by name that change as time passes, and things that can be done. Times are seconds of the
controller since the sequence began; the clock on the wall is divided by the speed.
"""

import time
from collections.abc import Callable
from typing import Protocol

from lander.signals import OUTPUTS
from seatrial.deeds import parse as parse_fault
from seatrial.plan import Plan
from seatrial.result import DiveResult
from seatrial.staged import StagedDive, check_reading
from tumblehome.bench.circuits import are_swapped
from tumblehome.bench.link import Link, LinkError, Refused, Session, heard_by_ds
from tumblehome.bench.people import Person
from tumblehome.bench.sequence import AS_FAST_AS_IT_ANSWERS, COMMAND_NUMBERS, POKED

LOOK_S = 0.2  # between two looks at a board that flies by itself, of its time
LOOK_WALL_S = 0.05  # and no sooner than this by the wall
ALIVE_S = 20.0  # a session that is silent for a minute is over: something is said as often as this
RAMP_S = 1.0  # readings on a line go in steps of so long
HEARS_S = 5.0  # a command is heard so long after it is due
FINDS_S = 15.0  # a trickle has its answer by then
OUTPUT_NAMES = tuple(row[0] for row in OUTPUTS)
# What may be on at the pins, and how it is told.
MAY_BE_ON = {"release_primary_pct": "the primary release", "release_backup_pct": "the backup release",
             "camera_supply": "the camera's supply", "lights_pct": "the lights", "fan": "the fan",
             "beacon_code": "the beacon"}


class Rig:
    """What both have in common."""

    where = ""
    plan: Plan

    @property
    def now_s(self) -> float:
        raise NotImplementedError

    def values(self) -> dict[str, int]:
        """All that can be seen now, by name."""
        raise NotImplementedError

    def go_on(self, until_s: float) -> None:
        """Let time pass, to that moment at the most, or until there may be something new to see."""
        raise NotImplementedError

    def wait(self, for_s: float) -> None:
        """Let so much time pass."""
        end_s = self.now_s + for_s
        while self.now_s < end_s - 1e-6:
            self.go_on(end_s)


class SessionRig(Rig):
    """The mission in lockstep, on a lander of the plan that stands on deck until a dive begins.

    `body` is any of `seatrial.bodies`. `speed` is mission seconds in a second, 0: as fast as it answers.
    """

    def __init__(self, body, plan, speed: float = AS_FAST_AS_IT_ANSWERS, seed: int = 1,
                 sleep: Callable[[float], None] = time.sleep) -> None:
        self.where = body.name
        self._body = body
        self.plan = plan
        self._speed = speed
        self._sleep = sleep
        self._before_s = 0.0  # of flights of this sequence that are over
        self._paced_s = 0.0
        self.flown: list[StagedDive] = []  # that are over, in order
        self._dive = StagedDive(plan, body, seed=seed, at_sea=False)
        self._begin()

    @property
    def now_s(self) -> float:
        return self._before_s + self._dive.now_s

    @property
    def journals(self) -> list[bytes]:
        """What the mission has written, as it lies in its slots: on deck, in the dive, on deck again."""
        return [bytes(flight.world_store.data) for flight in (*self.flown, self._dive)]

    def values(self) -> dict[str, int]:
        dive = self._dive
        seen = {name: getattr(dive.inputs, name) for name in type(dive.inputs).__slots__}
        return {**seen, **{name: getattr(dive.outputs, name) for name in OUTPUT_NAMES}}

    def go_on(self, until_s: float) -> None:
        if not self._dive.go_on(until_s - self._before_s):
            self._before_s = max(self._before_s, until_s - self._dive.now_s)  # nothing happens any more
        self._pace()

    def set(self, readings: dict[str, int], over_s: float = 0.0) -> None:
        """The controller is told these from now on. Raises ValueError, and nothing is changed then."""
        for name, value in readings.items():
            check_reading(name, value)
        before = self.values()
        steps = max(1, int(over_s / RAMP_S))
        for number in range(1, steps + 1):
            if over_s:
                self.wait(over_s / steps)
            for name, value in readings.items():
                self._dive.hold_reading(name, round(before[name] + (value - before[name]) * number / steps))
        self._step_now()

    def let_go(self) -> None:
        """Readings are those of the lander again."""
        self._dive.let_go()
        self._step_now()

    def put_in(self, fault: str) -> None:
        """Something breaks."""
        self._dive.put_in(parse_fault(fault))

    def command(self, word: str) -> str:
        self._dive.tell(COMMAND_NUMBERS[word])
        self._step_now()
        return ""

    def magnet(self, for_s: float) -> str:
        dive = self._dive
        dive.at(dive.now_s, lambda: dive.hold_magnet(for_s))
        self.wait(for_s)
        self._step_now()
        return ""

    def power_off(self, for_s: float) -> str:
        self._dive.switch_off(for_s)
        self.wait(for_s + self.plan.power.boot_s)
        self._step_now()
        return ""

    def begin_dive(self, faults: tuple[str, ...], seed: int) -> None:
        """From here on a lander of the plan dives, armed and thrown in as planned, on a journal of its own."""
        self._before_s = self.now_s
        self.flown.append(self._dive)
        self._dive = StagedDive(self.plan, self._body, [parse_fault(fault) for fault in faults], seed)
        self._begin()

    def end_dive(self) -> DiveResult:
        """The dive to its end, and what came of it."""
        while self._dive.go_on():
            self._pace()
        result = self._dive.finish()
        self._before_s = self.now_s
        self.flown.append(self._dive)
        self._dive = StagedDive(self.plan, self._body, at_sea=False)
        self._begin()
        return result

    def close(self) -> None:
        self._body.close()

    def leave(self) -> str:
        """Somebody stops the sequence: the controller starts anew, with all outputs off; in words, what is known of it.
        """
        self.close()
        if not isinstance(self._body, Session):
            return "the controller is gone with it"
        dry = "" if self._body.is_live else "its outputs were dry, and "
        try:
            self._body.link.come_back()
        except LinkError:
            return dry + "the controller was told to start anew and has not answered since: look whether anything is on"
        return dry + "the controller has started anew, which switches every output off"

    def _begin(self) -> None:
        self._dive.begin()
        self._step_now()

    def _step_now(self) -> None:
        """What was changed has reached the controller, and what it wants has come back."""
        dive = self._dive
        if dive.world.controller_on:
            dive.wake()
            dive.go_on()
            self._pace()

    def _pace(self) -> None:
        """Wait until the wall's clock has come so far too."""
        if not self._speed:
            return
        left_s = (self.now_s - self._paced_s) / self._speed
        self._paced_s = self.now_s
        while left_s > 0.0:
            self._sleep(min(left_s, ALIVE_S))
            left_s -= ALIVE_S
            if left_s > 0.0 and hasattr(self._body, "heap"):
                self._body.heap()


class Clock(Protocol):
    """How time goes on a board."""

    @property
    def speed(self) -> float:
        """Seconds of the board in a second of the wall, where this machine is fast enough."""

    @property
    def now_s(self) -> float:
        """Seconds of the board, from any moment on."""

    def let_pass(self, for_s: float) -> None:
        """Wait until so much has passed, about."""


class WallClock:
    """Time of a real board is the wall's."""

    speed = 1.0

    @property
    def now_s(self) -> float:
        return time.monotonic()

    def let_pass(self, for_s: float) -> None:
        time.sleep(for_s)


class BoardRig(Rig):
    """A board that flies by itself, seen through its line; a `person` touches what the line cannot.

    `clock` is the wall's but for a practice board. Raises LinkError.
    """

    def __init__(self, link: Link, person: Person, plan: Plan, clock: Clock | None = None) -> None:
        greeting = link.greeting
        self.where = "%s, board %s, chip %s" % (link.url, greeting.get("board", "?"), greeting.get("id", "?"))
        self.link = link
        self.plan = plan
        self._person = person
        self._clock = clock or WallClock()
        self._clock.let_pass(0.0)  # a practice board waits from here on
        self._began_s = self._clock.now_s
        self._poked: dict[str, int] = {}
        self._circuits: dict[str, int] = {}

    @property
    def now_s(self) -> float:
        return self._clock.now_s - self._began_s

    def values(self) -> dict[str, int]:
        return {**self.link.readings(), **self._poked, **self._circuits}

    def go_on(self, until_s: float) -> None:
        look_s = max(LOOK_S, LOOK_WALL_S * self._clock.speed)
        self._clock.let_pass(max(0.0, min(look_s, until_s - self.now_s)))

    def command(self, word: str) -> str:
        """Ask, and wait until a step of the mission has taken it."""
        end_s = self.now_s + HEARS_S
        while True:
            try:
                self.link.ask("ask", command=word)
                break
            except Refused as error:
                if not error.reason.startswith("busy") or self.now_s > end_s:
                    raise
            self.wait(LOOK_S)
        seen = self.link.readings()
        end_s = self.now_s + HEARS_S + seen["wake_ds"] / 10
        while self.link.readings()["uptime_ds"] < heard_by_ds(seen) and self.now_s < end_s:
            self.wait(LOOK_S)
        return ""

    def magnet(self, for_s: float) -> str:
        return self._person.magnet(for_s, self.wait)

    def power_off(self, for_s: float) -> str:
        said = self._person.power_off(for_s, self.wait)
        self.link.come_back()
        return said

    def answer(self, question: str) -> str:
        return self._person.answer(question)

    def do(self, words: str, touch: dict[str, int], over_s: float) -> str:
        return self._person.do(words, touch, over_s, self.wait)

    def poke(self, circuit: str, level: int, for_s: float) -> None:
        """One circuit on for a time; what was measured is among the values afterwards."""
        self._poked = {}
        self.link.ask("poke", output=circuit, level=level, ms=round(1000.0 * for_s))
        self.wait(for_s)
        said = self.link.ask("poked")
        while self.link.number_in(said, "left_ms"):
            self.wait(LOOK_S)
            said = self.link.ask("poked")
        told = {name: self.link.number_in(said, name) for name in POKED if name in said}
        if told["supply_ma"] >= 0 and told["rest_ma"] >= 0:
            told["more_ma"] = told["supply_ma"] - told["rest_ma"]
        self._poked = {"poked_" + name: value for name, value in told.items()}

    def trickle(self) -> None:
        """Both release circuits; what was found is among the values afterwards."""
        end_s = self.now_s + FINDS_S
        while True:
            said = self.link.ask("circuits")
            found = {channel: self.link.number_in(said, channel) for channel in ("primary", "backup")}
            if all(found.values()):
                break
            if self.now_s > end_s:
                raise LinkError("the release circuits were not found out within %.0f s: %s" % (FINDS_S, found))
            self.wait(LOOK_S)
        self._circuits = {channel + "_circuit": value for channel, value in found.items()}
        self._circuits["channels"] = int(are_swapped(found["primary"], self.link.number_in(said, "primary_mv")))

    def leave(self) -> str:
        """Somebody stops the sequence: what was poked ends, an armed lander is disarmed; in words, what it does now."""
        try:
            self.link.status()  # passes over the answer to what was asked last
            self.command("disarm")
            state = self.link.status().get("state", "in a state that it does not tell")
            seen = self.link.readings()
        except LinkError:
            return "the controller does not answer, may be armed, and flies on by itself: look at its status lamp"
        on = [words for name, words in MAY_BE_ON.items() if seen.get(name)]
        return "it was told to disarm and is %s, with %s" % (
            state, "%s on, as its mission wants" % " and ".join(on) if on else "every output off")

    def close(self) -> None:
        self.link.close()
