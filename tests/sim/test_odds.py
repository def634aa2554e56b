"""Odds: rates are read and refused as they should be, draws are as likely as they claim, and bounds hold.

The truth of a toy lander is summed over all that can happen to it, each set of events with its chance: a known answer.
Tests of chance use fixed seeds; their limits are four standard errors of what they look at. Formulas and tables of the
literature stand in tests/published/test_odds.py.
"""

from itertools import product
from math import prod, sqrt
from statistics import fmean, stdev

import pytest

from seatrial.campaign.flying import Row, fly
from seatrial.faults import KINDS, parse
from seatrial.odds import drawing
from seatrial.odds.rates import (
    ANY_TIME,
    LINK,
    SECOND,
    START,
    Common,
    Failing,
    Part,
    Rates,
    RatesError,
    events,
    fitted,
    hours_of,
    read,
)
from seatrial.odds.reckoning import (
    HALVED,
    INDEPENDENT,
    LOST,
    Flown,
    causes,
    estimate,
    fitted_with,
    improvements,
    loss_fitted,
    loss_if,
    path_of,
    paths,
    with_nothing_failed,
)
from seatrial.odds.summary import summary

from .flying import SAMPLE, SHORT, changed

GOOD = """
[[part]]
name = "latch"
per_dive = 0.02
fails = [{faults = ["jammed:channel=backup"], share = 0.75}, {faults = ["power-gone", "leak"], share = 0.25}]
source = "bench log"
"""
HOURS = 10.0


def part(name: str, chance: float, *ways: Failing, onset: str = START, needs: str = "") -> Part:
    return Part(name, chance, None, ways or (Failing(("jammed",), 1.0),), onset, needs, "a test", False)


TOY = Rates(
    (part("A", 0.05), part("B", 0.04), part("C", 0.02, Failing(("leak",), 0.9), Failing(("power-gone",), 0.1)),
     part("D", 0.1, Failing(("radio-dead",), 1.0)), part("E", 0.0)),
    (Common("A and B", ("A", "B"), 0.2, "a test", False),))


def toy_lost(names: set[str], faults) -> bool:
    """Lost where both channels fail, or the power does."""
    return {"A", "B"} <= names or "A and B" in names or "power-gone" in faults


def row_of(number: int, drawn: drawing.Draw, lost: bool, path: str = "primary", possible: bool = False) -> Row:
    return Row(number, drawn.faults, drawn.seed, not lost, "none" if lost else path, not lost or possible, None, None,
               0.0, 0, 0, "", (), 0.0, 0, ())


def flown(rates: Rates = TOY, lost=toy_lost, dives: int = 400, seed: int = 1) -> Flown:
    """The toy lander, flown in no time."""
    sample = drawing.draw(events(rates, HOURS), HOURS, dives, seed)
    draws = [draw for stratum in sample.strata for draw in stratum.draws]
    rows = []
    for number, one in enumerate(draws):
        names = {sample.events[place].name for place in one.events}
        rows.append(row_of(number, one, lost(names, one.faults), "backup" if "A" in names else "primary"))
    return Flown(sample, tuple(rows))


def truth(happening, lost=toy_lost) -> float:
    """The probability of loss, summed over every set of events and every way in which C fails."""
    total = 0.0
    for there in product((False, True), repeat=len(happening)):
        chance = prod(one.chance if yes else 1.0 - one.chance for one, yes in zip(happening, there, strict=True))
        names = {one.name for one, yes in zip(happening, there, strict=True) if yes}
        for share, faults in ((0.9, ("leak",)), (0.1, ("power-gone",))) if "C" in names else ((1.0, ()),):
            total += chance * share * lost(names, faults)
    return total


# --- the table -----------------------------------------------------------------------------------------------------


def written(folder, text: str):
    path = folder / "rates.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_built_in_table_can_be_flown_and_says_of_every_number_where_it_is_from():
    rates = read()
    assert rates.parts and rates.commons
    assert all(one.guess and "guess" in one.source for one in (*rates.parts, *rates.commons))
    for one in rates.parts:
        for failing in one.fails:
            assert all(parse(text).kind.name in KINDS for text in failing.faults)
    assert sum(event.chance for event in events(rates, HOURS)) < 1.0


