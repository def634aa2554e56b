"""Known-bad missions: cores that are broken on purpose, judged by the searches. This measures the searches.

    python -m seatrial.known_bad                   every edit of known_bad.toml, until one search has caught it
    python -m seatrial.known_bad --all             every edit by every search; hours
    python -m seatrial.known_bad --edits FILE      the edits of FILE too
    python -m seatrial.known_bad --only deck.py    edits whose file or words contain this

The searches are those that a person runs, each cut to a bearable length, the quickest first: `telling`, dives of a
sweep that tell much; `explore`, the beginning of the exhaustive exploration; `wander`, its voyages at random with two
surprises; `fuzz`; `exhaust`, the exploration to its end with one surprise; and `sweep`, its whole list of single faults
at every phase, and with a failure of power. The last two take minutes each, and are left out with `--quick`.

A search catches an edit when it finds a law broken that the true core keeps under the same course. Leaves with 1 when
less than 95 % are caught, with 2 when an edit cannot be made.
"""

import argparse
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import cache, partial
from pathlib import Path

from lander.journal import Journal
from seatrial import laws
from seatrial.bodies import CPythonBody
from seatrial.broken_core import Edit, EditError, edited_sources, mission_class, read_edits
from seatrial.campaign.choosing import Campaign, dives, in_the_dark
from seatrial.campaign.phases import phases
from seatrial.deeds import parse
from seatrial.dice import Dice
from seatrial.dive import Dive
from seatrial.exploration.retelling import replay
from seatrial.exploration.search import Exploration
from seatrial.exploration.voyage import Voyage, short_orders
from seatrial.explore import explore, wander
from seatrial.faults import KINDS
from seatrial.plan import load_sample

LIST = Path(__file__).with_name("known_bad.toml")
WANTED_SHARE = 0.95
STATES = 4000  # situations that explore may look at for one edit
BOUND = 1
WANDER_BOUND = 2
VOYAGES = 1000
FUZZ_DIVES = 60
STEPS_MAX = 300_000  # of one dive; the longest of those below takes a tenth of it

# Dives that tell much, of those that a sweep flies or the fuzzer draws: the faults of each; an hour on the bottom. `*`
# marks the sample's own times.
DIVES = (
    "", "jammed", "jammed:channel=both", "bad-circuit:how=shorted", "ballast-hangs:part=0.6", "deep-mud",
    "weak-supply:mohm=10000@release", "cell-gone@record+10min", "old-battery:left=0.3",
    "power-gone:for_s=1200@record+5min", "power-gone:for_s=60@record+5min", "reset@record+20min", "reset@splash+5s",
    "reset@release+20s", "reset@armed+30s", "attempt-resets", "attempt-resets:channel=primary,for_s=60@release",
    "hang@record+10min", "torn-record@record+10min", "flash-refuses@splash", "clock-lost@record reset@record+10min",
    "clock-jumps@record reset@record+10min", "clock-jumps@record power-gone:for_s=60@record+10min",
    "pressure-frozen@descend+60s", "pressure-gone@splash", "pressure-gone@release", "pressure-saturated",
    "pressure-noisy", "battery-misread lamp-shorted@record", "leak@record+10min", "leak@descend+60s",
    "leak-false@armed+60s contact-bridged@armed+60s", "contact-dead", "contact-bridged:for_s=120@armed+30s",
    "records-early", "press-missed", "camera-crashed@record+10min", "lamp-shorted@record", "heavy-swell",
    "caught@100m", "caught:for_s=1800@100m", "never-sinks", "hauled-back@record+10min",
    "magnet-brushed:for_s=8@record+10min", "line-noise", "line-noise:for_s=5@ascend+2min", "link-early:after_min=20",
    "clock-drifts:ppm=-500000@splash power-gone:for_s=120@record+25min",
    "power-gone:for_s=120@record+25min clock-jumps@record+26min", "hauled-back@record+10min thrown-in@surface+30min",
    "hauled-back@record+10min say:word=disarm@surface+5min say:word=ready-primary@surface+10min"
    " say:word=fire@surface+620s", "pressure-saturated@attempt",
    "press-missed@splash", "press-missed:presses=7@splash", "pressure-frozen@record+10min hauled-back@record+10min",
    "link-early:after_min=1@100m", "pressure-gone@ascend", "magnet-brushed:for_s=8@ascend+60s",
    "contact-bridged:for_s=120@armed+30s hauled-back@armed+5min",
    "jammed:channel=both reset@backup+1h", "jammed:channel=both caught@ascend",
    "caught@ascend", "pressure-gone@ascend caught@ascend", "leak-false:for_s=2@record+10min",
    "* lamp-shorted@record+1h",
    "* reset@record+2h lamp-shorted@record+1h", "* battery-misread:current=0.1,voltage=1.2",
    "* battery-misread:voltage=1.2,current=1 lamp-shorted@record+1h",
    "* battery-misread:voltage=1.2,current=1 lamp-shorted@record+1h reset@record+2h",
)


