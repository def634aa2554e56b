"""Campaigns: which dives are flown, that none is lost or counted twice, and that the blame falls on the right fault.

Combinations follow NIST SP 800-142 (Kuhn, Kacker, Lei, 2010): every combination of three occurs in some test. Covers
are held to the lower bound of Schoenheim (Pacific Journal of Mathematics 14, 1964), which the Fano plane, C(7, 3, 2) =
7, and the quadruple system of eight points, C(8, 4, 3) = 14, attain (both from memory; any book on designs).
"""

import multiprocessing
import os
import signal
import sqlite3
from collections import Counter
from dataclasses import replace
from itertools import combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lander import VERSION
from seatrial.account import is_home
from seatrial.campaign import running
from seatrial.campaign.blaming import LOST, Blame, grouped, harms_of
from seatrial.campaign.choosing import Campaign, CampaignError, Planned, dives, kinds_of, variants
from seatrial.campaign.cover import blocks, fewest
from seatrial.campaign.flying import Row, fly, fly_many
from seatrial.campaign.phases import ALONE, TOGETHER, phases
from seatrial.campaign.results import Results, definition
from seatrial.campaign.shrinking import shrink
from seatrial.campaign.summary import (
    BROKEN_TOGETHER,
    HOME,
    LOST_ALONE,
    LOST_TOGETHER,
    laws_of,
    summary,
    within_laws,
)
from seatrial.faults import KINDS, SECOND, parse
from seatrial.laws import BROKEN

from .flying import SAMPLE, SHORT
from .flying import fly as fly_dive

SMALL = Campaign(only=("clock-lost", "press-missed"))
LETTERS = "abcdefghijklmnopqrstuvwxyz"


def told_apart(row: Row) -> Row:
    """The row without the time it took, the only thing that may differ."""
    return replace(row, took_s=0.0)


def made(number: int, *faults: str, home: bool = True, possible: bool = True, broken: tuple[int, ...] = (),
         lateness_s: float | None = -60.0, error: str = "") -> Row:
    return Row(number, faults, 1, home, "primary" if home else "none", possible, lateness_s if home else None, 9000.0,
               8000.0, 0, 1, "" if home else "it stays down", (), 100.0, 10,
               tuple((law, BROKEN, "law %d is broken" % law) for law in broken), error)


# --- covers --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("count", "strength", "size"), [(7, 2, 3), (8, 3, 4), (12, 3, 5), (26, 3, 5), (26, 2, 6),
                                                         (5, 3, 5), (4, 3, 6), (3, 3, 3)])
def test_every_combination_stands_in_a_block(count, strength, size):
    items = LETTERS[:count]
    found = blocks(items, strength, size)
    covered = {tuple(sorted(some)) for block in found for some in combinations(block, strength)}
    assert covered == set(combinations(items, strength))
    assert all(len(set(block)) == len(block) <= size for block in found)


@settings(max_examples=30)
@given(st.integers(2, 14), st.integers(2, 4), st.integers(0, 3))
def test_a_cover_is_never_smaller_than_can_be_and_not_much_larger(count, strength, more):
    size = strength + more
    found = blocks(LETTERS[:count], strength, size)
    covered = {some for block in found for some in combinations(block, strength)}
    assert covered == set(combinations(LETTERS[:count], strength))
    if count >= size:
        assert fewest(count, strength, size) <= len(found) <= 3 * fewest(count, strength, size)


def test_the_lower_bound_is_that_of_known_designs():
    assert fewest(7, 2, 3) == 7
    assert fewest(8, 3, 4) == 14


def test_all_triples_of_the_faults_meet_in_a_few_hundred_dives_instead_of_thousands():
    names = list(KINDS)
    found = blocks(names, 3, 5)
    assert {some for block in found for some in combinations(block, 3)} == set(combinations(names, 3))
    assert len(found) < len(list(combinations(names, 3))) / 4


def test_a_cover_that_cannot_be_is_refused():
    with pytest.raises(ValueError, match="strength is 4 and size 3"):
        blocks(LETTERS, 4, 3)


