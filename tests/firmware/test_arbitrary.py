"""Hypothesis plays the sea, the operator and the electronics at their worst; the laws hold on whatever happens.

What is held here needs no truth but the inputs: sensors may all lie at once. Left out on purpose, since no controller
could tell: a real-time clock that is set back while power is gone, yet not behind the last record.
"""

import struct
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from lander_story import SUBMERGED, Slots, Story
from law_checks import deaf_at_sea, nothing_unexplained, sheds_first

from lander import journal, signals, table
from lander.judge import Depth
from lander.mission import Mission

SMALL = (1 << 30) - 1  # beyond it an integer allocates on a 32-bit board
LIMITS = {row[0]: (row[1], row[2]) for row in signals.INPUTS}
LIARS = [name for name in LIMITS if name not in ("uptime_ds", "clock_s", "clock_ok", "reset_cause", "magnet", "command",
                                                  "store_lost")]
RESTART_MAX_DS = 150  # what lander.restart takes for the longest restart with power

acts = st.one_of(
    st.tuples(st.just("wait"), st.integers(1, 30)),
    st.tuples(st.just("sleep_long"), st.integers(1, 4000)),
    st.sampled_from(LIARS).flatmap(lambda name: st.tuples(st.just("lie"), st.just(name), st.integers(*LIMITS[name]))),
    st.tuples(st.just("truth")),
    st.tuples(st.just("sea"), st.integers(0, 50000), st.integers(1, 300)),
    st.tuples(st.just("sea"), st.sampled_from([0, 25, 100, 200, 4000]), st.sampled_from([50, 100])),
    st.tuples(st.just("reset"), st.integers(1, 2), st.integers(1, RESTART_MAX_DS - 1)),
    st.tuples(st.just("reset"), st.just(0), st.integers(1, 90000)),
    st.tuples(st.just("clock"), st.integers(-100_000, 100_000)),
    st.tuples(st.just("clock_ok"), st.integers(0, 1)),
    st.tuples(st.just("say"), st.integers(1, 5)),
    st.tuples(st.just("magnet"), st.integers(1, 200)),
    st.tuples(st.just("arm")),
    st.tuples(st.just("dive")),
    st.tuples(st.just("refuse"), st.booleans()),
    st.tuples(st.just("uptime_back"), st.integers(1, 10**6)),
)
stories = st.lists(acts, min_size=1, max_size=40)


class Tangle(Story):
    """A story that does whatever it is told, and steps at every wake."""

    def play(self, todo: list) -> "Tangle":
        for act, *values in todo:
            getattr(self, "_" + act)(*values)
        return self

    def _wait(self, wakes: int) -> None:
        for _ in range(wakes):
            self._pass(self.wake_at_ds)
            self.step()

    def _sleep_long(self, seconds: int) -> None:
        self.after(seconds)

    def _lie(self, name: str, value: int) -> None:
        self.show(**{name: value}).step()

    def _truth(self) -> None:
        self.shown.clear()
        self.step()

    def _sea(self, cm: int, rate_cm_s: int) -> None:
        self.move_to(cm, rate_cm_s)
        self._wait(10)

    def _reset(self, cause: int, away_ds: int) -> None:
        self.store.refuses = None
        self.step()
        self.reset(cause, away_ds / 10)

    def _clock(self, seconds: int) -> None:
        self.jump_clock(seconds).step()

    def _clock_ok(self, ok: int) -> None:
        self.clock_ok = ok
        self.step()

    def _say(self, command: int) -> None:
        self.say(command)

    def _magnet(self, length_ds: int) -> None:
        self.hold_magnet(length_ds / 10)

    def _arm(self) -> None:
        self.shown.clear()
        self.arm()

    def _dive(self) -> None:
        self.move_to(4000, 100).after(120)

    def _refuse(self, refuses: bool) -> None:
        self.store.refuses = (lambda slot: True) if refuses else None
        self.step()

    def _uptime_back(self, span_ds: int) -> None:
        self._pass(self.wake_at_ds)  # all of the sleep passes, and the count falls back
        self.started_ds = min(self.at_ds, self.started_ds + span_ds)
        self.step()