@dataclass
class Judgement:
    """What the searches say of one edit: by search the sentence that caught it, or "" where it passed."""

    edit: Edit
    by: dict[str, str] = field(default_factory=dict)

    @property
    def caught(self) -> bool:
        return any(self.by.values())


@cache
def _plans():
    """The sample, and the same with an hour on the bottom."""
    sample = load_sample()
    short = sample.model_copy(update={
        "dive": sample.dive.model_copy(update={"watch_after_surfacing_min": 20.0}),
        "journal": sample.journal.model_copy(update={"reading_bottom_s": 30.0}),
        "times": sample.times.model_copy(update={"timed_release_min": 60.0, "latest_release_min": 80.0})})
    return sample, short


class Body(CPythonBody):
    """A core of another make in this process."""

    def __init__(self, record: bytes, core) -> None:
        super().__init__(record)
        self._core = core
        self._record = record
        self._steps = 0

    def step(self, inputs, outputs) -> None:
        self._steps += 1
        if self._steps > STEPS_MAX:
            raise RuntimeError("more than %d steps in a dive: it never sleeps" % STEPS_MAX)
        super().step(inputs, outputs)

    def boot(self, store, inputs) -> int:
        journal = Journal(store)
        recall = journal.recall()
        self.mission = self._core(self._record)
        self.mission.boot(recall.newest, inputs)
        return journal.next_slot


def _broken(written: str, core=None) -> dict[int, str]:
    """Laws that are broken in this dive, with their sentences; 0 for a core that stops with an error."""
    sample, short = _plans()
    plan = sample if written.startswith("*") else short
    faults = [parse(text) for text in written.removeprefix("*").split()]
    body = Body(plan.mission_record(), core) if core else None
    try:
        result = Dive(plan, faults, 1, body, keep_series=False).run()
    except Exception as error:  # whatever a broken core does to itself is a finding
        return {0: "the controller stopped: %s: %s" % (type(error).__name__, error)}
    return {one.number: one.sentence for one in result.verdicts if one.verdict == laws.BROKEN}


@cache
def _true_laws(written: str) -> frozenset[int]:
    """Laws that the true core breaks in this dive; a search must not blame an edit for them."""
    return frozenset(_broken(written))


def telling(core) -> str:
    """The telling dives, until one breaks a law that the true core keeps."""
    return _blamed(DIVES, core)


def sweep(core) -> str:
    """What a sweep flies, on the short plan, until a dive breaks a law that the true core keeps."""
    return _blamed(_singles(), core)


def _blamed(courses: Iterable[str], core) -> str:
    for written in courses:
        for law, sentence in _broken(written, core).items():
            if law not in _true_laws(written):
                return "%s: law %d: %s" % (written or "no fault", law, sentence)
    return ""


@cache
def _singles() -> tuple[str, ...]:
    """Every fault alone at every phase, and with power that fails for a while, in an order drawn once: what one kind
    does not show, another may."""
    short = _plans()[1]
    onsets = {name: phase.when for name, phase in phases(short).items()}
    chosen = [" ".join(planned.faults) for planned in dives(Campaign(), short)]
    chosen += [" ".join(map(str, faults)) for faults in in_the_dark(list(KINDS.values()), onsets)]
    dice = Dice(1)
    return tuple(sorted(chosen, key=lambda written: dice.fork(written).u16()))


def exploration(core, states: int | None = STATES) -> str:
    """The exploration of a short dive, to so many situations or to its end, until a law is broken."""
    return _first(explore(short_orders(_plans()[0]), BOUND, core, states_max=states, first_only=True))


def wandering(core, voyages: int = VOYAGES) -> str:
    """Voyages at random, until a law is broken that the true core keeps on the same way."""
    given = short_orders(_plans()[0])
    found = wander(given, WANDER_BOUND, voyages, core, first_only=True)
    if found.violations and replay(Voyage(given), found.violations[0].acts)[-1].broken:
        return ""
    return _first(found)