def test_an_entry_of_ones_own_stands_instead_of_that_of_the_same_name_and_the_others_stay(tmp_path):
    built_in = {one.name: one for one in read().parts}
    own = written(tmp_path, GOOD + GOOD.replace('"latch"', '"camera"'))
    merged = {one.name: one for one in read(own).parts}
    assert merged.keys() == built_in.keys() | {"latch"}
    assert (merged["latch"].per_dive, merged["camera"].source) == (0.02, "bench log")
    assert merged["seabed"] == built_in["seabed"]


def test_a_table_that_replaces_all_stands_alone(tmp_path):
    rates = read(written(tmp_path, "replaces_all = true\n" + GOOD))
    assert [one.name for one in rates.parts] == ["latch"]
    assert rates.parts[0].fails[1] == Failing(("power-gone", "leak"), 0.25)
    assert rates.commons == ()


@pytest.mark.parametrize(("was", "becomes", "said"), [
    ("per_dive = 0.02", "per_dive = 0.6", "part 'latch': per_dive is 0.6; allowed is a number from 0 to 0.5"),
    ("per_dive = 0.02", "per_dive = nan", "per_dive is nan; allowed is a number from 0 to 0.5"),
    ("per_dive = 0.02", "per_dive = -0.1", "per_dive is -0.1"),
    ("per_dive = 0.02", "per_dive = true", "per_dive is True"),
    ("per_dive = 0.02", 'per_dive = "often"', "per_dive is 'often'"),
    ("per_dive = 0.02", "", "give per_dive or per_hour, one of the two"),
    ("per_dive = 0.02", "per_dive = 0.02\nper_hour = 1e-5", "give per_dive or per_hour, one of the two"),
    ("share = 0.75", "share = 0.5", "the shares of its ways to fail come to 0.75; they must come to 1"),
    ("share = 0.75", 'share = "most"', "share is 'most'"),
    ("jammed:", "jamed:", "did you mean jammed?"),
    ("channel=backup", "channel=third", "channel=third; allowed is primary, backup, both"),
    ('["power-gone", "leak"]', '"power-gone"', "faults is 'power-gone'; allowed is a list of faults"),
    ('name = "latch"', "", "part number 1: name is missing"),
    ('source = "bench log"', "", "part 'latch': source is missing"),
    ('source = "bench log"', 'source = "bench log"\nneeds = "luck"', "needs is 'luck'"),
    ('source = "bench log"', 'source = "bench log"\nonset = "late"', "onset is 'late'; allowed is 'start', 'any time'"),
    ('source = "bench log"', 'source = "bench log"\nguess = 1', "guess is 1; allowed is True, False"),
    ('source = "bench log"', 'source = "bench log"\nmtbf_h = 9', "key 'mtbf_h' is not known"),
    ("fails = [", "fails = [[", "is no TOML file"),
    ("[[part]]", "[part]", "part is no list of tables"),
])
def test_what_is_wrong_in_a_table_is_told_with_the_place_and_what_is_allowed(tmp_path, was, becomes, said):
    assert was in GOOD
    with pytest.raises(RatesError) as refused:
        read(written(tmp_path, "replaces_all = true\n" + GOOD.replace(was, becomes, 1)))
    assert any(said in sentence for sentence in refused.value.sentences), refused.value.sentences


@pytest.mark.parametrize(("common", "said"), [
    ('parts = ["latch"]\nbeta = 0.1', "parts is ['latch']; allowed is a list of two or more names"),
    ('parts = ["latch", "latch"]\nbeta = 0.1', "allowed is a list of two or more names"),
    ('parts = ["latch", "wire"]\nbeta = 0.1', "names the part 'wire', which is not there"),
    ('parts = ["latch", "other"]\nbeta = 1.5', "beta is 1.5; allowed is a number from 0 to 1"),
])
def test_a_common_cause_that_cannot_be_is_refused(tmp_path, common, said):
    text = "replaces_all = true\n" + GOOD + GOOD.replace("latch", "other") + (
        '[[common]]\nname = "one cause"\nsource = "a test"\n%s\n' % common)
    with pytest.raises(RatesError, match="one cause") as refused:
        read(written(tmp_path, text))
    assert any(said in sentence for sentence in refused.value.sentences), refused.value.sentences