# --- which dives ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def pairs():
    return dives(Campaign(ways=2), SAMPLE)


def test_the_first_dive_has_no_fault_and_the_numbers_run_on(pairs):
    assert pairs[0].faults == ()
    assert [dive.number for dive in pairs] == list(range(len(pairs)))
    assert max(Counter(dive.faults for dive in pairs).values()) == 1


def test_every_fault_is_flown_alone_at_every_phase():
    flown = {dive.faults for dive in dives(Campaign(), SAMPLE)}
    moments = phases(SAMPLE)
    for kind, name in product(KINDS.values(), ALONE):
        when = "start" if kind.prepare else moments[name].when
        assert (str(parse("%s@%s" % (kind.name, when))),) in flown


def test_every_bound_and_every_word_of_a_fault_is_flown():
    flown = {dive.faults for dive in dives(Campaign(), SAMPLE)}
    for written in ("clock-jumps:by_s=-100000000@record+145min", "weak-supply:mohm=1000000@splash",
                    "jammed:channel=both@attempt", "bad-circuit:how=shorted@attempt", "power-gone:for_s=600@splash"):
        assert (str(parse(written)),) in flown
    assert {"channel": "both"} in variants(KINDS["jammed"])


def test_every_two_faults_meet_at_four_phases_and_either_may_lie_in_wait(pairs):
    flown = {frozenset(dive.faults) for dive in pairs}
    moments = phases(SAMPLE)
    for one, other in combinations([kind for kind in KINDS.values() if not kind.prepare], 2):
        for name in TOGETHER:
            assert frozenset(str(parse("%s@%s" % (kind.name, moments[name].when))) for kind in (one, other)) in flown
        for latent, later in ((one, other), (other, one)):
            assert frozenset((str(parse("%s@%s" % (latent.name, moments["deck"].when))),
                              str(parse("%s@%s" % (later.name, moments["bottom"].when))))) in flown


def test_two_faults_meet_on_the_way_down_on_the_bottom_at_the_release_and_on_the_way_up(pairs):
    flown = {frozenset(dive.faults) for dive in pairs}
    for when in ("splash", "record+145min", "attempt", "freed"):
        assert frozenset(str(parse("%s@%s" % (name, when))) for name in ("reset", "clock-lost")) in flown


def test_every_fault_meets_the_turn_of_the_backup(pairs):
    flown = {name for dive in pairs for name in dive.faults if name.endswith("@backup")}
    assert flown == {"%s@backup" % kind.name for kind in KINDS.values() if not kind.prepare}


def test_every_fault_comes_before_a_failure_of_power_and_in_it(pairs):
    flown = {dive.faults for dive in pairs}
    dark = str(parse("power-gone:for_s=120@record+145min"))
    for kind in KINDS.values():
        if kind.name != "power-gone":
            assert (str(parse(kind.name + ("" if kind.prepare else "@splash"))), dark) in flown
            assert kind.prepare or (dark, str(parse(kind.name + "@record+8760s"))) in flown
    assert (str(parse("clock-drifts:ppm=-500000@splash")), dark) in flown


@pytest.mark.parametrize("full", [False, True])
def test_every_three_faults_meet_at_every_phase_of_a_campaign_of_three_ways(full):
    only = ("release", "time", "surface")
    kinds = [kind.name for kind in kinds_of(only)]
    flown = [dive.faults for dive in dives(Campaign(3, full, only=only), SAMPLE) if len(dive.faults) > 1]
    moments = phases(SAMPLE)
    for three, name in product(combinations(kinds, 3), TOGETHER):
        wanted = {str(parse(kind + ("" if KINDS[kind].prepare else "@" + moments[name].when))) for kind in three}
        assert any(wanted <= set(faults) for faults in flown)
    if full:
        assert {len(faults) for faults in flown} == {3}


