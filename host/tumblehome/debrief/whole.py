"""A dive debriefed as a whole: what happened, why, how it stood to its plan, and what it teaches.

The parts are worked out elsewhere (`causes`, `against`, `learning`); here they meet, and the headline is made. What
needs a plan is left out where none is known: numbers of another lander would make causes and laws wrong.
"""

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lander import VERSION, journal, release, table, words
from seatrial.bodies import open_body
from seatrial.dive import Dive
from seatrial.plan import Plan
from seatrial.verdicts import BROKEN
from tumblehome.debrief import deck_check, physics, telling
from tumblehome.debrief.against import Against, against
from tumblehome.debrief.causes import ESTABLISHED, OPEN, Finding, Link, chain, findings
from tumblehome.debrief.causes.alike import SILENCE
from tumblehome.debrief.deck_check import Agreed
from tumblehome.debrief.depths import Depths, depths
from tumblehome.debrief.learning import Learned, learn
from tumblehome.debrief.log import Log, LogError

HOME, HAULED, DRY, DOWN = "home", "hauled back", "never in water", "down"
PLANNED_SEED = 1  # the planned curve is a rehearsal without faults; its noise is not drawn
GAP_S = 5.0  # a controller that was away for longer left a gap in its readings

Row = tuple[float, int]  # mission time, number of the row of the mission table


@dataclass(frozen=True)
class Headline:
    """`tone` is good, warn or bad; `word` what happened; `sentence` how and why."""

    tone: str
    word: str
    sentence: str