def _first(found: Exploration) -> str:
    if not found.violations:
        return ""
    first = found.violations[0]
    return "%d acts, %d surprises: law %d: %s" % (len(first.acts), first.surprises, first.law, first.sentence)


def drawn(core) -> str:
    """What dives drawn at random find, where Hypothesis is there to draw them."""
    try:
        from seatrial.fuzzing.search import blames
    except ModuleNotFoundError:
        return ""
    return blames(_plans()[0], core, FUZZ_DIVES)


SEARCHES: dict[str, Callable] = {"telling": telling, "explore": exploration, "wander": wandering, "fuzz": drawn,
                                 "exhaust": partial(exploration, states=None), "sweep": sweep}
LONG = ("exhaust", "sweep")


def judge(edit: Edit, by_all: bool = False, quick: bool = False) -> Judgement:
    """The searches on the core with this edit, until one has caught it; `by_all`: every one; `quick`: none that takes
    minutes. Raises EditError when it cannot be made."""
    judgement = Judgement(edit)
    try:
        core = mission_class([edit])
    except EditError:
        raise
    except Exception as error:  # a core that cannot even be imported is caught by anybody
        judgement.by = {"import": "%s: %s" % (type(error).__name__, error)}
        return judgement
    for name, search in SEARCHES.items():
        if (by_all or not judgement.caught) and not (quick and name in LONG):
            judgement.by[name] = search(core)
    return judgement


def table_of(judgements: list[Judgement]) -> list[str]:
    """The table, the survivors and the share, as lines of text."""
    lines = ["law  caught by          what is broken"]
    for one in judgements:
        by = [name for name, sentence in one.by.items() if sentence]
        lines.append("%3d  %-17s  %s" % (one.edit.law, ", ".join(by) or "NOTHING", one.edit.breaks))
    lines.append("")
    for one in judgements:
        if not one.caught:
            lines.append("SURVIVED (law %d): %s (%s)%s" % (
                one.edit.law, one.edit.breaks, one.edit.file, ": " + one.edit.why if one.edit.why else ""))
    for name in SEARCHES:
        lines.append("%-8s %3d of %d" % (name, sum(bool(one.by.get(name)) for one in judgements), len(judgements)))
    caught = sum(one.caught for one in judgements)
    lines.append("caught   %3d of %d, %.1f %%" % (caught, len(judgements), 100.0 * caught / len(judgements)))
    return lines


def main(arguments=None) -> int:
    parser = argparse.ArgumentParser(prog="python -m seatrial.known_bad", description="Judge broken cores.")
    parser.add_argument("--edits", type=Path, metavar="FILE", help="TOML with further edits, as in known_bad.toml")
    parser.add_argument("--only", default="", metavar="WORDS", help="edits whose file or words contain this")
    parser.add_argument("--cores", type=int, default=1, help="processes")
    parser.add_argument("--quick", action="store_true", help="leave out the searches that take minutes")
    parser.add_argument("--all", action="store_true", help="give to every search also what another has caught")
    parser.add_argument("--how", action="store_true", help="say of each how it was caught")
    given = parser.parse_args(arguments)
    try:
        edits = read_edits(LIST) + (read_edits(given.edits) if given.edits else [])
        edits = [edit for edit in edits if given.only in edit.file or given.only in edit.breaks]
        for edit in edits:
            edited_sources([edit])
    except EditError as error:
        parser.error(str(error))
    if not edits:
        parser.error("no edit has %r in its file or words" % given.only)
    with ProcessPoolExecutor(max(1, given.cores)) as pool:
        judgements = []
        for judgement in pool.map(partial(judge, by_all=given.all, quick=given.quick), edits):
            judgements.append(judgement)
            by = [name for name, sentence in judgement.by.items() if sentence]
            print("%d of %d: %s: %s" % (len(judgements), len(edits), ", ".join(by) or "NOTHING", judgement.edit.breaks),
                  file=sys.stderr, flush=True)
    print("\n".join(table_of(judgements)))
    if given.how:
        for one in judgements:
            print("\n%s" % one.edit.breaks)
            print("\n".join("  %-8s %s" % (name, sentence or "-") for name, sentence in one.by.items()))
    return 0 if sum(one.caught for one in judgements) >= WANTED_SHARE * len(judgements) else 1


if __name__ == "__main__":
    sys.exit(main())