def test_betas_of_a_part_that_come_to_more_than_one_are_refused(tmp_path):
    common = '[[common]]\nname = "%s"\nparts = ["latch", "other"]\nbeta = 0.6\nsource = "a test"\n'
    with pytest.raises(RatesError, match="come to 1.2"):
        read(written(tmp_path, "replaces_all = true\n" + GOOD + GOOD.replace("latch", "other")
                     + common % "dirt" + common % "cold"))


def test_two_entries_of_one_name_are_refused(tmp_path):
    with pytest.raises(RatesError, match="'latch' stands there twice"):
        read(written(tmp_path, "replaces_all = true\n" + GOOD + GOOD))


def test_a_table_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(RatesError, match="cannot be read"):
        read(tmp_path / "none.toml")


def test_a_table_without_a_rate_is_refused_and_does_not_pass_for_the_guesses(tmp_path):
    with pytest.raises(RatesError, match="has no rate in it"):
        read(written(tmp_path, "# mine\n"))


# --- events --------------------------------------------------------------------------------------------------------


def test_what_is_not_fitted_does_not_fail():
    bare = changed(second={"fitted": False}).model_copy(update={"release": SAMPLE.release.model_copy(update={
        "passive": SAMPLE.release.passive.model_copy(update={"fitted": False})})})
    assert {one.needs for one in fitted(read(), SAMPLE).parts} == {"", LINK, SECOND}
    rates = fitted(read(), bare)
    assert {one.needs for one in rates.parts} == {""}
    assert [one.name for one in rates.commons] == ["one cause for both releases"]


def test_a_chance_for_an_hour_counts_over_the_whole_dive():
    one = Part("A", None, 1e-3, (Failing(("jammed",), 1.0),), ANY_TIME, "", "", False)
    assert one.chance(10.0) == pytest.approx(0.00995017, rel=1e-6)  # 1 - exp(-0.01)
    # 10 min on deck, 360 to the latest release, 30 more for the second board, 40 up, 10 at the surface
    assert hours_of(SAMPLE) == pytest.approx(7.5)


def test_of_parts_that_share_a_cause_each_fails_as_often_as_before_and_the_rarest_sets_the_common_chance():
    a, b, *_others, common = events(TOY, HOURS)
    assert common.chance == pytest.approx(0.2 * 0.04)
    assert 1.0 - (1.0 - a.chance) * (1.0 - common.chance) == pytest.approx(0.05)
    assert 1.0 - (1.0 - b.chance) * (1.0 - common.chance) == pytest.approx(0.04)


# --- draws ---------------------------------------------------------------------------------------------------------


def test_the_same_seed_draws_the_same_dives_and_another_one_others():
    happening = events(read(), HOURS)
    assert drawing.draw(happening, HOURS, 200, 7) == drawing.draw(happening, HOURS, 200, 7)
    assert drawing.draw(happening, HOURS, 200, 7) != drawing.draw(happening, HOURS, 200, 8)


def test_the_chances_of_all_strata_and_of_the_rest_come_to_one():
    for rates in (TOY, read()):
        sample = drawing.draw(events(rates, HOURS), HOURS, 200, 1)
        assert sum(stratum.chance for stratum in sample.strata) + sample.rest == pytest.approx(1.0, abs=1e-12)
        for stratum in sample.strata:
            assert {len(one.events) for one in stratum.draws} == {stratum.together}


def test_every_draw_can_be_flown_and_a_part_that_never_fails_is_in_none():
    sample = drawing.draw(events(read(), HOURS), HOURS, 300, 3)
    for planned in sample.planned():
        assert all(parse(text) for text in planned.faults)
    assert not any(4 in one.events for stratum in flown().sample.strata for one in stratum.draws)


def test_pairs_come_as_often_among_each_other_as_they_are_likely():
    happening = events(TOY, HOURS)
    odds = [one.chance / (1.0 - one.chance) for one in happening]
    pairs = {(one, two): odds[one] * odds[two] for one in range(len(odds)) for two in range(one + 1, len(odds))}
    sample = drawing.draw(happening, HOURS, 20_000, 5)
    (drawn,) = [stratum.draws for stratum in sample.strata if stratum.together == 2]
    for pair, weight in pairs.items():
        share = weight / sum(pairs.values())
        seen = sum(one.events == pair for one in drawn)
        # one draw from each equal slice: a count is off by less than two from what it must be
        assert abs(seen - share * len(drawn)) < 2.0


