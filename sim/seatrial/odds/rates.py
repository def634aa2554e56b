"""How often parts fail, in which ways, and which fail together: a table, the built-in one or a person's own.

A part fails at most once in a dive. Its chance is given for a dive (`per_dive`), or for an hour (`per_hour`), which
over the hours that the dive may last comes to 1 - exp(-rate * hours). Each way of failing is one or more faults of the
catalogue, with its share. A fault without an onset of its own is there from the start where the chance is one for a
dive, and begins at any time, all alike, where it is one for an hour; `onset` says otherwise.

Parts that are alike may fail by one cause: of the chance of the rarer one, `beta` is common to all in the group (the
beta-factor model, IEC 61508-6 annex D; for parts that are not alike the smallest chance is taken, our own choice).
What is left to each alone is such that its whole chance stays as given.
"""

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from math import expm1, isclose, prod
from pathlib import Path
from typing import Any

from seatrial.complaints import complaint
from seatrial.faults import FaultError, parse
from seatrial.plan import Plan

BUILT_IN = Path(__file__).parents[1] / "rates.toml"
BYTES_MAX = 1_000_000
PARTS_MAX = 200
CHANCE_MAX = 0.5
START, ANY_TIME = "start", "any time"
LINK, SECOND = "corroding link", "second board"
TOP_KEYS = {"part", "common", "replaces_all"}
PART_KEYS = {"name", "per_dive", "per_hour", "source", "guess", "fails", "onset", "needs"}
WAY_KEYS = {"faults", "share"}
COMMON_KEYS = {"name", "parts", "beta", "source", "guess"}


class RatesError(Exception):
    """A table of rates that cannot be used: `sentences`, one for each thing that is wrong."""

    def __init__(self, sentences: list[str]) -> None:
        self.sentences = sentences
        super().__init__("\n".join(sentences))


@dataclass(frozen=True)
class Failing:
    """One way in which a part fails: the faults as written on the command line, and its share of the failures."""

    faults: tuple[str, ...]
    share: float


@dataclass(frozen=True)
class Part:
    """`per_dive` or `per_hour` is None, whichever was not given. `needs`: what the plan must have fitted, or ""."""

    name: str
    per_dive: float | None
    per_hour: float | None
    fails: tuple[Failing, ...]
    onset: str
    needs: str
    source: str
    guess: bool

    def chance(self, hours: float) -> float:
        """That it fails in a dive of so many hours."""
        return self.per_dive if self.per_dive is not None else -expm1(-(self.per_hour or 0.0) * hours)


@dataclass(frozen=True)
class Common:
    """Parts that may fail by one cause. `beta`: the share of the rarest one's failures that is common to all."""

    name: str
    parts: tuple[str, ...]
    beta: float
    source: str
    guess: bool


@dataclass(frozen=True)
class Rates:
    """The table of rates, read: parts that fail, and groups that fail by one cause."""

    parts: tuple[Part, ...]
    commons: tuple[Common, ...]


@dataclass(frozen=True)
class Event:
    """Something that happens in a dive or does not, whatever else does: a part fails alone, or several by one cause."""

    name: str
    parts: tuple[Part, ...]
    chance: float
    common: bool = False


def hours_of(plan: Plan) -> float:
    """How long a dive may last until it is up as planned, from the deck on: what a chance for an hour is taken over."""
    times = plan.times
    second_min = plan.second.margin_min if plan.second.fitted else 0.0
    return (plan.dive.on_deck_min + times.latest_release_min + second_min + times.slowest_ascent_min
            + times.surface_margin_min) / 60.0


def fitted(rates: Rates, plan: Plan) -> Rates:
    """Only the parts that this lander has; a common cause needs two of them."""
    has = {"": True, LINK: plan.release.passive.fitted, SECOND: plan.second.fitted}
    parts = tuple(part for part in rates.parts if has[part.needs])
    names = {part.name for part in parts}
    commons = (Common(one.name, tuple(name for name in one.parts if name in names), one.beta, one.source, one.guess)
               for one in rates.commons)
    return Rates(parts, tuple(one for one in commons if len(one.parts) > 1))