@dataclass(frozen=True)
class Debrief:
    """One dive and all that is to be told of it. `log` holds its records alone, `whole` all that were read.

    Without a plan `links` are the records in words, and `findings`, `against` and `learned` are empty.
    """

    whole: Log
    log: Log
    plan: Plan | None
    plan_from: str
    depths: Depths
    links: tuple[Link, ...]
    findings: tuple[Finding, ...]
    against: Against | None
    agreed: tuple[Agreed, ...]
    learned: Learned | None

    @property
    def name(self) -> str:
        """What the plan calls the dive."""
        return "A dive without a plan" if self.plan is None else self.plan.dive.name

    @property
    def number(self) -> int:
        """Which arming of the controller it was."""
        return int(self.log.records["dive"][0])

    @cached_property
    def rows(self) -> list[Row]:
        """The rows of the mission table that were taken."""
        taken = (self.log.records["kind"] == journal.ROW) & (self.log.records["code"] < len(table.ROWS))
        return [(float(self.log.mission_s[at]), int(self.log.records["code"][at])) for at in np.flatnonzero(taken)]

    @cached_property
    def surfaced_s(self) -> float | None:
        """Mission time when the controller saw the surface for the last time."""
        seen = [at_s for at_s, row in self.rows if table.ROWS[row][table.TO] == table.SURFACE]
        return seen[-1] if seen else None

    @cached_property
    def commanded_s(self) -> float | None:
        """Mission time of the first release command."""
        told = self.log.records["command_ds"][self.log.records["command_ds"] >= 0]
        return float(told[0]) / 10.0 if len(told) else None

    @cached_property
    def end(self) -> str:
        """HOME, HAULED, DRY or DOWN, as far as the journal goes."""
        if _is_dry(self.log):
            return DRY
        if self.surfaced_s is not None:
            went_on = [row for at_s, row in self.rows if at_s > self.surfaced_s
                       and table.ROWS[row][table.TO] not in (table.SAFE, table.ARMED)]
            if not went_on:
                return HAULED if physics.hauled(self.log) and not self.attempts else HOME
        return DOWN

    @cached_property
    def attempts(self) -> list[dict[str, Any]]:
        """Release attempts: channel, drive, mission time from and to (None: no end recorded), and how it ended."""
        found: list[dict[str, Any]] = []
        for at, fields in self.log.told():
            at_s = float(self.log.mission_s[at])
            if fields["kind"] == journal.ATTEMPT:
                channel = words.CHANNELS[fields["code"]] if fields["code"] < len(words.CHANNELS) else "unknown"
                found.append({"channel": channel, "drive_pct": fields["detail"], "from_s": at_s, "to_s": None,
                              "end": "no end recorded"})
            elif not found or found[-1]["to_s"] is not None:
                continue
            elif fields["kind"] == journal.BOOT:
                found[-1] |= {"to_s": at_s, "end": words.ATTEMPT_ENDS[release.RESET]}
            elif fields["kind"] == journal.ATTEMPT_END:
                found[-1] |= {"to_s": at_s, "end": telling.what(fields).partition(": ")[2]}
        return found

    @cached_property
    def resets_s(self) -> list[float]:
        """Mission times at which the controller started anew within the dive."""
        boot = self.log.records["boot"]
        return [float(self.log.mission_s[at]) for at in np.flatnonzero(boot[1:] != boot[:-1]) + 1]

    @property
    def broken(self) -> list[Any]:
        """The laws that the journal shows to be broken."""
        return [] if self.against is None else [law for law in self.against.laws if law.verdict == BROKEN]

    @property
    def established(self) -> list[Finding]:
        """The causes that the journal leaves no doubt of."""
        return [finding for finding in self.findings if finding.certainty == ESTABLISHED]

    @property
    def is_sound(self) -> bool:
        """It came home, no law broke, and no cause is established."""
        return self.end != DOWN and not self.broken and not self.established

    # --- times ------------------------------------------------------------------------------------------------------

    def when(self, mission_s: float) -> str:
        """A moment for a person."""
        splash_s = self.log.splash_s
        return telling.moment(self.whole.utc(mission_s), None if splash_s is None else mission_s - splash_s, mission_s)

    @cached_property
    def origin_s(self) -> float:
        """Mission time from which a page counts: the splash, or the first record of a dive without one."""
        return float(self.log.mission_s[0]) if self.log.splash_s is None else self.log.splash_s

    def since_origin(self, mission_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Seconds since the origin: by the clock where one is trusted, so that resets do not bend the axis."""
        by_clock = self.whole.clock_s_at(mission_s) - self.whole.clock_s_at(np.array([self.origin_s]))
        return np.where(np.isnan(by_clock), mission_s - self.origin_s, by_clock)

    def moments(self, numbers: tuple[int, ...]) -> NDArray[np.float64]:
        """Mission times of the records with these numbers."""
        return self.whole.mission_s[np.isin(self.whole.records["sequence"], numbers)]

    # --- in words ---------------------------------------------------------------------------------------------------

    @cached_property
    def headline(self) -> Headline:
        """What happened in a word, and why in a sentence."""
        sentence = "%s %s" % (self._cause(), self._course()) if self.findings else self._course()
        if self.end == DOWN:
            cut = ": the file is cut off" if self.whole.unread.tail_bytes else ""
            return Headline("bad", "Not seen to come up" + cut, sentence)
        if self.end == DRY:
            return Headline("warn", "Never in the water", sentence)
        word = "Hauled back" if self.end == HAULED else "Home"
        if self.broken:
            return Headline("bad", "%s, but %s" % (word, _count(len(self.broken), "law") + " broken"), sentence)
        if self.plan is None:
            return Headline("good", word, sentence)
        if self.findings or self.end == HAULED:
            return Headline("warn", "%s, not as planned" % word if self.end == HOME else word, sentence)
        return Headline("good", "%s, as planned" % word, sentence)

    def _cause(self) -> str:
        first = self.findings[0]
        return first.sentence if first.certainty == ESTABLISHED else "%s: %s" % (
            first.certainty.capitalize(), first.sentence)

    def _course(self) -> str:
        said = []
        if self.commanded_s is not None:
            because = next((table.because(row) for at_s, row in self.rows if table.ROWS[row][table.TO] in (
                table.RELEASE, table.BACKUP)), "")
            said.append("Release commanded %s%s, %s." % (self.when(self.commanded_s), because and " (%s)" % because,
                                                         _count(len(self.attempts), "attempt")))
        elif self.log.splash_s is not None:
            said.append("No release was commanded as far as the journal goes.")
        if self.surfaced_s is not None:
            said.append("%s %s." % ("Back in the air" if self.end == HAULED else "At the surface",
                                    self.when(self.surfaced_s)))
        if self.end == DRY:
            said.append("No sign of water is in this journal, so there is no dive to judge. If the lander was in the"
                        " water, look at its pressure sensor and its wet contact.")
        if self.end in (DOWN, DRY):
            last = telling.state_of({"state": int(self.log.records["state"][-1])})
            said.append("The journal ends %s in state %s%s." % (
                self.when(float(self.log.mission_s[-1])), last,
                ", where its file was cut off: pull it again" if self.whole.unread.tail_bytes else ""))
        return " ".join(said)

    def facts(self) -> list[tuple[str, str]]:
        """The leading facts: name and text."""
        deepest_m, splash_s = self.depths.deepest_m, self.log.splash_s
        told = [("Splash", "none seen" if splash_s is None else self.when(splash_s)),
                ("Deepest", "not known" if deepest_m is None else "%.1f m" % deepest_m),
                ("Release commanded", "never" if self.commanded_s is None else self.when(self.commanded_s)),
                ("Attempts", str(len(self.attempts))),
                ("At the surface", "never seen there" if self.surfaced_s is None else self.when(self.surfaced_s)),
                ("Resets", str(len(self.resets_s)))]
        if self.against is not None:
            verdicts = [law.verdict for law in self.against.laws]
            told.append(("Laws", ", ".join("%d %s" % (verdicts.count(verdict), verdict)
                                           for verdict in dict.fromkeys((BROKEN, *verdicts)) if verdict in verdicts)))
        return told

    @property
    def happened(self) -> list[Link]:
        """The links of the chain that have a moment."""
        return [link for link in self.links if link.at_s is not None]

    @property
    def untold(self) -> list[Link]:
        """What the journal cannot tell."""
        return [link for link in self.links if link.at_s is None]

    def plain(self) -> dict[str, Any]:
        """All of it as plain data: the content of debrief.json. Readings are in the other exports."""
        return {
            "tool": "tumblehome", "version": VERSION, "source": self.whole.source, "controller": self.whole.chip,
            "dive": self.number, "plan_name": None if self.plan is None else self.plan.dive.name,
            "plan_from": self.plan_from, "plan_toml": None if self.plan is None else self.plan.source_text,
            "outcome": {"end": self.end, **asdict(self.headline)},
            "facts": [{"name": name, "text": said} for name, said in self.facts()],
            "causes": [asdict(finding) for finding in self.findings],
            "chain": [{**asdict(link), "since_splash_s": None if link.at_s is None or self.log.splash_s is None
                       else round(link.at_s - self.log.splash_s, 1)} for link in self.links],
            "attempts": self.attempts, "resets_s": self.resets_s,
            "against": None if self.against is None else asdict(self.against),
            "deck": [asdict(each) for each in self.agreed],
            "learned": None if self.learned is None else _learned(self.learned),
            "depth_by": self.depths.how,
            "unread": {**self.whole.unread.__dict__, "sentences": self.whole.unread.sentences()},
        }


def work_out(whole: Log, plan: Plan | None, plan_from: str = "", number: int | None = None,
             record: Mapping[str, Any] | None = None, surfaced_at: tuple[float, float] | None = None,
             with_learning: bool = False) -> Debrief:
    """Debrief one dive of a log: the newest that went into the water, or the one of this number.

    `record` is the check on deck before it, `surfaced_at` latitude and longitude in degrees. Raises LogError where
    there is no such dive, or the check was of another lander.
    """
    log = _chosen(whole, number)
    until = whole.until_dive(int(log.records["dive"][0]))
    agreed = () if record is None or plan is None else tuple(deck_check.compare(until, plan, record))
    return Debrief(
        whole=until, log=log, plan=plan, plan_from=plan_from, depths=depths(log, plan),
        links=_told(until, log) if plan is None else tuple(chain(until, plan)),
        findings=() if plan is None else tuple(_causes(until, log, plan)),
        against=None if plan is None else _beside(against(log, plan, surfaced_at), log), agreed=agreed,
        learned=learn(until, plan) if with_learning and plan is not None else None)


def _chosen(whole: Log, number: int | None) -> Log:
    dives = whole.dives()
    if number is None:
        return next((dive for dive in reversed(dives) if dive.splash_s is not None), dives[-1])
    for dive in dives:
        if int(dive.records["dive"][0]) == number:
            return dive
    raise LogError("%s has no dive %d: its dives are %s" % (
        whole.source, number, ", ".join(str(int(dive.records["dive"][0])) for dive in dives)))


def _is_dry(log: Log) -> bool:
    """Nothing in these records tells of water."""
    return log.splash_s is None and not (log.records["descent_ds"] >= 0).any()


def _causes(until: Log, log: Log, plan: Plan) -> Iterator[Finding]:
    """The causes that count for this dive.

    Where it was never in the water, what an earlier arming has left is no cause of this one; and a controller that
    answered when its journal was pulled was not silent: had it started anew, that would stand in a record.
    """
    numbers = set(log.records["sequence"].tolist())
    for finding in findings(until, plan):
        if _is_dry(log) and ((finding.records and not numbers.intersection(finding.records))
                             or (finding.kinds == SILENCE and log.chip is not None)):
            continue
        yield finding


def _beside(told: Against, log: Log) -> Against:
    """The dive beside its plan; of one that was never in the water only the laws, since no number of it was a dive's.
    """
    return replace(told, rows=(), by_load=(), by_phase=()) if _is_dry(log) else told


def _told(whole: Log, log: Log) -> tuple[Link, ...]:
    """The records in words, where no plan says what was expected."""
    links = []
    for at, fields in log.told():
        said = telling.what(fields)
        if said:
            at_s = float(log.mission_s[at])
            since_s = None if log.splash_s is None else at_s - log.splash_s
            when = telling.moment(whole.utc(at_s), since_s, at_s)
            links.append(Link(at_s, when, said[0].upper() + said[1:] + ".", "", "", ESTABLISHED,
                              (fields["sequence"],)))
    return (*links, *(Link(None, "", "Not read: %s." % sentence, "", "", OPEN, ())
                      for sentence in whole.unread.sentences()))


def _count(number: int, name: str) -> str:
    return "%d %s%s" % (number, name, "" if number == 1 else "s")


def _learned(learned: Learned) -> dict[str, Any]:
    return {"fits": [asdict(fit) for fit in learned.fits], "net_n": learned.net_n,
            "follows": [asdict(follow) for follow in learned.follows], "alike": learned.alike,
            "missing": learned.missing, "notes": learned.notes}


# --- series for the page --------------------------------------------------------------------------------------------


READINGS = {"supply_v": ("supply_mv", 1000.0, "supply_ok"), "current_a": ("supply_ma", 1000.0, "current_ok"),
            "camera_c": ("camera_centi_c", 100.0, "camera_temp_ok"),
            "housing_c": ("housing_centi_c", 100.0, "housing_temp_ok"),
            "water_c": ("water_centi_c", 100.0, "water_temp_ok")}


def series(told: Debrief) -> tuple[NDArray[np.float64], dict[str, NDArray[np.float64]]]:
    """Seconds since the origin and the readings then, not a number where one was not valid.

    Where records are missing, or the controller was away, a missing reading stands between, so that no line is drawn
    over what nobody saw.
    """
    records, time_s = told.log.records, told.log.mission_s
    read = {"depth_m": told.depths.metres}
    for key, (name, parts, valid) in READINGS.items():
        good = records["signs"] >> words.SIGNS.index(valid) & 1 != 0
        read[key] = np.where(good, records[name] / parts, np.nan)
    lost = np.diff(records["sequence"].astype(np.int64)) > 1
    away = (np.diff(records["boot"].astype(np.int64)) != 0) & (np.diff(time_s) > GAP_S)
    gaps = np.flatnonzero(lost | away) + 1
    times = np.maximum.accumulate(told.since_origin(time_s))
    return np.insert(times, gaps, times[gaps]), {key: np.insert(values, gaps, np.nan) for key, values in read.items()}


def planned_depths(plan: Plan) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Seconds since the splash and depth, m, of this plan's rehearsal without faults."""
    result = Dive(plan, [], PLANNED_SEED, open_body("cpython", plan.mission_record())).run()
    return np.array(result.series.time_s) - result.evidence.splash_s, np.array(result.series.depth_m)


def spans(told: Debrief) -> list[dict[str, Any]]:
    """The states and how long each lasted: `state`, `from_s` and `to_s` in mission time."""
    state, time_s = told.log.records["state"], told.log.mission_s
    begins = np.flatnonzero(np.concatenate(([True], state[1:] != state[:-1])))
    ends = [*time_s[begins[1:]].tolist(), float(time_s[-1])]
    return [{"state": telling.state_of({"state": int(state[begin])}), "from_s": float(time_s[begin]), "to_s": end}
            for begin, end in zip(begins.tolist(), ends, strict=True)]
