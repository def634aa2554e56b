"""Variants of a plan: some of its keys with other values, across what its checks allow.

A change is a group of keys that go together, such as a depth and the times that a dive to it takes. A change that the
plan's own checks refuse is left out; what is drawn is always a plan that could be read from a file.
"""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from hypothesis import strategies as st

from seatrial.faults import plain
from seatrial.plan import Plan, PlanError
from seatrial.plan.changing import changed

Changes = dict[str, Any]
CHANGES_MAX = 6
DEEPEST_M = 1000  # deeper dives are longer and no different
SINK_M_MIN = 12.0  # a lander that sinks or rises slower than this is refused by most plans
SIGNIFICANT = 3  # digits of a number that is drawn

# A dive of an hour: what goes wrong in a long one goes wrong in a short one too, and many more of them can be flown.
BRISK = {"times.timed_release_min": 60.0, "times.latest_release_min": 80.0, "journal.reading_bottom_s": 30.0,
         "dive.watch_after_surfacing_min": 20.0}

# Numbers that are drawn from a quarter to four times what the plan has.
SCALED = (
    "dive.on_deck_min", "site.swell_height_m", "site.mud_suction_n", "site.mud_hold_s", "power.capacity_ah",
    "power.resistance_mohm", "power.boot_s", "release.pause_s", "release.pause_max_s", "release.attempts_planned",
    "release.rise_m", "release.shed_s", "release.primary.fire_s", "release.primary.current_ma",
    "release.backup.fire_s", "release.backup.current_ma", "camera.idle_ma", "camera.recording_ma",
    "camera.power_press_s", "camera.record_press_s", "camera.start_s", "camera.stop_s", "camera.answer_s",
    "camera.card_h", "lights.current_ma", "lights.level_pct", "fan.current_ma", "heat.camera_heat_capacity_j_k",
    "heat.camera_recording_w", "sensors.pressure.resolution_mbar", "sensors.pressure.noise_mbar",
    "sensors.pressure.lag_s", "sensors.clock.drift_ppm", "beacon.hours", "times.settle_latest_min",
    "times.slowest_ascent_min", "times.surface_margin_min", "times.power_gap_min", "thresholds.submerged_m",
    "thresholds.surface_m", "thresholds.sign_hold_s", "thresholds.one_sign_wait_min", "thresholds.settled_band_m",
    "thresholds.settled_s", "thresholds.leak_hold_s", "thresholds.low_hold_s", "thresholds.stalled_s",
    "magnet.hold_s", "magnet.hold_max_s", "journal.reading_descent_s", "journal.reading_bottom_s",
    "journal.reading_surface_s", "second.margin_min",
)
# The same within a tenth: beyond it no plan holds together.
NUDGED = ("thresholds.reserve_mv", "power.charge_at_start_fraction", "camera.hot_c", "fan.on_c")
WORDS: dict[str, tuple[Any, ...]] = {
    "camera.feedback": ("none", "lamp", "current"), "camera.supply": ("main_switched", "own_pack"),
    "camera.film_descent": (False, True), "release.passive.fitted": (False, True), "sensors.clock.set": (False, True),
    "second.fitted": (False, True), "second.signs": ("both", "pressure", "contact"),
    "self_test.sensors": (False, True), "self_test.circuits": (False, True), "self_test.memory": (False, True),
    "self_test.camera": (False, True), "self_test.lights": (False, True),
}


@st.composite
def changes_of(draw, plan: Plan) -> Changes:
    """Some keys of this plan with other values; {} is the plan as it is. It shrinks to a brisk dive."""
    pace = {} if draw(st.integers(0, 7)) == 7 else BRISK
    wanted = [pace, *draw(st.lists(_one(plan), max_size=CHANGES_MAX))]
    return _allowed(plan, [change for change in wanted if change])