def test_ways_to_fail_come_as_often_as_their_shares():
    three = part("A", 0.3, Failing(("jammed",), 0.5), Failing(("leak",), 0.3), Failing(("power-gone",), 0.2))
    sample = drawing.draw(events(Rates((three, part("B", 0.3)), ()), HOURS), HOURS, 20_000, 5)
    (drawn,) = [stratum.draws for stratum in sample.strata if stratum.together == 2]
    for text, share in (("leak", 0.3), ("power-gone", 0.2)):
        error = sqrt(share * (1.0 - share) / len(drawn))
        assert fmean(text in one.faults for one in drawn) == pytest.approx(share, abs=4.0 * error)


def test_onsets_lie_all_over_the_dive_are_one_for_a_common_cause_and_those_of_the_table_stay():
    way = Failing(("jammed@splash", "power-gone"), 1.0)
    parts = (part("A", 0.1, Failing(("leak",), 1.0), onset=ANY_TIME), part("B", 0.1, way, onset=ANY_TIME),
             part("C", 0.1, Failing(("deep-mud",), 1.0), onset=ANY_TIME))
    rates = Rates(parts, (Common("both", ("A", "B"), 1.0, "", False),))
    sample = drawing.draw(events(rates, HOURS), HOURS, 2000, 1)
    onsets_s = []
    for stratum in sample.strata:
        for one in stratum.draws:
            times = {text.partition("@")[2] for text in one.faults if text.startswith(("leak", "power-gone"))}
            assert len(times) <= 1  # one moment for the leak and the power
            onsets_s += [parse(text).when.after_s for text in one.faults if text.startswith("leak")]
            assert all(text in ("jammed@splash", "deep-mud") for text in one.faults if text[0] in "jd")
    assert 0.0 <= min(onsets_s) < 600.0 and 3600.0 * HOURS - 600.0 < max(onsets_s) <= 3600.0 * HOURS
    assert fmean(onsets_s) == pytest.approx(1800.0 * HOURS, abs=4.0 * 3600.0 * HOURS / sqrt(12.0 * len(onsets_s)))


def test_rarer_strata_get_more_dives_than_they_would_come_with():
    sample = drawing.draw(events(TOY, HOURS), HOURS, 2000, 1)
    ones, twos = ([stratum for stratum in sample.strata if stratum.together == number] for number in (1, 2))
    ratio = len(twos[0].draws) / len(ones[0].draws)
    assert ratio == pytest.approx(sqrt(twos[0].chance / ones[0].chance), rel=0.02)


def test_what_is_not_flown_is_left_to_the_upper_bound(monkeypatch):
    monkeypatch.setattr(drawing, "TOGETHER_MAX", 1)
    told = flown()
    assert {stratum.together for stratum in told.sample.strata} == {0, 1}
    assert told.sample.rest == pytest.approx(1.0 - sum(drawing.chances_together(events(TOY, HOURS), 1)))
    assert estimate(told, lambda row: False).highest > told.sample.rest
    assert estimate(told, lambda row: True).lowest < 1.0 - told.sample.rest


# --- what it comes to ----------------------------------------------------------------------------------------------

SEEDS = range(120)


def lost(row: Row) -> bool:
    return path_of(row) == LOST


def test_the_estimate_is_without_bias_on_a_toy_whose_answer_is_known():
    exact = truth(events(TOY, HOURS))
    values = [estimate(flown(seed=seed, dives=200), lost).value for seed in SEEDS]
    rest = flown(dives=200).sample.rest  # is in none of them
    assert exact == pytest.approx(0.0115, rel=0.05)
    assert fmean(values) == pytest.approx(exact, abs=4.0 * stdev(values) / sqrt(len(values)) + rest)


def test_the_bounds_hold_the_known_answer_at_least_as_often_as_they_say():
    exact = truth(events(TOY, HOURS))
    told = [estimate(flown(seed=seed, dives=150), lost) for seed in SEEDS]
    assert fmean(one.lowest <= exact <= one.highest for one in told) >= 0.95


def test_the_same_number_of_dives_drawn_as_they_come_tells_less():
    exact = truth(events(TOY, HOURS))
    values = [estimate(flown(seed=seed, dives=400), lost).value for seed in SEEDS]
    assert stdev(values) < 0.4 * sqrt(exact * (1.0 - exact) / 400)  # binomial, of dives drawn as they come


