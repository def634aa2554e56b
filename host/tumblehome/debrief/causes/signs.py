"""Wet contact, leak probe and thermometers: whether each can be read, and whether they contradict what else is known.

The sound dive: the contact is wet when the pressure shows water and dry on deck; the leak probe is dry; thermometers
can be read, start at the air's temperature together, and the water's follows the plan's column.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from lander import journal, signals, table
from seatrial.fault_effects import FREEZING_C
from seatrial.plan.reckoning import water_of
from seatrial.world import lamps_in_housing_w
from tumblehome.debrief.causes.alike import WATER_INSIDE
from tumblehome.debrief.causes.findings import ESTABLISHED, LIKELY, Finding
from tumblehome.debrief.causes.past import ON_DECK, Past

WATER_M = 5.0  # deeper than any swell on deck or offset of a day would make it
LEAST = 3
TOGETHER_C = 6.0  # thermometers of one closed lander that has stood in the shade differ by less (common practice)
COLUMN_C = 0.7  # a day's water differs so much from a column that was measured before (common practice)
LAYER_PART, LAYER_M = 0.15, 50.0  # of the way, or so thick: a layer that matters
LAYER_TRIES = 40
SETTLED_TIMES = 5.0  # time constants of the housing in the water after which it has followed
HOUSING_WARMER_C = (-0.5, 2.5)  # than the water, once it has: a lander makes some tens of watts (common practice)
LAG_TIMES = 3.0  # a thermometer is that many time constants of the change behind, at most


def leak(past: Past) -> Iterator[Finding]:
    """Sound: dry in every record."""
    wet = past.sign("leak_wet") & past.sign("leak_ok")
    told = past.events(journal.E_LEAK)
    if wet.any() or told:
        yield Finding(WATER_INSIDE, ESTABLISHED, "The leak probe felt water%s." % (
            "" if told else " for a moment, too short to be believed"),
            past.records([*told, *np.flatnonzero(wet)[:6]]),
            "look for water and salt in the housing: the journal cannot tell a wet housing from a wet probe", 90)


def contact_dead(past: Past) -> Iterator[Finding]:
    """Sound: wet wherever the pressure shows metres of water that come and go."""
    depth = past.depth_m
    deep = depth > max(WATER_M, 2.0 * past.plan.thresholds.submerged_m)
    dry = deep & past.sign("contact_ok") & ~past.sign("contact_wet")
    if dry.sum() < LEAST:
        return
    moved = np.nanmax(depth[deep]) - np.nanmin(depth[deep]) > WATER_M
    kinds = ("contact-dead",) if moved else ("contact-dead", "pressure-offset")
    yield Finding(kinds, ESTABLISHED if moved else LIKELY, "The wet contact said dry in %d records at depths down to"
                  " %.0f m." % (dry.sum(), np.nanmax(depth[dry])), past.records(
                      np.flatnonzero(dry)), "wet the contact in salt water on the bench", 80)


def contact_bridged(past: Past) -> Iterator[Finding]:
    """Sound: dry on deck, and wet not long before the pressure shows water."""
    refusals = [at for at in past.events(journal.E_ARM_REFUSED)
                if past.detail[at] in (signals.NO_CONTACT, signals.SIGN_OF_WATER)]
    wet = past.sign("contact_wet") & past.sign("contact_ok")
    if refusals and wet[refusals].any():
        yield Finding(("contact-bridged",), LIKELY, "Arming was refused with the wet contact wet on deck.",
                      past.records(refusals), "look for salt at the contact; dry it", 80)
        return
    depth = past.depth_m
    air = wet & past.sign("pressure_ok") & (np.abs(depth) < 2.0 * past.noise_m)
    deep = np.flatnonzero(depth > past.plan.thresholds.submerged_m)
    first = deep[0] if len(deep) else past.count
    early = np.flatnonzero(air & (np.arange(past.count) < first))
    spans = past.t[early[-1]] - past.t[early[0]] if len(early) else 0.0
    if len(early) >= LEAST and spans > 60.0 and len(deep):
        yield Finding(("contact-bridged",), LIKELY,
                      "The wet contact was wet for %.0f min while the pressure was exactly the air's: on deck."
                      % (spans / 60.0), past.records(early), "look for salt at the contact", 75)


def thermometers(past: Past) -> Iterator[Finding]:
    """Sound: each can be read."""
    found = {name: past.lost(name + "_temp_ok") for name in ("camera", "housing", "water")}
    lost = [name for name, places in found.items() if len(places)]
    if lost:
        gone = np.unique(np.concatenate([found[name] for name in lost]))
        yield Finding(("temperature-unread",), ESTABLISHED, "The thermometer of the %s could not be read in %d records."
                      % (" and of the ".join(lost), len(gone)), past.records(gone),
                      "look at the thermometers' wires", 80)


def misread(past: Past) -> Iterator[Finding]:
    """Sound: no thermometer leaps, and what a body cannot do between two records none shows."""
    for name, values in (("camera", past.camera_c), ("housing", past.housing_c), ("water", past.water_c)):
        valid = past.sign(name + "_temp_ok")
        both = valid[1:] & valid[:-1]
        spans = np.maximum(1.0, np.diff(past.t))
        fastest = _fastest_c_s(past, name) * spans + 3.0 * past.plan.sensors.temperature.noise_centi_c / 100.0 + 2.0
        leap = np.flatnonzero(both & (np.abs(np.diff(values)) > fastest)) + 1
        if len(leap):
            yield Finding(("temperature-misread",), LIKELY,
                          "The %s's thermometer leapt by %.0f degrees from one record to the next." % (
                              name, values[leap[0]] - values[leap[0] - 1]), past.records([leap[0] - 1, leap[0]]),
                          "compare the thermometers at one temperature", 75, ("colder", "deep-thermocline", "fan-dead"))
            return
    yield from _apart(past)


def _fastest_c_s(past: Past, name: str) -> float:
    """Degrees a second that the thermometer can change at the very most, by the plan's own heat and its own lag."""
    heat = past.plan.heat
    if name == "camera":
        return (heat.camera_recording_w + 30.0 * heat.camera_to_housing_fan_w_k) / heat.camera_heat_capacity_j_k
    if name == "housing":
        return 30.0 * heat.housing_to_water_w_k / heat.housing_heat_capacity_j_k
    return 10.0 / max(1.0, past.plan.sensors.temperature.lag_s)


