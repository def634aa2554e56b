"""How often the right cause is named: every single fault is flown, and its journal debriefed without anything else.

    python -m tumblehome.debrief.causes.measure [--seed N] [--only NAME] [--onsets WHEN ...] [--variants] [--wrong]

For each dive the first finding counts:

    right        it names the injected kind alone
    right group  it names several kinds that leave the same traces (`alike`), the injected one among them
    second       another finding names it, the first one does not
    wrong        there are findings and none names it
    silent       there is none

"first named" counts, of these, the dives in which the injected kind is the first that the first finding names: alone,
or as the likeliest of several. "confidently wrong" counts established findings that do not name the injected kind.
Dives that say nothing about the rules are shown beside and not counted: "no effect" is a journal that differs from the
sound dive's by no more than the noise of the sensors; "no trace" the same for kinds that leave none by their nature
(`untold`); "taken out" a journal that is the sound one's up to a moment at the surface, as when somebody has taken the
lander out and switched it off; "no journal" one without a single whole record.
"""

import argparse
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from lander import journal, table
from seatrial.campaign.choosing import Campaign, CampaignError, dives, kinds_of, variants
from seatrial.campaign.phases import phases
from seatrial.dive import Dive
from seatrial.faults import KINDS, Fault, FaultError, parse, parse_when, unfit
from seatrial.plan import Plan, load_sample
from seatrial.plan.reckoning import water_of
from tumblehome.debrief.beacon import beacon_of
from tumblehome.debrief.causes.findings import ESTABLISHED, Finding
from tumblehome.debrief.causes.past import DRIVE
from tumblehome.debrief.causes.untold import NO_TRACE
from tumblehome.debrief.causes.weighing import findings
from tumblehome.debrief.log import Log, LogError
from tumblehome.debrief.log import parse as parse_log

ONSETS = ("start", "deck", "splash", "sinking", "bottom", "attempt", "freed", "afloat")
RIGHT, GROUP, SECOND, WRONG, SILENT = "right", "right group", "second", "wrong", "silent"
NO_EFFECT, NO_TRACE_HERE, TAKEN_OUT, NO_JOURNAL, NEVER_BEGAN = (
    "no effect", "no trace", "taken out", "no journal", "never began")
COUNTED = (RIGHT, GROUP, SECOND, WRONG, SILENT)
BESIDE = (NO_EFFECT, NO_TRACE_HERE, TAKEN_OUT, NO_JOURNAL, NEVER_BEGAN)
CONFIDENTLY_WRONG = "confidently wrong"
FIRST_NAMED = "first named"

SHIFT_MOST_S = 3.0  # a start some seconds later shifts the whole journal
MOVES_MBAR_S = 150.0  # what the pressure changes in that time on the way down
CLOCK_S = 3
QUIET = ("kind", "boot", "state", "code", "attempts", "signs")
SWITCHED_MOST = 0.02  # of the records
FAN_MOST = 0.1  # of them: a fan that goes by a temperature goes on some readings sooner or later
ROOM_CENTI_C = 100.0  # and leaves the camera so much warmer for it


@dataclass(frozen=True)
class Judged:
    """One dive: the fault, what the debrief came to, its findings."""

    fault: str
    kind: str
    word: str
    confidently_wrong: bool
    found: tuple[Finding, ...]

    @property
    def first_named(self) -> bool:
        """Whether the injected kind is named before any other."""
        return self.word in (RIGHT, GROUP) and self.found[0].kinds[0] == self.kind


def chosen(plan: Plan, kinds: Sequence[str], onsets: Sequence[str], with_variants: bool) -> list[str]:
    """The faults to fly, as written: those of the campaign's singles whose onset is one of these.

    An onset is the name of a phase, or written as on the command line. Raises CampaignError and FaultError for words
    that name nothing.
    """
    known = phases(plan)
    if all(name in known for name in onsets):
        wanted = {str(parse_when(known[name].when)) for name in onsets}
        texts = [dive.faults[0] for dive in dives(Campaign(only=tuple(kinds)), plan) if dive.faults]
        return [text for text in texts if (with_variants or _is_default(parse(text)))
                and (str(parse(text).when) in wanted or parse(text).kind.prepare)]
    return [str(fault) for kind in kinds_of(kinds) for fault in _at(plan, kind.name, onsets, with_variants)]