def test_no_loss_in_all_dives_is_a_bound_above_zero_that_shrinks_with_more_dives():
    few, many = (estimate(flown(lost=lambda *_: False, dives=dives), lost) for dives in (200, 800))
    assert (few.value, few.lowest, few.dives) == (0.0, 0.0, 0)
    assert 0.0 < many.highest < 0.5 * few.highest


def test_the_bound_without_a_loss_is_that_of_each_stratum_at_its_part_of_the_doubt():
    told = flown(lost=lambda *_: False)
    failing = [stratum for stratum in told.sample.strata if stratum.together]
    stands_for = [stratum.chance / len(stratum.draws) for stratum in failing]
    wanted = told.sample.rest  # Clopper and Pearson without a hit: 1 - (doubt / 2)^(1 / trials)
    for stratum, one in zip(failing, stands_for, strict=True):
        doubt = 0.05 * one / sum(stands_for)
        wanted += stratum.chance * (1.0 - (0.5 * doubt) ** (1.0 / len(stratum.draws)))
    assert estimate(told, lost).highest == pytest.approx(wanted, rel=1e-9)


def test_the_ways_home_and_the_loss_come_to_one():
    told = paths(flown())
    assert [name for name, _one in told] == ["primary", "backup", LOST]
    assert sum(one.value for _name, one in told) + flown().sample.rest == pytest.approx(1.0)
    assert all(one.lowest <= one.value <= one.highest for _name, one in told)


def test_a_dive_that_could_not_be_simulated_counts_as_lost():
    told = flown()
    broken = Row(**{**told.rows[0].__dict__, "error": "ValueError: no"})
    assert path_of(told.rows[0]) == "primary" and path_of(broken) == LOST


@pytest.mark.published(
    "worked", ids="9.1", tolerance="1e-6",
    source="Clopper and Pearson 1934 without a hit: 1 - (doubt / 2)^(1 / trials)")
def test_losses_with_nothing_failed_are_told_by_their_bound():
    count, dives, highest = with_nothing_failed(flown())
    assert (count, dives) == (0, drawing.LEAST_DIVES)
    assert highest == pytest.approx(1.0 - 0.025 ** (1.0 / dives))  # Clopper and Pearson, no hit
    assert with_nothing_failed(flown(lost=lambda *_: True))[0] == dives


def test_losses_are_laid_to_the_events_they_had():
    told = causes(flown(dives=2000))
    assert sum(cause.chance for cause in told) == pytest.approx(estimate(flown(dives=2000), lost).value)
    assert told[0].events == ("A and B",)  # 0.2 * 0.04 = 0.008 of 0.0115


def test_a_lost_dive_with_more_than_was_needed_is_laid_to_what_was_needed():
    rates = Rates((part("A", 0.1, Failing(("power-gone",), 1.0), onset=ANY_TIME),
                   part("B", 0.1, Failing(("radio-dead",), 1.0))), ())
    told = flown(rates, lost=lambda names, faults: "A" in names, dives=100)
    (cause,) = causes(told)
    assert (cause.events, cause.example.events) == (("A",), (0,))
    assert cause.dives == sum(path_of(row) == LOST for row in told.rows) > 40
    assert cause.chance == pytest.approx(0.1, abs=0.01)


# --- what would help -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("factors", [{"A": 0.5}, {"C": 0.5}, {"A and B": 0.0}, {"D": 0.5}, {"E": 0.5}])
def test_the_loss_after_an_improvement_is_that_of_the_changed_lander(factors):
    better = events(TOY, HOURS, factors)
    values = [loss_if(flown(seed=seed, dives=200), better) for seed in SEEDS]
    rest = flown(dives=200).sample.rest
    assert fmean(values) == pytest.approx(truth(better), abs=4.0 * stdev(values) / sqrt(len(values)) + rest)


def test_with_nothing_changed_the_loss_is_the_same():
    told = flown()
    assert loss_if(told, events(TOY, HOURS)) == pytest.approx(estimate(told, lost).value, rel=1e-12)