def _one(plan: Plan) -> st.SearchStrategy[Changes]:
    """One change."""
    return st.one_of(
        st.sampled_from(SCALED).flatmap(lambda key: _percent(plan, key, 25, 400)),
        st.sampled_from(NUDGED).flatmap(lambda key: _percent(plan, key, 90, 110)),
        st.sampled_from(sorted(WORDS)).flatmap(lambda key: st.sampled_from(WORDS[key]).map(lambda word: {key: word})),
        st.builds(_times, st.integers(20, 240), st.integers(2, 120)),
        st.integers(5, DEEPEST_M).map(_depth),
        st.builds(_turns, st.integers(1, 600), st.integers(1, 600)),
        st.tuples(st.booleans(), st.booleans()).map(lambda kinds: _channels(plan, *kinds)),
    )


def _percent(plan: Plan, key: str, lowest: int, highest: int) -> st.SearchStrategy[Changes]:
    given = plan.value(key)
    kind = type(given)
    return st.integers(lowest, highest).map(lambda percent: {key: kind(_rounded(given * percent / 100.0))})


def _rounded(number: float) -> float:
    return float(("%%.%dg" % SIGNIFICANT) % number)


def _times(timed_min: int, later_min: int) -> Changes:
    return {"times.timed_release_min": float(timed_min), "times.latest_release_min": float(timed_min + later_min)}


def _depth(depth_m: int) -> Changes:
    """Another depth, with a sensor for it and times to get there and back."""
    way_min = max(1.0, float(round(depth_m / SINK_M_MIN)))
    return {"site.depth_m": float(depth_m), "sensors.pressure.range_m": float(round(depth_m * 1.5 + 5.0)),
            "thresholds.too_deep_m": float(round(depth_m * 1.3 + 3.0)), "times.settle_latest_min": way_min,
            "times.slowest_ascent_min": 2.0 * way_min}


def _turns(on_s: int, off_s: int) -> Changes:
    return {"lights.on_s": float(on_s), "lights.off_s": float(off_s)}


def _channels(plan: Plan, first_of_backup: bool, second_of_primary: bool) -> Changes:
    """The two mechanisms of the plan, each at either place."""
    release = plan.release
    pair = {"release.primary": release.backup if first_of_backup else release.primary,
            "release.backup": release.primary if second_of_primary else release.backup}
    return {key: channel.model_dump() for key, channel in pair.items() if channel != plan.value(key)}


def _allowed(plan: Plan, wanted: list[Changes]) -> Changes:
    """All these changes together, or one after the other those that leave a plan."""
    whole: Changes = {}
    for change in wanted:
        whole |= change
    if variant(plan, whole) is not None:
        return whole
    kept: Changes = {}
    for change in wanted:
        if variant(plan, kept | change) is not None:
            kept |= change
    return kept


def variant(plan: Plan, changes: Mapping[str, Any]) -> Plan | None:
    """The plan with these changes; None where its checks refuse it."""
    return _Variants.of(plan).get(tuple((key, _frozen(value)) for key, value in sorted(changes.items())))


def _frozen(value: Any) -> Any:
    return tuple(value.items()) if isinstance(value, dict) else value


class _Variants:
    """The variants of one plan, each checked once."""

    _last: "_Variants | None" = None

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.get = lru_cache(maxsize=4096)(self._make)

    @classmethod
    def of(cls, plan: Plan) -> "_Variants":
        if cls._last is None or cls._last.plan is not plan:
            cls._last = cls(plan)
        return cls._last

    def _make(self, changes: tuple[tuple[str, Any], ...]) -> Plan | None:
        try:
            return changed(self.plan, {key: dict(value) if isinstance(value, tuple) else value
                                       for key, value in changes})
        except PlanError:
            return None


def told(changes: Changes) -> list[str]:
    """Each change as it is written in a plan, for a person."""
    return ["%s = %s" % (key, value.get("kind", "another section") if isinstance(value, dict)
                         else plain(value) if isinstance(value, float) else value) for key, value in changes.items()]