def _apart(past: Past) -> Iterator[Finding]:
    """On deck, before anything was warm: all thermometers of one closed lander say the same."""
    deck = np.flatnonzero(past.in_state(*ON_DECK) & past.sign("camera_temp_ok") & past.sign("housing_temp_ok")
                          & past.sign("water_temp_ok"))[:1]
    if not len(deck):
        return
    at = int(deck[0])
    values = {"camera": past.camera_c[at], "housing": past.housing_c[at], "water": past.water_c[at]}
    middle = float(np.median(list(values.values())))
    off = [name for name, value in values.items() if abs(value - middle) > TOGETHER_C]
    air_off_c = middle - past.plan.site.air_temperature_c
    if off:
        yield Finding(("temperature-misread",), LIKELY, "On deck the %s's thermometer read %.0f degC and the others"
                      " %.0f degC." % (off[0], values[off[0]], middle), past.records([at]),
                      "compare the thermometers at one temperature", 75, ("colder", "deep-thermocline", "fan-dead"))
    elif abs(air_off_c) > 25.0:
        yield Finding(("temperature-misread",), LIKELY, "All thermometers read %.0f degrees off the planned air."
                      % air_off_c, past.records([at]), "compare the thermometers at one temperature", 70,
                      ("colder", "deep-thermocline", "fan-dead"))


