"""What a dive teaches about the lander: numbers of the plan corrected, with their uncertainty, for the next plan.

The simulator's own models are fitted to the journal (`physics`, `fitting`). What the dive cannot tell is left at the
plan's value and named; what it tells becomes a fragment of a plan (`fragment`), or goes straight into the text of one
(`merged`).
"""

import re
import tomllib
from dataclasses import dataclass
from math import sqrt
from typing import Any

from seatrial.hull import Hull
from seatrial.plan import Plan, symbol_of
from seatrial.plan.changing import changed
from seatrial.plan.reckoning import water_of
from tumblehome.debrief import fitting, physics
from tumblehome.debrief.fitting import OWN, WANTED, Array, Solution
from tumblehome.debrief.log import Log
from tumblehome.debrief.physics import Part

WORDS = {
    physics.DRAG_DOWN: "drag coefficient, down", physics.DRAG_UP: "drag coefficient, up",
    physics.MASS: "mass without floats and ballast", physics.BALLAST: "mass of the ballast",
    physics.OFFSET: "pressure sensor reads too high by", physics.RESISTANCE: "resistance of the pack at 20 degC",
    physics.CAPACITY: "capacity of the pack, fresh and warm", physics.TO_WATER: "heat from housing to water",
    physics.STILL: "heat from camera to housing, still air", physics.FAN: "heat from camera to housing, fan on",
}
STRAYS = 3.0  # doubts: so far from the plan something else has happened than the plan has numbers for
DIGITS = 3  # of an uncertainty that are kept in a fragment

LIMITS = (
    "drag and weight act together in the steady speed: what tells them apart is how the speed changes with depth and"
    " what the plan knows of the weights, so a drag coefficient is as good as the weighing ([doubt] mass_pct)",
    "the drag coefficient is taken to be the same at all depths of one way",
    "the offset of the pressure sensor is against site.air_pressure_hpa: give there what the barometer said",
    "the capacity rests on the usual curve of a lithium-ion cell; another chemistry bends it",
    "heat flows rest on the powers and heat capacities of the plan: 10 % more power makes them 10 % larger",
)


@dataclass(frozen=True)
class Fit:
    """One number of the plan after the dive. `sigma` is one standard deviation, in the unit of `value`; `told` says
    whether the dive tells it: if not, `value` is the plan's and `sigma` the doubt about it. `strays` is how many
    doubts it lies from the plan."""

    key: str
    words: str
    unit: str
    planned: float
    value: float
    sigma: float
    told: bool
    strays: float


@dataclass(frozen=True)
class Follow:
    """How far the model was from one kind of reading, in its unit: root of the mean square before and after."""

    words: str
    unit: str
    readings: int
    dropped: int
    before: float
    after: float


@dataclass(frozen=True)
class Course:
    """One kind of reading for a picture: mission time, what was read, what plan and refitted model say."""

    words: str
    unit: str
    time_s: Array
    read: Array
    planned: Array
    fitted: Array


@dataclass(frozen=True)
class Learned:
    """All of it. `net_n` has the weight less buoyancy at the seabed down and up (planned, now, sigma), N.

    `alike` names pairs that this dive can hardly tell apart; `missing` what could not be looked for, and why.
    """

    fits: tuple[Fit, ...]
    net_n: dict[str, tuple[float, float, float]]
    follows: tuple[Follow, ...]
    courses: tuple[Course, ...]
    alike: tuple[str, ...]
    missing: tuple[str, ...]
    notes: tuple[str, ...]

    def fit(self, key: str) -> Fit:
        """The number at this key of the plan. Raises KeyError where it was not looked for."""
        for found in self.fits:
            if found.key == key:
                return found
        raise KeyError(key)

    @property
    def doubtful(self) -> frozenset[str]:
        """Parts of the plan ("lander", "power") of which a number lies so far from the plan that none is believed."""
        return frozenset(_part(found.key) for found in self.fits if found.told and abs(found.strays) > STRAYS)

    def values(self) -> dict[str, float]:
        """What the dive tells, by key of the plan, rounded as far as the uncertainty allows; nothing of a part that is
        doubtful."""
        return {found.key: _rounded(found.value, found.sigma) for found in self.fits
                if found.told and _part(found.key) not in self.doubtful}