def test_what_helps_most_comes_first_and_what_has_no_part_in_a_loss_changes_little():
    told = flown(dives=2000)
    found = improvements(told, TOY, HOURS)
    assert (found[0].name, found[0].what) == ("A and B", INDEPENDENT)
    assert {one.name for one in found} == {"A", "B", "C", "D", "E", "A and B"}
    assert all(one.what == HALVED for one in found[1:])
    by_name = {one.name: one for one in found}
    assert by_name["E"].dives == 0
    assert by_name["D"].loss == pytest.approx(estimate(told, lost).value, rel=0.1)
    assert improvements(flown(lost=lambda *_: False), TOY, HOURS) == []


def test_what_is_not_fitted_and_could_be_is_offered_and_only_that():
    bare = changed(second={"fitted": False})
    assert fitted_with(SAMPLE) == []
    ((needs, words, better),) = fitted_with(bare)
    assert (needs, better.second.fitted, bare.second.fitted) == (SECOND, True, False)
    assert "second board" in words
    without = SAMPLE.model_copy(update={"release": SAMPLE.release.model_copy(update={
        "passive": SAMPLE.release.passive.model_copy(update={"fitted": False})})})
    ((needs, words, better),) = fitted_with(without)
    assert needs == LINK
    assert (better.release.passive.earliest_h, better.release.passive.latest_h) == (12.0, 24.0)
    assert "12 to 24 h" in words


def test_what_is_fitted_saves_the_dives_that_it_brings_home_as_far_as_it_works_itself():
    told = flown(dives=2000)
    gone = [row for row in told.rows if path_of(row) == LOST]
    with_link = Rates((*TOY.parts, part("link", 0.1, needs=LINK)), TOY.commons)
    all_home = [row_of(row.number, drawing.Draw((), row.faults, 1), lost=False) for row in gone]
    loss = estimate(told, lost).value
    assert loss_fitted(told, gone, with_link, LINK, HOURS) == (pytest.approx(loss), 0)
    assert loss_fitted(told, all_home, with_link, LINK, HOURS) == (pytest.approx(0.1 * loss), len(gone))


def test_the_account_tells_losses_that_could_have_been_spared_and_what_part_of_the_loss_would_be_gone():
    told = flown(dives=2000)
    rows = tuple(Row(**{**row.__dict__, "possible": row.home or "power-gone" in row.faults}) for row in told.rows)
    account = summary(SAMPLE, None, TOY, HOURS, Flown(told.sample, rows), 2000, 1, "tumblehome odds", {})
    spared = sum("power-gone" in row.faults for row in rows)
    assert 0 < account["possible"]["dives"] == spared < account["loss"]["dives"]
    assert sum(one["chance"] for one in account["together"]) + account["rest_chance"] == pytest.approx(1.0)
    exact, better = truth(events(TOY, HOURS)), truth(events(TOY, HOURS, {"A and B": 0.0}))
    assert account["improvements"][0]["name"] == "A and B"
    assert account["improvements"][0]["part_gone"] == pytest.approx(1.0 - better / exact, rel=0.1)
    assert "0 are guesses" not in account["cautions"][0] and "no better than the rates" in account["cautions"][0]


# --- at sea --------------------------------------------------------------------------------------------------------


def test_at_sea_a_hanging_ballast_loses_the_lander_and_a_jammed_primary_does_not():
    rates = Rates((part("ballast", 0.1, Failing(("ballast-hangs",), 1.0)),
                   part("primary", 0.1, Failing(("jammed:channel=primary",), 1.0))), ())
    sample = drawing.draw(events(rates, HOURS), HOURS, 36, 1)
    seen = {}
    for planned in sample.planned():  # one dive of each set of faults; the others would be the same but for the noise
        if planned.faults not in seen:
            seen[planned.faults] = fly(SHORT, planned)
    rows = tuple(Row(**{**seen[one.faults].__dict__, "number": one.number}) for one in sample.planned())
    told = Flown(sample, rows)
    assert estimate(told, lost).value == pytest.approx(0.1, abs=0.01)  # one slice of 19; it is lost whenever the ballast hangs
    assert {name: one.value for name, one in paths(told)}["backup"] == pytest.approx(0.09, abs=0.01)
    account = summary(SHORT, None, rates, HOURS, told, 36, 1, "tumblehome odds", {})
    assert account["causes"][0]["failures"] == ["ballast"]
    assert "--fault ballast-hangs" in account["causes"][0]["command"]
    assert account["improvements"][0]["name"] == "ballast"
    assert account["improvements"][0]["part_gone"] == pytest.approx(0.5)