def never_released(told: Story) -> list:
    """Law 1 from what the core itself was sure of: sure of water for the latest release, with power, and no command."""
    sure_ds = None
    breaches = []
    starts: dict = {}
    for step in told.trace:
        starts.setdefault(step.boot, step.at_ds)
        on_deck = step.state in (table.SAFE, table.ARMED) or (step.state == table.SURFACE and step.descent_ds < 0)
        if on_deck or not step.sure or step.command_ds >= 0:
            sure_ds = None
            continue
        sure_ds = step.at_ds if sure_ds is None else sure_ds
        powered_ds = step.at_ds - starts[step.boot]
        if step.at_ds - sure_ds > told.orders.latest_release_ds + 100 and powered_ds > 100:
            breaches.append("sure since %d, no release at %d" % (sure_ds, step.at_ds))
    return breaches


def time_fell_back(told: Story) -> list:
    return ["mission time fell back at %d" % after.at_ds for before, after in pairwise(told.trace)
            if after.boot == before.boot and after.mission_ds < before.mission_ds]


def fired_without_water(told: Story) -> list:
    """Law 3: outside the bench, something said water since arming, or there was no journal to go by."""
    wet = False
    breaches = []
    for step in told.trace:
        inputs = step.inputs
        if step.before == table.SAFE and step.state == table.ARMED:
            wet = False
        deep = inputs["pressure_ok"] and inputs["pressure_mbar"] > 1013 + 40
        wet = wet or bool(deep or (inputs["contact_ok"] and inputs["contact_wet"]))
        if step.driven and step.state != table.SAFE and not wet:
            breaches.append("fired at %d and nothing ever said water" % step.at_ds)
    return breaches


def lit_outside_the_bottom(told: Story) -> list:
    return ["lights in %s at %d" % (table.STATES[step.state], step.at_ds) for step in told.trace
            if step.outputs["lights_pct"] and step.state != table.RECORD]


def out_of_range(told: Story) -> list:
    breaches = []
    for step in told.trace:
        for name, lowest, highest in signals.OUTPUTS:
            if not lowest <= step.outputs[name] <= highest:
                breaches.append("%s is %d at %d" % (name, step.outputs[name], step.at_ds))
        for name in ("mission_ds", "descent_ds", "command_ds"):
            if not -1 <= getattr(step, name) <= SMALL:
                breaches.append("%s is %d" % (name, getattr(step, name)))
    return breaches


def wrong_in(told: Story) -> list:
    return (never_released(told) + time_fell_back(told) + fired_without_water(told) + lit_outside_the_bottom(told)
            + out_of_range(told) + sheds_first(told.trace, told.orders) + deaf_at_sea(told.trace, told.orders)
            + nothing_unexplained(told.trace, told.orders))


@given(stories)
@example([("arm",), ("dive",), ("reset", 0, 90000), ("sleep_long", 4000)])
@example([("sea", 4000, 100), ("clock_ok", 0), ("reset", 0, 5), ("wait", 30)])
def test_no_story_breaks_a_law_or_the_controller(todo):
    assert wrong_in(Tangle().play(todo)) == []


@given(stories, stories)
def test_a_lander_under_water_comes_home_after_any_story_at_sea(before, during):
    told = Tangle().play([("arm",), ("dive",)])
    told.play([act for act in before + during if act[0] not in ("magnet", "arm", "sea", "lie", "truth")])
    told.after(6000)
    assert any(step.driven for step in told.trace)
    assert wrong_in(told) == []