def learn(log: Log, plan: Plan) -> Learned:
    """Fit the plan's numbers to the newest dive of a journal."""
    dives = [dive for dive in log.dives() if dive.splash_s is not None]
    parts = list(physics.parts_of(dives[-1], plan)) if dives else []
    found = [(part, fitting.solve(part.unknowns, part.residuals, part.noise)) for part in parts]
    fits = tuple(fit for part, solution in found for fit in _fits(part, solution))
    befores = [_as_planned(part) for part in parts]
    return Learned(
        fits=fits, net_n=_net_n(plan, found),
        follows=tuple(follow for (part, after), before in zip(found, befores, strict=True)
                      for follow in _follows(after, before)),
        courses=tuple(course for (part, after), before in zip(found, befores, strict=True)
                      for course in _courses(part, after, before)),
        alike=tuple(sentence for _part, solution in found for sentence in _alike(solution)),
        missing=tuple(_missing(fits)), notes=tuple(_notes(plan, fits)))


def _part(key: str) -> str:
    return key.partition(".")[0]


def _fits(part: Part, solution: Solution) -> list[Fit]:
    return [Fit(one.key, WORDS[one.key], _unit(one.key), one.planned, solution.values[one.key],
                solution.sigma[one.key], solution.told[one.key],
                (solution.values[one.key] - one.planned) / one.spread(one.planned, 1.0))
            for one in part.unknowns if one.kind == WANTED]


def _unit(key: str) -> str:
    return symbol_of(key.rsplit(".", 1)[-1])


def _as_planned(part: Part) -> Solution:
    """The same fit with all numbers as in the plan: only what belongs to the dive alone is looked for."""
    planned = {one.key: one.planned for one in part.unknowns}
    own = [one for one in part.unknowns if one.kind == OWN]
    return fitting.solve(own, lambda values: part.residuals({**planned, **values}), part.noise)


def _follows(after: Solution, before: Solution) -> list[Follow]:
    return [Follow(name, _reading_unit(name), after.used[name], after.dropped[name], before.scatter[name],
                   after.scatter[name]) for name in after.scatter if after.used[name] > 1]


def _courses(part: Part, after: Solution, before: Solution) -> list[Course]:
    return [Course(name, _reading_unit(name), part.time_s[name], read, read - before.residuals[name],
                   read - after.residuals[name]) for name, read in part.read.items() if len(read) > 1]


def _reading_unit(name: str) -> str:
    return "mbar" if name.startswith("pressure") else "mV" if name == "supply" else "degC"


def _net_n(plan: Plan, found: list[tuple[Part, Solution]]) -> dict[str, tuple[float, float, float]]:
    """Weight less buoyancy at the seabed with ballast and without: by plan, now, and one standard deviation, N."""
    solution = next((solution for part, solution in found if part.words == "motion"), None)
    if solution is None:
        return {}
    water, ballast = water_of(plan.site), plan.lander.ballast
    gravity = water.gravity_m_s2
    sinks = 1.0 - water.density_at(plan.site.depth_m) / ballast.density_kg_m3
    body_n, plates_n = gravity * solution.sigma[physics.MASS], gravity * sinks * solution.sigma[physics.BALLAST]
    lander = plan.lander.model_copy(update={
        "mass_kg": solution.values[physics.MASS],
        "ballast": ballast.model_copy(update={"mass_kg": solution.values[physics.BALLAST]})})
    hulls = [Hull(plan.site, each, water) for each in (plan.lander, lander)]
    nets = {}
    for words, left, sigma in (("down", 1.0, sqrt(body_n ** 2 + plates_n ** 2)), ("up", 0.0, body_n)):
        for hull in hulls:
            hull.ballast_left = left
        planned_n, now_n = (hull.net_force_n(plan.site.depth_m) for hull in hulls)
        nets[words] = (planned_n, now_n, sigma)
    return nets


def _alike(solution: Solution) -> list[str]:
    return ["%s and %s: correlation %.2f, this dive can hardly tell them apart" % (WORDS[one], WORDS[other], how)
            for one, other, how in solution.correlated() if one in WORDS and other in WORDS]


def _missing(fits: tuple[Fit, ...]) -> list[str]:
    """What was not looked for since the readings for it are missing."""
    looked = {fit.key for fit in fits}
    because = {
        "drag, weights and pressure offset: the journal has no descent with valid pressure readings":
            physics.DRAG_DOWN,
        "drag on the way up: the journal has no free ascent with valid pressure readings": physics.DRAG_UP,
        "resistance and capacity of the pack: voltage, current and housing temperature were not valid together":
            physics.RESISTANCE,
        "heat flows: the temperatures of camera, housing and water were not valid together": physics.TO_WATER,
    }
    return [sentence for sentence, key in because.items() if key not in looked]