def events(rates: Rates, hours: float, factors: dict[str, float] | None = None) -> list[Event]:
    """All that may happen in a dive, in the order of the table, the common causes last.

    `factors` multiplies the chance of a part or the beta of a common cause, by name, to ask what would change; an
    event stays in its place, with a chance of 0 where nothing is left of it.
    """
    factors = factors or {}
    chances = {part.name: min(CHANCE_MAX, part.chance(hours) * factors.get(part.name, 1.0)) for part in rates.parts}
    by_name = {part.name: part for part in rates.parts}
    commons = [Event(one.name, tuple(by_name[name] for name in one.parts),
                     one.beta * factors.get(one.name, 1.0) * min(chances[name] for name in one.parts), True)
               for one in rates.commons]
    alone = []
    for part in rates.parts:
        none_common = prod(1.0 - one.chance for one in commons if part in one.parts)
        alone.append(Event(part.name, (part,), max(0.0, 1.0 - (1.0 - chances[part.name]) / none_common)))
    return alone + commons


# --- reading them --------------------------------------------------------------------------------------------------


def read(path: Path | None = None) -> Rates:
    """The built-in table; with a path, what stands there instead of entries of the same name, and besides the others.

    With `replaces_all = true` the file stands alone. Raises RatesError.
    """
    built_in = _table(BUILT_IN)
    if path is None:
        return _rates(built_in, BUILT_IN)
    given = _table(path)
    if not given:
        raise RatesError(["%s has no rate in it, so that all would be guesses: leave --rates out, or write parts as"
                          " [[part]], as the built-in table has them" % path])
    if given.get("replaces_all", False) is True:
        return _rates(given, path)
    merged = {"replaces_all": given.get("replaces_all", False), **{key: given[key] for key in given.keys() - TOP_KEYS}}
    for key in ("part", "common"):
        merged[key] = _merged(built_in[key], given.get(key, []), key, path)
    return _rates(merged, path)


def _merged(ours: list[dict], theirs: Any, key: str, path: Path) -> list[dict]:
    if not _is_tables(theirs):
        raise RatesError([_not_tables(key, path)])
    names = {one.get("name") for one in theirs if isinstance(one.get("name"), str)}
    return [one for one in ours if one["name"] not in names] + theirs


def _table(path: Path) -> dict[str, Any]:
    try:
        with open(path, "rb") as file:
            content = file.read(BYTES_MAX + 1)
        if len(content) > BYTES_MAX:
            raise RatesError(["%s is longer than %d bytes: this is no table of rates" % (path, BYTES_MAX)])
        return tomllib.loads(content.decode("utf-8"))
    except OSError as error:
        raise RatesError(["%s cannot be read (%s): name another file" % (path, complaint(error))]) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise RatesError(["%s is no TOML file (%s): mend it there" % (path, error)]) from None


def _rates(told: dict[str, Any], path: Path) -> Rates:
    wrong = ["%s: key %r is not known; known are %s" % (path, key, ", ".join(sorted(TOP_KEYS)))
             for key in told.keys() - TOP_KEYS]
    if not isinstance(told.get("replaces_all", False), bool):
        wrong.append("%s: replaces_all is %r; allowed is true or false" % (path, told["replaces_all"]))
    wrong += [_not_tables(key, path) for key in ("part", "common") if not _is_tables(told.get(key, []))]
    if wrong:
        raise RatesError(wrong)
    parts = [_part(one, number, wrong) for number, one in enumerate(told.get("part", []), 1)]
    commons = [_common(one, number, wrong) for number, one in enumerate(told.get("common", []), 1)]
    if not wrong:
        wrong += _against_each_other(parts, commons, path)
    if wrong:
        raise RatesError(wrong)
    return Rates(tuple(part for part in parts if part), tuple(one for one in commons if one))


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, dict) for one in value)


def _not_tables(key: str, path: Path) -> str:
    return "%s: %s is no list of tables: write each as [[%s]]" % (path, key, key)


def _part(told: dict[str, Any], number: int, wrong: list[str]) -> Part | None:
    where = _where("part", told, number)
    found = [*_unknown(where, told, PART_KEYS), *_texts(where, told, ("name", "source"))]
    given = [key for key in ("per_dive", "per_hour") if key in told]
    if len(given) != 1:
        found.append("%s: give per_dive or per_hour, one of the two" % where)
    found += [_no_number("%s: %s" % (where, key), told[key], CHANCE_MAX) for key in given
              if not _is_number(told[key], CHANCE_MAX)]
    onset = told.get("onset", ANY_TIME if "per_hour" in told else START)
    needs = told.get("needs", "")
    found += _choice(where, "onset", onset, (START, ANY_TIME)) + _choice(where, "needs", needs, ("", LINK, SECOND))
    found += _choice(where, "guess", told.get("guess", False), (True, False))
    found += list(_wrong_ways(where, told.get("fails")))
    wrong += found
    if found:
        return None
    ways = tuple(Failing(tuple(way["faults"]), float(way["share"])) for way in told["fails"])
    per_dive, per_hour = (float(told[key]) if key in told else None for key in ("per_dive", "per_hour"))
    return Part(told["name"], per_dive, per_hour, ways, onset, needs, told["source"], told.get("guess", False))


