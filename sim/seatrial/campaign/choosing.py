"""Which dives a campaign flies.

Singles: every kind of fault at its default at every phase; at the bounds of each number and at each word of each
choice, and passing by itself after ten minutes and after two seconds, at five of them. Pairs: every two kinds at
their defaults, both at once at five phases (on the way down, on the bottom, at the first attempt, when the ballast
falls, when the rise is noticed), and one lying in wait from the deck on while the other comes on the bottom, either
way round; and every kind in the moment when the backup's turn comes, after each fault of a release channel; and every
kind, at its bounds too, with power that fails for two minutes on the bottom, after it or around it: what the
controller knows then comes from its journal. In full: every two kinds at every two phases. Three ways: dives of
several faults at once, so chosen that every three kinds meet at each of the five phases; in full every three alone.

All dives of a campaign have its seed: a scenario is the same dive in every campaign with that seed, and dives that
begin alike can share their beginning.
"""

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from difflib import get_close_matches
from itertools import combinations, product

from seatrial.campaign.cover import blocks
from seatrial.campaign.phases import ALONE, LATENT, LATER, TOGETHER, VARIED, has_channel, phases, sensible
from seatrial.faults import KINDS, Fault, FaultKind, parse_when, unfit
from seatrial.plan import Plan

BLOCK = 5  # faults in one dive of a campaign of three ways
PASSING_S = 600.0
FLICKER_S = 2.0  # too short to be believed
DARK_S = 120.0


class CampaignError(Exception):
    """A campaign that cannot be flown as asked; the sentence says why and the way out."""


@dataclass(frozen=True)
class Campaign:
    """`ways`: 1 singles, 2 and pairs, 3 and triples. `only`: groups, names or GROUP/NAME; empty is all faults."""

    ways: int = 1
    full: bool = False
    seed: int = 1
    only: tuple[str, ...] = ()

    def told(self) -> str:
        words = {1: "singles", 2: "singles and pairs", 3: "singles and triples"}[self.ways]
        return words + (" in full" if self.full and self.ways > 1 else "") + (
            ", only %s" % ", ".join(self.only) if self.only else "")


@dataclass(frozen=True)
class Planned:
    """One dive to be flown: its number, its faults as written on the command line, its seed."""

    number: int
    faults: tuple[str, ...]
    seed: int


def kinds_of(only: Iterable[str]) -> list[FaultKind]:
    """The kinds that these words name. Raises CampaignError with one sentence."""
    wanted = list(only)
    if not wanted:
        return list(KINDS.values())
    chosen: set[str] = set()
    for word in wanted:
        found = [kind.name for kind in KINDS.values()
                 if word in (kind.group, kind.name, "%s/%s" % (kind.group, kind.name))]
        if not found:
            raise CampaignError(_not_known(word))
        chosen.update(found)
    return [kind for kind in KINDS.values() if kind.name in chosen]


def _not_known(word: str) -> str:
    groups = list(dict.fromkeys(kind.group for kind in KINDS.values()))
    if "," in word:
        return "--only %r names several at once: write --only for each of them" % word
    near = get_close_matches(word, [*groups, *KINDS], 1)
    return "--only %r names no fault; %s; `tumblehome faults` lists the faults" % (
        word, "did you mean %s?" % near[0] if near else "groups are %s" % ", ".join(groups))


def dives(campaign: Campaign, plan: Plan) -> list[Planned]:
    """All dives of this campaign, the one without a fault first. Raises CampaignError for faults that do not exist."""
    kinds = [kind for kind in kinds_of(campaign.only) if not unfit(plan, _fault(kind, "start"))]
    if not kinds:
        raise CampaignError("--only names faults of a second board alone, and second.fitted is false in this plan: fit"
                            " one ([second] in the plan), or name other faults")
    onsets = {name: phase.when for name, phase in phases(plan).items()}
    chosen = [(), *_singles(kinds, onsets)]
    if campaign.ways == 2:
        chosen += _pairs_in_full(kinds, onsets) if campaign.full else _pairs(kinds, onsets)
    elif campaign.ways == 3:
        chosen += _triples(kinds, onsets, campaign.full)
    once = dict.fromkeys(tuple(str(fault) for fault in faults) for faults in chosen)
    return [Planned(number, texts, campaign.seed) for number, texts in enumerate(once)]