def test_pairs_in_full_have_every_two_phases():
    flown = {dive.faults for dive in dives(Campaign(2, True, only=("reset", "clock-lost")), SAMPLE)}
    assert sum(len(faults) == 2 for faults in flown) == len(phases(SAMPLE)) ** 2


@pytest.mark.parametrize(("only", "names"), [
    (("time",), {name for name, kind in KINDS.items() if kind.group == "time"}),
    (("release/jammed", "reset"), {"jammed", "reset"})])
def test_only_some_faults_are_flown_when_asked(only, names):
    flown = dives(Campaign(2, only=only), SAMPLE)
    assert {parse(text).name for dive in flown for text in dive.faults} == names


def test_a_fault_that_does_not_exist_is_refused_in_one_sentence():
    with pytest.raises(CampaignError) as told:
        dives(Campaign(only=("relase",)), SAMPLE)
    assert "'relase' names no fault" in str(told.value)
    assert "did you mean release?" in str(told.value)


def test_every_dive_of_a_campaign_has_its_seed(pairs):
    assert {dive.seed for dive in pairs} == {1}
    assert {dive.seed for dive in dives(Campaign(seed=2, only=("reset",)), SAMPLE)} == {2}


def test_faults_of_a_second_board_are_flown_only_where_one_is_fitted():
    without = SAMPLE.model_copy(update={"second": SAMPLE.second.model_copy(update={"fitted": False})})
    names = {parse(text).name for dive in dives(Campaign(), without) for text in dive.faults}
    assert names == {name for name, kind in KINDS.items() if kind.group != SECOND}
    with pytest.raises(CampaignError, match="second.fitted is false in this plan"):
        dives(Campaign(only=(SECOND,)), without)


# --- one dive, one row ---------------------------------------------------------------------------------------------


def test_a_row_tells_what_the_dive_came_to():
    result = fly_dive("reset@record", "jammed@attempt", plan=SHORT, seed=5)
    row = fly(SHORT, Planned(3, ("reset@record", "jammed@attempt"), 5))
    evidence = result.evidence
    assert (row.number, row.seed, row.home, row.path) == (3, 5, is_home(evidence), evidence.freed_by)
    assert row.resets == len(evidence.resets_s) == 1
    assert row.attempts == len(evidence.attempts)
    assert row.left_mah == evidence.left_at_command_mah
    assert row.lateness_s == evidence.surfaced_s - evidence.splash_s - 60.0 * (60.0 + SHORT.times.slowest_ascent_min)
    assert (row.steps, row.sea_s, row.why_down, row.never_began) == (result.steps, result.sea_s, "", ())
    kept = {law.number for law in laws_of(SHORT)} - {number for number, _, _ in row.verdicts}
    assert {verdict.number for verdict in result.verdicts if verdict.verdict == "kept"} == kept


def test_looking_whether_a_release_is_possible_changes_nothing():
    dive = fly_dive("jammed:channel=both", plan=SHORT, seed=5)
    row = fly(SHORT, Planned(0, ("jammed:channel=both",), 5))
    assert (row.steps, row.sea_s) == (dive.steps, dive.sea_s)


def test_a_fault_whose_moment_does_not_come_is_told():
    assert fly(SHORT, Planned(0, ("reset@backup",), 1)).never_began == ("reset@backup",)


@pytest.mark.parametrize(("fault", "home", "possible"), [
    ("caught@100m", False, False),  # nothing that is driven frees it
    ("ballast-hangs", False, False), ("deep-mud:suction_n=500", False, False),  # what has let go is no use any more
    ("reset@record", True, True)])
def test_whether_a_release_was_possible_comes_from_the_mechanisms(fault, home, possible):
    row = fly(SHORT, Planned(0, (fault,), 1))
    assert (row.home, row.possible) == (home, possible)


def test_a_simulation_that_fails_is_a_row_and_not_the_end_of_the_campaign(monkeypatch):
    monkeypatch.setattr("seatrial.dive.Dive.run", lambda dive: 1 / 0)
    row = fly(SHORT, Planned(0, (), 1))
    assert row.error == "ZeroDivisionError: division by zero"
    assert harms_of(row) == ["failed"]
    assert not within_laws([row])


