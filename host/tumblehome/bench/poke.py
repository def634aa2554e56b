"""`tumblehome bench poke`: one circuit on for a moment, what it draws, and whether that is what the plan says.

A release is not among them: the mission itself fires it, in two steps, and only here after a word that somebody types.
"""

import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from lander import lamps
from seatrial.plan import Plan
from seatrial.world import duty
from tumblehome import options, terminal
from tumblehome.bench.firing import CHANNELS, fire_release
from tumblehome.bench.link import Gone, Link, Refused
from tumblehome.bench.ports import FAILED, Port, controller
from tumblehome.bench.showing import pairs_table, show_cautions
from tumblehome.rehearsal import read_plan
from tumblehome.wording import CAUTIONS, NOTHING

SHORTEST_S, LONGEST_S = 0.05, 10.0
USUAL_S = 2.0
CAMERA_LONGEST_S = 60.0  # one that starts slowly
CAMERA_UP_S = 0.5  # from its supply to the press of its button
CAMERA_SEEN_S = 2.0  # how long it is measured once it has started
LOOK_S = 0.1
REST_S = 0.4  # before it comes on, while the current at rest is read
SLACK_S = 0.3  # the board counts tenths of a second
NEAR = 0.25  # of the planned current on either side: a sensor's own error, a pack's voltage, lamps that are not alike
STRAIGHT_PCT = 50  # lamps below this level draw in no proportion to it: only what is far from it is wrong
FAR_BELOW, FAR_ABOVE = 1 / 8, 2.0
NOISES = 3.0
UNREAD = -1


@dataclass(frozen=True)
class Wanted:
    """The current that a circuit may add, mA."""

    low_ma: float
    high_ma: float


def _near(planned_ma: float) -> Wanted:
    return Wanted((1.0 - NEAR) * planned_ma, (1.0 + NEAR) * planned_ma)


def _camera(plan: Plan, _level: int) -> Wanted:
    """A camera that has not been switched on by its button draws nothing, and none draws more than when it records."""
    return Wanted(0.0, (1.0 + NEAR) * plan.camera.recording_ma if plan.camera.supply == "main_switched" else 0.0)


def _started_camera(plan: Plan, _level: int) -> Wanted | None:
    """One that its button has started, and that does not record."""
    return _near(plan.camera.idle_ma) if plan.camera.supply == "main_switched" else None


def _lights(plan: Plan, level: int) -> Wanted:
    planned_ma = plan.lights.current_ma * level / 100.0
    if level >= STRAIGHT_PCT:
        return _near(planned_ma)
    return Wanted(FAR_BELOW * planned_ma, FAR_ABOVE * planned_ma)


def _fan(plan: Plan, _level: int) -> Wanted:
    return _near(plan.fan.current_ma)


def _beacon(plan: Plan, _level: int) -> Wanted:
    """The plan tells the mean of the ordinary flashing; here it is lit."""
    return _near(plan.beacon.lamp_ma / duty(lamps.BEACON[lamps.FLASH]))


def _button(_plan: Plan, _level: int) -> Wanted:
    return Wanted(0.0, 0.0)


def _no_figure(_plan: Plan, _level: int) -> None:
    return None


@dataclass(frozen=True)
class Circuit:
    """What can be poked: `wanted` works out the current from plan and level, None where the plan has no figure."""

    what: str
    wanted: Callable[[Plan, int], Wanted | None]
    cautions: tuple[str, ...] = ()


CIRCUITS = {
    "camera_supply": Circuit("the camera's supply", _camera, ("pack",)),
    "power_button": Circuit("the camera's power button", _button),
    "record_button": Circuit("the camera's record button", _button),
    "lights": Circuit("the lights", _lights, ("lamps",)),
    "fan": Circuit("the fan", _fan),
    "beacon": Circuit("the beacon lamp", _beacon, ("lamps",)),
    "status": Circuit("the status lamp", _no_figure),
    "surface_supply": Circuit("the supply of positioning and radio", _no_figure, ("radio",)),
    "heartbeat": Circuit("the heartbeat to the second board", _no_figure),
    "camera": Circuit("the camera with its button pressed", _started_camera, ("pack",)),
}