def _is_default(fault: Fault) -> bool:
    return all(value == fault.kind.parameters[key].default for key, value in fault.values.items())


def _at(plan: Plan, name: str, onsets: Sequence[str], with_variants: bool) -> Iterator[Fault]:
    kind = KINDS[name]
    defaults = {key: parameter.default for key, parameter in kind.parameters.items()}
    known = phases(plan)
    for values in ({}, *(variants(kind) if with_variants else ())):
        for onset in ("start",) if kind.prepare else onsets:
            when = known[onset].when if onset in known else onset
            fault = Fault(kind, {**defaults, **values}, parse_when(when))
            if not unfit(plan, fault):
                yield fault


def flown(plan: Plan, faults: Sequence[str], seed: int) -> tuple[bytes, bool]:
    """The journal of a dive with these faults, and whether all of them began."""
    dive = Dive(plan, [parse(text) for text in faults], seed, water=water_of(plan.site), keep_series=False)
    result = dive.run()
    return result.journal, all(times[1] is not None for times in result.faults)


def judged(plan: Plan, text: str, image: bytes, began: bool, sound: bytes) -> Judged:
    """What the debrief of this journal is worth."""
    kind = parse(text).kind.name

    def told(word: str, found: Sequence[Finding] = (), confidently: bool = False) -> Judged:
        return Judged(text, kind, word, confidently, tuple(found))

    if not began:
        return told(NEVER_BEGAN)
    try:
        log = parse_log(image, text)
    except LogError:
        return told(NO_JOURNAL)
    found = findings(log, plan)
    sound_log = parse_log(sound, "sound")
    wrong = any(one.certainty == ESTABLISHED and kind not in one.kinds for one in found)
    if not found:
        if not differs(sound_log, log, plan):
            return told(NO_TRACE_HERE if kind in NO_TRACE else NO_EFFECT)
        if taken_out(sound_log, log, plan):
            return told(TAKEN_OUT)
        return told(SILENT)
    if kind in found[0].kinds:
        return told(RIGHT if len(found[0].kinds) == 1 else GROUP, found, wrong)
    return told(SECOND if any(kind in one.kinds for one in found) else WRONG, found, wrong)


def differs(sound: Log, other: Log, plan: Plan) -> bool:
    """Whether a journal differs from the sound one by more than the sensors' noise and a shift of a few seconds."""
    return len(sound.records) != len(other.records) or _differ(sound, other, plan) or sound.unread != other.unread


def taken_out(sound: Log, other: Log, plan: Plan) -> bool:
    """Whether it is the sound one up to a moment at the surface."""
    return (0 < len(other.records) < len(sound.records) and int(other.records["state"][-1]) == table.SURFACE
            and not _differ(sound, other, plan))


def _differ(sound: Log, other: Log, plan: Plan) -> bool:
    count = min(len(sound.records), len(other.records))
    one, two = sound.records[:count], other.records[:count]
    if any((one[name] != two[name]).any() for name in QUIET):
        return True
    changed = one["drives"] ^ two["drives"]
    switched = ((changed & ~np.uint8(DRIVE["fan"])) != 0) | (one["lights_pct"] != two["lights_pct"])
    if switched.mean() > SWITCHED_MOST or (changed != 0).mean() > FAN_MOST:
        return True
    rhythm = [beacon_of(log, plan.orders()).code[:count] for log in (sound, other)]  # at dusk a second's shift tells
    switched |= (changed != 0) | (rhythm[0] != rhythm[1])
    alike = ~(switched | np.append(False, switched[:-1]))
    events = one["kind"] != journal.ROW
    if (one["detail"][events & (one["kind"] != journal.READING) & (one["kind"] != journal.BOOT)]
            != two["detail"][events & (two["kind"] != journal.READING) & (two["kind"] != journal.BOOT)]).any():
        return True
    shift = np.abs(sound.mission_s[:count] - other.mission_s[:count])
    trust = (one["clock_s"] > 0) == (two["clock_s"] > 0)
    sensors = plan.sensors
    off = {name: np.abs(one[name].astype(float) - two[name].astype(float)) for name in (
        "clock_s", "pressure_mbar", "supply_mv", "supply_ma", "camera_centi_c", "housing_centi_c", "water_centi_c")}
    # two sound readings differ by twice the noise and a step at most
    room_c = 2.0 * sensors.temperature.noise_centi_c + sensors.temperature.resolution_centi_c + ROOM_CENTI_C
    return bool((shift > SHIFT_MOST_S).any() or not trust.all() or (off["clock_s"] > CLOCK_S + shift).any()
                or (off["pressure_mbar"] > 2.0 * sensors.pressure.noise_mbar + sensors.pressure.resolution_mbar
                    + MOVES_MBAR_S * (shift + 0.1) + 20.0).any()
                or (off["supply_mv"][alike] > 2.0 * (sensors.supply.noise_mv + sensors.supply.resolution_mv)).any()
                or (off["supply_ma"][alike] > 2.0 * (sensors.supply.noise_ma + sensors.supply.resolution_ma)).any()
                or any((off[name] > room_c).any() for name in ("camera_centi_c", "housing_centi_c", "water_centi_c")))