def test_a_worker_of_another_version_is_refused():
    with pytest.raises(CampaignError, match="a worker runs tumblehome"):
        fly_many(SHORT, VERSION + "x", [])


# --- on disk -------------------------------------------------------------------------------------------------------


@pytest.fixture
def base(tmp_path):
    planned = dives(SMALL, SHORT)
    with Results(tmp_path / "sweep.sqlite", definition(SMALL, SHORT, planned)) as results:
        yield results


def test_rows_come_back_as_they_were_kept(base):
    rows = [made(0), made(1, "reset@record", "jammed", broken=(4, 9), home=False, possible=False), made(2, error="x")]
    base.add(rows)
    assert list(base.rows()) == rows
    assert base.done() == {0, 1, 2}


def test_a_row_that_comes_twice_counts_once_and_stays_as_it_was(base):
    base.add([made(0)])
    base.add([made(0, home=False), made(1)])
    assert list(base.rows()) == [made(0), made(1)]


def test_a_chunk_is_kept_whole_or_not_at_all(base):
    with pytest.raises(CampaignError, match="cannot be written"):
        base.add([made(0), replace(made(1), sea_s=object())])
    assert base.done() == set()


def test_causes_are_kept(base):
    base.add_causes({(1, "lost"): ("caught@100m",)})
    assert base.causes() == {(1, "lost"): ("caught@100m",)}


@pytest.mark.parametrize(("campaign", "plan", "words"), [
    (replace(SMALL, seed=2), SHORT, "seed (1; now it is 2)"),
    (replace(SMALL, ways=2), SHORT, "campaign (singles, only clock-lost"),
    (SMALL, SAMPLE, "plan, by the hash of its numbers")])
def test_the_file_of_another_campaign_is_refused_in_one_sentence(base, campaign, plan, words):
    with pytest.raises(CampaignError) as told:
        Results(base.path, definition(campaign, plan, dives(campaign, plan)))
    assert words in str(told.value)
    assert "--out" in str(told.value)
    assert "\n" not in str(told.value)


def test_the_file_of_another_version_is_refused(base):
    wanted = definition(SMALL, SHORT, dives(SMALL, SHORT))
    with pytest.raises(CampaignError, match="version of tumblehome"):
        Results(base.path, {**wanted, "version": "0.0.0"})


def test_a_file_of_something_else_is_refused(tmp_path):
    path = tmp_path / "sweep.sqlite"
    path.write_text("not a data base, " * 100)
    with pytest.raises(CampaignError, match="cannot be used"):
        Results(path, definition(SMALL, SHORT, []))
    other = tmp_path / "other.sqlite"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE fish (name TEXT)")
    connection.close()
    with pytest.raises(CampaignError, match="something else than a campaign"):
        Results(other, definition(SMALL, SHORT, []))


# --- many processes ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def alone():
    """What one process makes of the small campaign."""
    return [told_apart(row) for row in fly_many(SHORT, VERSION, dives(SMALL, SHORT))]


def test_two_processes_make_the_same_rows_as_one(base, alone):
    counted = []
    running.run(SHORT, dives(SMALL, SHORT), base, cores=2, progress=counted.append)
    assert [told_apart(row) for row in base.rows()] == alone
    assert sum(counted) == len(alone)


def test_only_what_is_missing_is_flown(base, alone):
    planned = dives(SMALL, SHORT)
    marked = [replace(row, took_s=-1.0) for row in alone[:-3]]
    base.add(marked)
    counted = []
    running.run(SHORT, planned, base, cores=1, progress=counted.append)
    assert sum(counted) == 3
    rows = list(base.rows())
    assert [row.took_s for row in rows[:-3]] == [-1.0] * len(marked)
    assert [told_apart(row) for row in rows] == alone