def _wrong_ways(where: str, ways: Any) -> Iterator[str]:
    if not _is_tables(ways) or not ways:
        yield ("%s: fails is missing or no list of tables; write for example"
               " fails = [{faults = [\"jammed\"], share = 1.0}]" % where)
        return
    for way in ways:
        yield from _unknown(where, way, WAY_KEYS)
        if not _is_number(way.get("share"), 1.0):
            yield _no_number("%s: share" % where, way.get("share"), 1.0)
            return
        faults = way.get("faults")
        if not isinstance(faults, list) or not faults or not all(isinstance(text, str) for text in faults):
            yield "%s: faults is %r; allowed is a list of faults as `tumblehome faults` lists them" % (where, faults)
            return
        for text in faults:
            try:
                parse(text)
            except FaultError as error:
                yield "%s: %s" % (where, error)
    total = sum(way["share"] for way in ways)
    if not isclose(total, 1.0, abs_tol=1e-6):
        yield "%s: the shares of its ways to fail come to %g; they must come to 1" % (where, total)


def _common(told: dict[str, Any], number: int, wrong: list[str]) -> Common | None:
    where = _where("common", told, number)
    found = [*_unknown(where, told, COMMON_KEYS), *_texts(where, told, ("name", "source"))]
    if not _is_number(told.get("beta"), 1.0):
        found.append(_no_number("%s: beta" % where, told.get("beta"), 1.0))
    parts = told.get("parts")
    if not isinstance(parts, list) or len(parts) < 2 or not all(isinstance(name, str) for name in parts) or len(
            set(parts)) < len(parts):
        found.append("%s: parts is %r; allowed is a list of two or more names of parts" % (where, parts))
    found += _choice(where, "guess", told.get("guess", False), (True, False))
    wrong += found
    if found:
        return None
    return Common(told["name"], tuple(told["parts"]), float(told["beta"]), told["source"], told.get("guess", False))


def _against_each_other(parts: list[Part | None], commons: list[Common | None], path: Path) -> Iterator[str]:
    names = [one.name for one in (*parts, *commons) if one]
    for name in dict.fromkeys(name for name in names if names.count(name) > 1):
        yield "%s: the name %r stands there twice: give each part and common cause a name of its own" % (path, name)
    known = {part.name for part in parts if part}
    if len(known) > PARTS_MAX:
        yield "%s: %d parts; allowed is up to %d: join some" % (path, len(known), PARTS_MAX)
    betas: dict[str, float] = {}
    for one in commons:
        for name in one.parts if one else ():
            betas[name] = betas.get(name, 0.0) + (one.beta if one else 0.0)
            if name not in known:
                yield "%s: common %r names the part %r, which is not there" % (path, one and one.name, name)
    for name, beta in betas.items():
        if beta > 1.0 + 1e-9:
            yield "%s: the betas of all common causes of the part %r come to %g; allowed is up to 1" % (
                path, name, beta)


def _where(kind: str, told: dict[str, Any], number: int) -> str:
    name = told.get("name")
    return "%s %r" % (kind, name[:40]) if isinstance(name, str) and name else "%s number %d" % (kind, number)


def _unknown(where: str, told: dict[str, Any], known: set[str]) -> list[str]:
    return ["%s: key %r is not known; known are %s" % (where, key, ", ".join(sorted(known)))
            for key in told.keys() - known]


def _texts(where: str, told: dict[str, Any], keys: tuple[str, ...]) -> list[str]:
    return ["%s: %s is missing; give it as a text" % (where, key) for key in keys
            if not isinstance(told.get(key), str) or not told[key].strip()]


def _choice(where: str, key: str, value: Any, allowed: tuple) -> list[str]:
    if any(value is one if isinstance(one, bool) else value == one for one in allowed):
        return []
    return ["%s: %s is %r; allowed is %s" % (where, key, value, ", ".join(map(repr, allowed)))]


def _is_number(value: Any, highest: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0.0 <= value <= highest


def _no_number(what: str, value: Any, highest: float) -> str:
    return "%s is %r; allowed is a number from 0 to %g" % (what, value, highest)