def usual_s(name: str, plan: Plan) -> float:
    """For how long a circuit is on when nobody says so: the camera until it has started by the plan."""
    if name != "camera":
        return USUAL_S
    its = plan.camera
    presses_s = its.power_press_s * (1 if its.supply == "main_switched" else 2)
    return min(CAMERA_LONGEST_S, CAMERA_UP_S + presses_s + its.start_s + CAMERA_SEEN_S)


def bench_poke(
    output: Annotated[str, typer.Argument(
        autocompletion=options.one_of(lambda: (*CIRCUITS, *CHANNELS)),
        help="What to switch on: %s; or %s." % (", ".join(CIRCUITS), " or ".join(CHANNELS)))],
    level: Annotated[int | None, typer.Option(
        metavar="PERCENT", min=1, max=100, help="Percent, for the lights; the plan's when left out.")] = None,
    seconds: Annotated[float | None, typer.Option(
        metavar="SECONDS", min=SHORTEST_S, max=CAMERA_LONGEST_S,
        help="For so long, up to 10 s, the camera 60; not a release. When"
        " left out 2 s, and the camera until it has started by the plan.")] = None,
    plan: Annotated[Path | None, typer.Option(
        metavar=options.FILE, help="Plan file (TOML) to judge the current by; the built-in sample when left out.")
    ] = None,
    port: Port = None,
    as_json: Annotated[bool, options.as_json("JSON", "the table")] = False,
) -> None:
    """Switch one circuit on for a moment, and judge the current that it adds by the plan.

    Only while the mission is safe and dry. It goes off by itself, also when the cable is pulled. A release is fired by
    the mission's own two steps, for five seconds, after `fire` was typed at the terminal.

    Exit status 0: as planned, or the plan has no figure. 1: not as planned, or refused. 2: bad input, or no controller
    answers. 3: it went away meanwhile.
    """
    name = output.replace("-", "_")
    judged_by = read_plan(plan)
    if name.replace("_", "-") in CHANNELS:
        with controller(port) as link:
            raise typer.Exit(0 if fire_release(link, name.replace("_", "-"), judged_by) else FAILED)
    _look_at_circuit(output, name, level)
    span_s = _span_s(name, seconds, judged_by)
    wanted_level = (level or round(judged_by.lights.level_pct) or 100) if name == "lights" else 1
    with controller(port) as link:
        if not as_json:
            show_cautions(CAUTIONS[key] for key in CIRCUITS[name].cautions)
        measured = poke(link, name, wanted_level, span_s)
        faults = faults_of(name, wanted_level, measured, judged_by)
    wanted = CIRCUITS[name].wanted(judged_by, wanted_level)
    if as_json:
        print(json.dumps({"output": name, "level": wanted_level, **measured, "faults": faults,
                          "wanted_ma": [round(wanted.low_ma, 1), round(wanted.high_ma, 1)] if wanted else None},
                         indent=1))
    else:
        terminal.out.print("%s  %s" % (_verdict(faults, wanted), _called(name, wanted_level)))
        terminal.out.print(pairs_table(_lines(measured, wanted)))
    for sentence in faults:
        terminal.complain(sentence)
    raise typer.Exit(FAILED if faults else 0)


def _look_at_circuit(output: str, name: str, level: int | None) -> None:
    if name not in CIRCUITS:
        terminal.refuse(["OUTPUT is %s; allowed is %s: choose one of these" % (
            terminal.printable(output[:40]), ", ".join((*CIRCUITS, *CHANNELS)))])
    if level is not None and name != "lights":
        terminal.refuse(["--level is for the lights: leave it out for %s" % name])


def _span_s(name: str, seconds: float | None, judged_by: Plan) -> float:
    """For how long the circuit is on: as asked, or as is usual for it."""
    span_s = usual_s(name, judged_by) if seconds is None else seconds
    if name != "camera" and span_s > LONGEST_S:
        terminal.refuse(["--seconds is %g; allowed for %s is %g to %g: choose a shorter time" % (
            span_s, name, SHORTEST_S, LONGEST_S)])
    return span_s