@pytest.mark.long
def test_a_process_that_is_killed_costs_no_dive(base, alone):
    killed = []

    def kill_one(count):
        if not killed:
            killed.append(multiprocessing.active_children()[0])
            os.kill(killed[0].pid, signal.SIGKILL)
    running.run(SHORT, dives(SMALL, SHORT), base, cores=2, progress=kill_one)
    assert killed
    assert [told_apart(row) for row in base.rows()] == alone


def test_processes_that_are_always_killed_are_told_and_not_tried_for_ever(base, monkeypatch):
    def lost(*_given):
        raise running.BrokenProcessPool
    monkeypatch.setattr(running, "fly_all", lost)
    with pytest.raises(CampaignError, match="killed again and again"):
        running.run(SHORT, dives(SMALL, SHORT), base, cores=1)


def test_a_cluster_that_loses_a_worker_loses_no_dive(base, alone):
    distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed: no cluster to try")
    killed = []
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None,
                                  scheduler_kwargs={"allowed_failures": 10}) as cluster:
        def kill_one(count):
            if not killed:
                killed.append(cluster.workers[0].pid)
                os.kill(killed[0], signal.SIGKILL)
        running.run(SHORT, dives(SMALL, SHORT), base, address=cluster.scheduler_address, progress=kill_one)
    assert killed
    assert [told_apart(row) for row in base.rows()] == alone


def test_a_cluster_that_is_not_there_is_one_sentence(base, monkeypatch):
    pytest.importorskip("distributed", reason="the extra `cluster` is not installed: no cluster to try")
    monkeypatch.setattr(running, "CONNECT_S", 1)
    with pytest.raises(CampaignError) as told:
        running.run(SHORT, dives(SMALL, SHORT), base, address="tcp://127.0.0.1:9")
    assert "--cluster tcp://127.0.0.1:9: no scheduler answers there" in str(told.value)
    assert "\n" not in str(told.value)


# --- shrinking and blaming -----------------------------------------------------------------------------------------


def shrunk(texts, does_harm):
    return [str(fault) for fault in shrink([parse(text) for text in texts], does_harm)]


def test_faults_that_do_not_matter_are_dropped():
    def does_harm(faults):
        return {"jammed", "power-gone"} <= {fault.name for fault in faults}
    assert shrunk(["reset@record", "jammed:channel=both,for_s=60@record+600s", "clock-lost", "power-gone@215m"],
                  does_harm) == ["jammed", "power-gone"]


def test_what_matters_stays_as_it_is():
    def does_harm(faults):
        return any(fault.values.get("channel") == "both" and fault.when.word == "record" for fault in faults)
    assert shrunk(["jammed:channel=both,for_s=60@record+600s"], does_harm) == ["jammed:channel=both@record"]


def test_shrinking_ends_even_if_everything_does_harm():
    flown = []
    shrink([parse("jammed:channel=both,for_s=60@record+600s")] * 40, lambda faults: flown.append(1) or False, 10)
    assert len(flown) == 10


class Judged(Blame):
    """Blame that knows harm from a rule instead of a dive."""

    def __init__(self, rule):
        super().__init__(SHORT, {})
        self.rule = rule
        self.flights = 0

    def fly(self, faults, seed):
        self.flights += 1
        return self.rule(faults)


def lost_by(*wanted):
    """A rule: a dive is lost when it has all of these kinds."""
    def rule(faults):
        return made(-1, *faults, home=not set(wanted) <= {parse(text).name for text in faults}, possible=False)
    return rule


def test_a_dive_is_put_down_to_the_fault_that_does_it_alone_without_flying():
    blame = Judged(lost_by("caught"))
    rows = [made(1, "caught@215m", home=False), made(2, "reset@record", "caught@215m", home=False)]
    assert blame.all_of(rows) == {(1, LOST): ("caught@215m",), (2, LOST): ("caught@215m",)}
    assert blame.flights == 0


def test_what_only_two_faults_do_together_is_put_down_to_both():
    blame = Judged(lost_by("jammed", "power-gone"))
    rows = [made(1, "jammed", "reset@record", "power-gone@215m", home=False)]
    assert blame.all_of(rows) == {(1, LOST): ("jammed", "power-gone@215m")}