def list_hash(planned: Iterable[Planned]) -> str:
    """Sixteen hexadecimal digits that tell two lists of dives apart."""
    text = "\n".join("%d %d %s" % (dive.number, dive.seed, " ".join(dive.faults)) for dive in planned)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


# --- one fault -----------------------------------------------------------------------------------------------------


def _singles(kinds: list[FaultKind], onsets: dict[str, str]) -> Iterator[tuple[Fault, ...]]:
    for kind in kinds:
        for name in sensible(kind, ALONE):
            yield (_fault(kind, onsets[name]),)
        for values in variants(kind):
            for name in sensible(kind, VARIED):
                yield (_fault(kind, onsets[name], values),)


def variants(kind: FaultKind) -> list[dict[str, float | str]]:
    """What to set besides the defaults: each bound and each word, one parameter at a time, and an end."""
    found: list[dict[str, float | str]] = []
    for key, parameter in kind.parameters.items():
        if key == "for_s":
            continue
        worth = parameter.choices or (parameter.lowest, parameter.highest)
        found += [{key: value} for value in worth if value != parameter.default]
    return [*found, {"for_s": PASSING_S}, {"for_s": FLICKER_S}] if kind.can_end else found


def _fault(kind: FaultKind, onset: str, values: dict[str, float | str] | None = None) -> Fault:
    defaults = {key: parameter.default for key, parameter in kind.parameters.items()}
    return Fault(kind, {**defaults, **(values or {})}, parse_when(onset))


# --- several faults ------------------------------------------------------------------------------------------------


def _together(kinds: Iterable[FaultKind], onset: str) -> tuple[Fault, ...]:
    return tuple(_fault(kind, "start" if kind.prepare else onset) for kind in kinds)


def _pairs(kinds: list[FaultKind], onsets: dict[str, str]) -> Iterator[tuple[Fault, ...]]:
    for one, other in combinations(kinds, 2):
        for name in TOGETHER:
            yield _together((one, other), onsets[name])
        for latent, later in ((one, other), (other, one)):
            yield (*_together((latent,), onsets[LATENT]), *_together((later,), onsets[LATER]))
    for carrier, later in product(filter(has_channel, kinds), kinds):
        if later is not carrier and not later.prepare:
            yield _fault(carrier, onsets[LATENT]), _fault(later, onsets["backup"])
    yield from in_the_dark(kinds, onsets)


def in_the_dark(kinds: list[FaultKind], onsets: dict[str, str]) -> Iterator[tuple[Fault, ...]]:
    """Power fails for a while on the bottom: before that every kind, at its bounds too, and every kind meanwhile."""
    power = next((kind for kind in kinds if kind.name == "power-gone"), None)
    if power is None:
        return
    dark = _fault(power, onsets[LATER], {"for_s": DARK_S})
    meanwhile = replace(dark.when, after_s=dark.when.after_s + DARK_S / 2.0)
    for kind in kinds:
        if kind is power:
            continue
        for values in ({}, *variants(kind)):
            yield _fault(kind, "start" if kind.prepare else onsets["splash"], values), dark
        if not kind.prepare:
            yield dark, replace(_fault(kind, onsets[LATER]), when=meanwhile)


def _pairs_in_full(kinds: list[FaultKind], onsets: dict[str, str]) -> Iterator[tuple[Fault, ...]]:
    for one, other in combinations(kinds, 2):
        for first, second in product(sensible(one, tuple(onsets)), sensible(other, tuple(onsets))):
            yield _fault(one, onsets[first]), _fault(other, onsets[second])


def _triples(kinds: list[FaultKind], onsets: dict[str, str], full: bool) -> Iterator[tuple[Fault, ...]]:
    by_name = {kind.name: kind for kind in kinds}
    groups = combinations(by_name, 3) if full else blocks(list(by_name), 3, BLOCK)
    for names in groups:
        for phase in TOGETHER:
            yield _together((by_name[name] for name in names), onsets[phase])