def _rate(values: NDArray[np.float64], seconds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Change a second from each value to the next."""
    return np.diff(values, append=values[-1:]) / np.maximum(0.1, np.diff(seconds, append=seconds[-1:] + 1.0))


def column(past: Past) -> Iterator[Finding]:
    """Sound: on the way the water has the planned temperature of its depth, within the thermometer's lag and noise."""
    sensor = past.plan.sensors.temperature
    moving = past.in_state(table.DESCEND, table.ASCEND) & past.sign("water_temp_ok")
    inside = (past.depth_m > WATER_M) & (past.depth_m < past.plan.site.depth_m)
    at = np.flatnonzero(moving & past.log.is_reading & inside)
    if len(at) < 4 * LEAST:
        return
    water = water_of(past.plan.site)
    expected = np.array([water.temperature_at(float(depth)) for depth in past.depth_m[at]])
    lagged = LAG_TIMES * sensor.lag_s * np.abs(_rate(expected, past.t[at]))
    off = past.water_c[at] - expected
    room_c = COLUMN_C + 2.0 * sensor.noise_centi_c / 100.0
    wrong = np.abs(off) > room_c + lagged
    if wrong.sum() < 4 * LEAST or (wrong.mean() < LAYER_PART and np.ptp(past.depth_m[at[wrong]]) < LAYER_M):
        return
    spread = float(np.percentile(off[wrong], 90) - np.percentile(off[wrong], 10))
    words = past.records(at[wrong][[0, -1]])
    everywhere = wrong.mean() > 0.9 and spread < 1.0
    middle_c = float(np.median(off[wrong]))
    kinds = _layers(past, at, room_c)
    if everywhere:
        kinds = ("colder",) if middle_c < 0.0 else ("deep-thermocline",)
    apart_c = _housing_less_water_c(past)
    if not HOUSING_WARMER_C[0] < apart_c < HOUSING_WARMER_C[1]:  # the housing had hours to become as warm as the water
        kinds = ("temperature-misread",) if np.isfinite(apart_c) else (*kinds, "temperature-misread")
    yield Finding(kinds, LIKELY, "The water was %.1f degrees %s than planned between %.0f m and %.0f m." % (
        abs(middle_c), "colder" if middle_c < 0.0 else "warmer", past.depth_m[at[wrong]].min(),
        past.depth_m[at[wrong]].max()), words, "take a cast of the water; compare the thermometer with another", 50)


def _housing_less_water_c(past: Past) -> float:
    """How much warmer the housing is than the water once it has stood long on the seabed; nan where it never has, or
    makes so much heat that it says nothing."""
    heat = past.plan.heat
    at = np.flatnonzero(past.in_state(table.RECORD) & past.sign("housing_temp_ok") & past.sign("water_temp_ok"))
    if not len(at):
        return float("nan")
    late = at[past.t[at] > past.t[at[0]] + SETTLED_TIMES * heat.housing_heat_capacity_j_k / heat.housing_to_water_w_k]
    made_w = heat.camera_recording_w + lamps_in_housing_w(past.plan, float(past.lights_pct[at].max()))
    if len(late) < LEAST or made_w / heat.housing_to_water_w_k > HOUSING_WARMER_C[1] - 1.0:
        return float("nan")
    return float(np.median(past.housing_c[late] - past.water_c[late]))


def _layers(past: Past, at: NDArray[np.int64], room_c: float) -> tuple[str, ...]:
    """Whether the planned column fits better when it is colder all through, or when its layers lie deeper."""
    water = water_of(past.plan.site)
    depth, seen = past.depth_m[at], past.water_c[at]

    def misfit_c(expected: list[float], colder_c: float = 0.0) -> float:
        return float(np.median(np.abs(seen - np.maximum(np.array(expected) - colder_c, FREEZING_C))))

    planned = [water.temperature_at(float(one)) for one in depth]
    uniform = min(misfit_c(planned, by_c) for by_c in np.arange(0.0, 20.0, 0.25))
    deeper = min(misfit_c([water.temperature_at(max(0.0, float(one) - by_m)) for one in depth])
                 for by_m in np.linspace(0.0, past.plan.site.depth_m, LAYER_TRIES))
    if min(uniform, deeper) > room_c / 2.0 or max(uniform, deeper) < 2.0 * min(uniform, deeper):
        return ("deep-thermocline", "colder") if deeper <= uniform else ("colder", "deep-thermocline")
    return ("deep-thermocline",) if deeper < uniform else ("colder",)


RULES = (leak, contact_dead, contact_bridged, thermometers, misread, column)