def test_causes_of_the_same_kinds_are_one_cause_with_its_shortest_scenario():
    blame = Judged(lost_by("caught"))
    rows = [made(1, "caught@215m", home=False, possible=False),
            made(2, "caught@record+600s", home=False, possible=False),
            made(3, "caught@215m", "reset@record", home=False, possible=False)]
    blame.all_of(rows)
    cause, = grouped(rows, blame)
    assert (cause.harm, cause.kinds, cause.dives, cause.avoidable) == (LOST, ("caught",), 3, False)
    assert cause.faults == ("caught",)
    assert cause.onsets == ("215m", "record+600s")
    assert cause.sentence == "it stays down"


def test_avoidable_harm_comes_first():
    rows = [made(1, "caught@215m", home=False, possible=False), made(2, "reset@record", broken=(4,))]
    blame = Judged(lambda faults: made(-1, *faults, home=False))
    blame.all_of(rows)
    assert [cause.harm for cause in grouped(rows, blame, shorten=False)] == ["law 4", LOST]


# --- the account ---------------------------------------------------------------------------------------------------


def account(*rows, campaign=None):
    blame = Judged(lambda faults: made(-1, *faults, home=True))
    blame.all_of(rows)
    return summary(campaign or Campaign(2, only=("caught", "reset", "clock-lost")), SAMPLE, None, rows,
                   grouped(rows, blame, shorten=False), blame.found, len(rows), "tumblehome sweep")


def level(told, *names):
    return next(cell["level"] for cell in told["picture"]["cells"] if cell["kinds"] == sorted(names))


def test_dives_are_counted_by_what_they_came_to():
    told = account(made(0), made(1, "caught", home=False, possible=False), made(2, "reset", broken=(4,)),
                   made(3, "clock-lost", home=False), made(4, "reset@record", lateness_s=5.0))
    counts = told["dives"]
    assert (counts["flown"], counts["home"], counts["lost_possible"], counts["lost_impossible"], counts["late"]) == (
        5, 3, 1, 1, 1)
    law = told["laws"][3]
    assert (law["kept"], law["excused"], law["broken"], law["broken_possible"]) == (4, 0, 1, 1)
    assert not told["within_laws"]


def test_a_law_broken_where_nothing_could_be_released_does_not_fail_the_campaign():
    assert within_laws([made(1, "caught", home=False, possible=False, broken=(4,))])
    assert not within_laws([made(1, "caught", home=False, possible=True)])
    assert not within_laws([made(1, "reset", broken=(4,))])


def test_the_picture_tells_what_one_does_alone_from_what_only_two_do():
    told = account(made(1, "caught", home=False, possible=False), made(2, "reset"), made(3, "clock-lost"),
                   made(4, "caught", "reset", home=False, possible=False),
                   made(5, "reset", "clock-lost", home=False, possible=False), made(6, "caught@record", "clock-lost"))
    assert (level(told, "caught"), level(told, "reset"), level(told, "caught", "reset")) == (
        LOST_ALONE, HOME, LOST_ALONE)
    assert level(told, "caught", "clock-lost") == HOME
    assert level(told, "clock-lost", "reset") == LOST_TOGETHER


def test_an_avoidable_harm_outweighs_a_physical_one_in_the_picture():
    told = account(made(1, "reset", "clock-lost", home=False, possible=False),
                   made(2, "reset@record", "clock-lost", broken=(1,)))
    assert level(told, "clock-lost", "reset") == BROKEN_TOGETHER


def test_the_same_seed_gives_the_same_rows_and_another_seed_others(alone):
    again = [told_apart(row) for row in fly_many(SHORT, VERSION, dives(SMALL, SHORT))]
    other = [told_apart(row) for row in fly_many(SHORT, VERSION, dives(replace(SMALL, seed=2), SHORT))]
    assert again == alone
    assert other != alone