def measured(plan: Plan, seed: int, faults: Iterable[str]) -> Iterator[Judged]:
    """Fly and judge these faults, one after the other."""
    sound, _began = flown(plan, (), seed)
    for text in faults:
        image, began = flown(plan, (text,), seed)
        yield judged(plan, text, image, began, sound)


def printed(results: Sequence[Judged]) -> list[str]:
    """The table, a line for each kind, and the totals."""
    lines = ["%-24s" % "kind" + "".join("%12s" % word for word in (
        *COUNTED, FIRST_NAMED, CONFIDENTLY_WRONG[:11], *BESIDE))]
    total: Counter[str] = Counter()
    for kind in dict.fromkeys(one.kind for one in results):
        counts = Counter(one.word for one in results if one.kind == kind)
        counts[CONFIDENTLY_WRONG] = sum(one.confidently_wrong for one in results if one.kind == kind)
        counts[FIRST_NAMED] = sum(one.first_named for one in results if one.kind == kind)
        total.update(counts)
        lines.append(_line(kind, counts))
    lines.append(_line("all", total))
    traced = sum(total[word] for word in COUNTED)
    if traced:
        named = [len(one.found[0].kinds) for one in results if one.word in (RIGHT, GROUP)]
        lines.append("of %d dives whose fault left a trace: right %.1f %%, right or right group %.1f %%, first named"
                     " %.1f %%, confidently wrong %d; a finding names %.1f kinds on the average" % (
                         traced, 100.0 * total[RIGHT] / traced, 100.0 * (total[RIGHT] + total[GROUP]) / traced,
                         100.0 * total[FIRST_NAMED] / traced, total[CONFIDENTLY_WRONG],
                         sum(named) / max(1, len(named))))
    lines += ["no trace: %s: %s" % (kind, NO_TRACE[kind]) for kind in dict.fromkeys(
        one.kind for one in results if one.word == NO_TRACE_HERE)]
    return lines


def _line(name: str, counts: Counter[str]) -> str:
    return "%-24s" % name + "".join("%12s" % (counts[word] or ".") for word in (
        *COUNTED, FIRST_NAMED, CONFIDENTLY_WRONG, *BESIDE))


def main(arguments: Sequence[str] | None = None) -> int:
    """Fly, debrief and print."""
    parser = argparse.ArgumentParser(prog="python -m tumblehome.debrief.causes.measure",
                                     description="how often the debrief names the injected fault")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", action="append", default=[], metavar="GROUP|NAME",
                        help="only this group or fault of the catalogue, as often as wanted")
    parser.add_argument("--onsets", nargs="*", default=list(ONSETS), help="phases, or onsets such as record+20min")
    parser.add_argument("--variants", action="store_true", help="the bounds and words of each parameter as well")
    parser.add_argument("--wrong", action="store_true", help="tell each dive that was not named right, with findings")
    given = parser.parse_args(arguments)
    plan = load_sample()
    try:
        faults = chosen(plan, given.only, given.onsets, given.variants)
    except (CampaignError, FaultError) as error:
        parser.error(str(error))
    results = []
    for one in measured(plan, given.seed, faults):
        results.append(one)
        if given.wrong and one.word in (SECOND, WRONG, SILENT):
            print("%s: %s" % (one.fault, one.word), *["   %s (%s): %s" % (" or ".join(finding.kinds), finding.certainty,
                  finding.sentence) for finding in one.found], sep="\n", flush=True)
    print("\n".join(printed(results)))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