def _notes(plan: Plan, fits: tuple[Fit, ...]) -> list[str]:
    """What deserves a second thought before the numbers are used."""
    notes = ["%s was left as planned: this dive does not tell it any better" % fit.words for fit in fits
             if not fit.told]
    notes += ["%s lies %.1f times its doubt from the plan, so nothing of [%s] is put into the fragment: look for"
              " another reason first (half the ballast left, a part lost, a pack of another age)" % (
                  fit.words, abs(fit.strays), _part(fit.key))
              for fit in fits if fit.told and abs(fit.strays) > STRAYS]
    strays = any(abs(fit.strays) > STRAYS for fit in fits if fit.told and fit.key.startswith("lander."))
    drags = [200 * fit.sigma / fit.value for fit in fits if fit.told and fit.key.startswith("lander.drag")]
    if drags and not strays and max(drags) < plan.doubt.drag_pct:
        notes.append("doubt.drag_pct may come down from %g to %.1f: twice the uncertainty of the drag that was fitted"
                     % (plan.doubt.drag_pct, max(drags)))
    return notes


# --- back into a plan ------------------------------------------------------------------------------------------------


def refitted(plan: Plan, learned: Learned) -> Plan:
    """The plan with what was learned, checked like one from a file. Raises PlanError where it no longer adds up."""
    return changed(plan, learned.values())


def fragment(learned: Learned) -> str:
    """What the dive tells, as a piece of a plan file: keys under their sections, uncertainty in comments."""
    values = learned.values()
    told = {fit.key: fit for fit in learned.fits if fit.key in values}
    sections: dict[str, list[str]] = {}
    for key, fit in told.items():
        section, name = key.rsplit(".", 1)
        sections.setdefault(section, []).append("%s = %s  # %s" % (name, _shown(values[key]), _because(fit)))
    blocks = ["[%s]\n%s\n" % (section, "\n".join(lines)) for section, lines in sorted(sections.items())]
    left = ["# left as planned, this dive does not tell it: %s" % fit.key for fit in learned.fits if not fit.told]
    left += ["# left out, something else has happened: %s = %.6g" % (fit.key, fit.value) for fit in learned.fits
             if fit.told and fit.key not in values]
    head = "# Fitted to a dive, each with one standard deviation. A total given here wins over a sum of parts.\n"
    return head + "\n".join(blocks) + ("\n" + "\n".join(left) + "\n" if left else "")


def _because(fit: Fit) -> str:
    return "fitted, +- %.2g; before: %.6g" % (fit.sigma, fit.planned)


def merged(text: str, learned: Learned) -> str:
    """The text of a plan with what was learned put where it belongs; all else, comments too, stays.

    Raises ValueError with one sentence where the text is written in a way that this cannot change: then the fragment
    is to be put in by hand.
    """
    values, lines = learned.values(), text.split("\n")
    for key, value in values.items():
        lines = _put(lines, key, "%s  # %s" % (_shown(value), _because(learned.fit(key))))
    new = "\n".join(lines)
    wanted = tomllib.loads(text)
    for key, value in values.items():
        _set(wanted, key, value)
    try:
        right = tomllib.loads(new) == wanted
    except tomllib.TOMLDecodeError:
        right = False
    if not right:
        raise ValueError("the plan writes its keys in a way that cannot be changed line by line (inline tables or"
                         " dotted keys): put the lines of the fragment in by hand, each under its section")
    return new


_HEADER = re.compile(r"^\s*\[(\[?)\s*([^\]\s]+)\s*\]")


def _put(lines: list[str], key: str, said: str) -> list[str]:
    """The lines with this key set: where it stands, or first in its section, or in a new section at the end."""
    section, name = key.rsplit(".", 1)
    headers = [(at, _HEADER.match(line)) for at, line in enumerate(lines)]
    starts = [(at, header) for at, header in headers if header]
    for place, (begin, header) in enumerate(starts):
        if header[1] or header[2] != section:
            continue
        end = starts[place + 1][0] if place + 1 < len(starts) else len(lines)
        for at in range(begin + 1, end):
            if re.match(r"^\s*%s\s*=" % re.escape(name), lines[at]):
                comment = lines[at].partition("#")[2].strip()
                return [*lines[:at], "%s = %s%s" % (name, said, "; " + comment if comment else ""), *lines[at + 1:]]
        return [*lines[:begin + 1], "%s = %s" % (name, said), *lines[begin + 1:]]
    gap = [] if not lines or not lines[-1] else [""]
    return [*lines, *gap, "[%s]" % section, "%s = %s" % (name, said), ""]


def _set(tables: dict[str, Any], key: str, value: float) -> None:
    *way, last = key.split(".")
    for name in way:
        tables = tables.setdefault(name, {})
    tables[last] = value


def _rounded(value: float, sigma: float) -> float:
    """The value to the third digit of its uncertainty."""
    if sigma <= 0.0:
        return value
    exponent = int(("%e" % sigma).partition("e")[2])
    return round(value, DIGITS - 1 - exponent) + 0.0  # no minus before a zero


def _shown(value: float) -> str:
    text = repr(float(value))
    return text if "e" in text or "." in text else text + ".0"