@given(st.binary(min_size=journal.RECORD_BYTES, max_size=journal.RECORD_BYTES))
def test_a_sealed_record_of_any_content_starts_a_controller_that_works(content):
    told = Tangle()
    record = bytearray(content)
    record[0] = journal.VERSION
    journal.seal(record, 0)
    told.store = Slots()
    told.store.kept[0] = bytes(record)
    _keep_the_dive_believable(told)
    told.reset()
    told.trace.clear()
    told._wait(50)
    assert out_of_range(told) == []
    assert sheds_first(told.trace, told.orders) == []


def _keep_the_dive_believable(told: Story) -> None:
    """Times in a record come from the core, which keeps them small; noise in them proves nothing."""
    values = journal.fields(told.store.kept[0])
    values.update(mission_ds=values["mission_ds"] % 10**7, descent_ds=values["descent_ds"] % 10**7 - 1,
                  command_ds=values["command_ds"] % 10**7 - 1, used_mah=values["used_mah"] % 10**6,
                  surface_mbar=850 + values["surface_mbar"] % 250, sequence=values["sequence"] % 10**6)
    record = bytearray(told.store.kept[0])
    struct.pack_into(journal.FORMAT, record, 0, *[values[name] for name in journal.NAMES])
    journal.seal(record, 0)
    told.store.kept[0] = bytes(record)


class Narrow(int):
    """An integer of a 32-bit board: it passes on to whatever is reckoned with it, and refuses what would allocate."""


def _narrow(name: str):
    plain = getattr(int, name)

    def reckon(self, *other):
        result = plain(self, *other)
        if result is NotImplemented:
            return result
        if not -SMALL <= result <= SMALL:
            raise OverflowError("%d %s %s allocates on a 32-bit board" % (self, name, other))
        return Narrow(result)

    return reckon


for _name in ("add", "sub", "mul", "floordiv", "mod", "lshift", "rshift", "and", "or", "xor"):
    for _side in ("__%s__", "__r%s__"):
        setattr(Narrow, _side % _name, _narrow(_side % _name))
Narrow.__neg__ = _narrow("__neg__")


class SmallBoard(Mission):
    """The core with every number of its orders narrow."""

    def __init__(self, mission_record=None) -> None:
        super().__init__(mission_record)
        for name, value in vars(self.orders).items():
            if name != "good":
                setattr(self.orders, name, Narrow(value))


class SmallTangle(Tangle):
    def _fill(self) -> None:
        super()._fill()
        for name in LIMITS:
            setattr(self.inputs, name, Narrow(getattr(self.inputs, name)))


@given(stories)
def test_no_number_of_a_step_leaves_the_small_integers_of_a_32_bit_board(todo):
    todo = [act for act in todo if act[0] != "lie" or act[1] != "pressure_mbar" or act[2] < 900_000]
    told = SmallTangle(core=SmallBoard).play(todo)
    assert isinstance(told.mission.mission_ds, Narrow), "a number that is reckoned with was not watched"
    assert out_of_range(told) == []


def test_a_number_that_leaves_the_small_integers_is_noticed():
    with pytest.raises(OverflowError, match="allocates on a 32-bit board"):
        _ = Narrow(1 << 20) * 1024


def test_the_deepest_sea_stays_within_the_small_integers():
    told = SmallTangle(core=SmallBoard, pressure_full_mbar=1_200_000, too_deep_cm=1_100_000)
    told.arm().show(pressure_mbar=1_100_000, contact_wet=1).after(60)
    assert told.mission.depth.depth_cm == 1_098_987 * told.orders.cm_per_bar // 1000
    assert isinstance(told.mission.depth.depth_cm, Narrow)


def test_a_pressure_sensor_that_is_gone_for_days_stays_within_the_small_integers():
    depth = Depth(SmallBoard().orders)
    for now_ds in (0, 10, 6 * 864_000):
        depth.update(Narrow(now_ds), Narrow(5000), 1)
    assert isinstance(depth.depth_cm, Narrow)
    assert depth.still_for_ds == 6 * 864_000


def test_the_states_at_sea_are_those_of_the_table():
    assert {table.STATES[state] for state in SUBMERGED} == {"descend", "record", "release", "backup", "ascend"}