def poke(link: Link, name: str, level: int, seconds: float) -> dict[str, int]:
    """Switch this circuit on, wait for its end, and answer what was measured: mA and mV as `poked` names them, -1 where
    nothing was read, and `ended_early`. Raises as `Link.ask`.
    """
    off_by_itself = "%s goes off by itself within %.1f s, and nothing was judged" % (CIRCUITS[name].what,
                                                                                     seconds + REST_S)
    before_ds = link.number_in(link.status(), "uptime_ds")
    link.so_far = "nothing was judged; if %s was on already, it goes off by itself" % CIRCUITS[name].what
    _begin(link, name, level, seconds)
    link.so_far = off_by_itself
    while True:
        time.sleep(LOOK_S)
        try:
            said = link.ask("poked")
        except Refused:
            raise Gone("the controller on %s has started anew (%s) while %s was on, which is off now: did its supply"
                       " carry it?" % (link.url, link.ask("hello").get("reset"), CIRCUITS[name].what)) from None
        if not link.number_in(said, "left_ms"):
            break
    lasted_s = (link.number_in(link.status(), "uptime_ds") - before_ds) / 10
    measured = {key: link.number_in(said, key)
                for key in ("supply_mv", "supply_ma", "peak_ma", "rest_ma", "camera_ma")}
    return {**measured, "ended_early": int(lasted_s < seconds + REST_S - SLACK_S)}


def _begin(link: Link, name: str, level: int, seconds: float) -> None:
    """Once what somebody poked before is off again, which it is by itself."""
    end_s = time.monotonic() + CAMERA_LONGEST_S + REST_S
    while True:
        try:
            link.ask("poke", output=name, level=level, ms=round(1000 * seconds))
            return
        except Refused as error:
            if "is on" not in error.reason or time.monotonic() > end_s:
                raise
        time.sleep(LOOK_S)


def added_ma(measured: dict[str, int]) -> int | None:
    """What it drew above the rest; None where a current was not read."""
    if UNREAD in (measured["supply_ma"], measured["rest_ma"]):
        return None
    return measured["supply_ma"] - measured["rest_ma"]


def faults_of(name: str, level: int, measured: dict[str, int], plan: Plan) -> list[str]:
    """What is not as planned, a sentence each."""
    found = []
    what, added = CIRCUITS[name].what, added_ma(measured)
    wanted = CIRCUITS[name].wanted(plan, level)
    if measured["ended_early"]:
        found.append("%s went off before its time: a sign of water, a command or a gesture ended it" % what)
    if added is None:
        found.append("the battery current cannot be read: nothing can be judged")
    elif wanted is not None:
        sensor = plan.sensors.supply
        give_ma = sensor.resolution_ma + NOISES * sensor.noise_ma + 1.0  # the board tells whole mA
        if not wanted.low_ma - give_ma <= added <= wanted.high_ma + give_ma:
            found.append("%s added %d mA; by the plan %.0f to %.0f mA: look at its cable, at the current sensor and at"
                         " the plan" % (what, added, wanted.low_ma, wanted.high_ma))
    if UNREAD < measured["supply_mv"] < plan.power.brownout_mv:
        found.append("the supply fell to %.2f V, and the controller needs %.2f V: charge the pack, look at its cables"
                     % (measured["supply_mv"] / 1000, plan.power.brownout_mv / 1000))
    return found


def _verdict(faults: list[str], wanted: Wanted | None) -> str:
    if faults:
        return "NOT AS PLANNED"
    return "AS PLANNED" if wanted else "NOT JUDGED"


def _called(name: str, level: int) -> str:
    return CIRCUITS[name].what + (", %d %%" % level if name == "lights" else "")


def _lines(measured: dict[str, int], wanted: Wanted | None) -> list[tuple[str, str]]:
    added = added_ma(measured)
    lines = [("added", NOTHING if added is None else "%d mA" % added),
             ("planned", "%.0f to %.0f mA" % (wanted.low_ma, wanted.high_ma) if wanted else "no figure in the plan")]
    for label, key in (("at rest", "rest_ma"), ("largest", "peak_ma"), ("camera", "camera_ma")):
        lines.append((label, NOTHING if measured[key] == UNREAD else "%d mA" % measured[key]))
    lines.append(("lowest", NOTHING if measured["supply_mv"] == UNREAD else "%.2f V" % (measured["supply_mv"] / 1000)))
    return lines
