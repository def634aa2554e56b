"""The order of a dive's times: each pair that does not hold is one sentence, and what it advises really mends it."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.plan import Plan
from seatrial.workings.order import cautions, faults
from seatrial.workings.release_paths import BY_BACKUP, LATEST, TIMED, path_of

from .plans_for_tests import sample, with_keys

MINUTE = timedelta(minutes=1)


def may(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2027, 5, day, hour, minute, tzinfo=UTC)


def only(sentences: list[str]) -> str:
    assert len(sentences) == 1, sentences
    return sentences[0]


def number(pattern: str, sentence: str) -> float:
    found = re.search(pattern, sentence)
    assert found, sentence
    return float(found[1])


def splashed(plan: Plan, later_min: float) -> Plan:
    return with_keys(plan, dive__splash_utc=plan.dive.splash_utc + later_min * MINUTE)


def about(key: str, sentences: list[str]) -> list[str]:
    return [sentence for sentence in sentences if sentence.startswith(key)]


def test_the_sample_is_in_order():
    assert faults(sample()) == []


# --- the light ------------------------------------------------------------------------------------------------------

EVENING = with_keys(dive__splash_utc=may(18, 18, 30), dive__must_leave_utc=may(20, 12))


def test_surfacing_after_dark_is_one_sentence_with_the_times_of_lander_and_sun():
    sentence = only(faults(EVENING))
    assert sentence.startswith('dive.surface_in is "daylight"; the timed release brings the lander up at 2027-05-18 23:4')
    assert "at night, after sunset at 2027-05-18 21:22Z (19:22 local) and before sunrise at 2027-05-19 06:17Z" in sentence


def test_the_splash_that_the_sentence_advises_brings_it_up_in_daylight():
    sentence = only(faults(EVENING))
    for moved in (-number(r"splash (\d+) min earlier", sentence), number(r"splash (\d+) min later", sentence)):
        assert faults(splashed(EVENING, moved)) == []
        assert about("dive.surface_in is", cautions(splashed(EVENING, moved))[:1]) == []


def test_the_timed_release_that_the_sentence_advises_brings_it_up_in_daylight():
    advised = number(r"set times.timed_release_min to (\d+)", only(faults(EVENING)))
    assert faults(with_keys(EVENING, times__timed_release_min=advised)) == []


def test_a_timed_release_before_the_bottom_or_after_the_latest_is_never_advised():
    sentence = only(faults(with_keys(dive__surface_in="darkness")))  # noon: 366 min earlier is before the splash
    assert "timed_release_min" not in sentence


def test_a_later_splash_that_misses_the_boat_is_not_advised():
    assert "later" not in only(faults(with_keys(EVENING, dive__must_leave_utc=may(19, 6))))


def test_where_the_sun_never_sets_another_date_is_advised():
    sentence = only(faults(with_keys(site__latitude_deg=78.0, dive__surface_in="darkness")))
    assert "no such light comes within 36 h of it" in sentence


def test_any_light_suits_a_plan_that_wishes_for_none():
    assert faults(with_keys(EVENING, dive__surface_in="any")) == []


@given(hour=st.floats(0, 24), wish=st.sampled_from(["daylight", "darkness"]), latitude=st.floats(-55, 55))
@settings(max_examples=20)
def test_whatever_the_hour_the_advised_splash_meets_the_wish(hour, wish, latitude):
    plan = with_keys(dive__splash_utc=may(18, 0) + hour * 60 * MINUTE, dive__must_leave_utc=None,
                     dive__surface_in=wish, site__latitude_deg=latitude)
    for sentence in faults(plan):
        for pattern, sign in ((r"splash (\d+) min earlier", -1), (r"splash (\d+) min later", 1)):
            for minutes in re.findall(pattern, sentence):
                assert faults(splashed(plan, sign * int(minutes))) == []


def test_a_late_edge_in_the_dark_is_a_caution():
    late = path_of(sample(), TIMED).surfacing
    sunset = datetime(2027, 5, 18, 21, 22, 43, tzinfo=UTC)
    plan = splashed(with_keys(dive__must_leave_utc=None), (sunset - late.likely) / MINUTE - 1)
    assert faults(plan) == []
    assert "as late as 2027-05-18 21:2" in about("dive.surface_in", cautions(plan))[0]


def test_a_latest_release_in_the_dark_is_a_caution():
    plan = splashed(with_keys(dive__must_leave_utc=None), 9 * 60)
    assert faults(plan) == []
    assert "the latest release brings the lander up" in only(about("dive.surface_in", cautions(plan)))


# --- the boat -------------------------------------------------------------------------------------------------------


def boat_at(key: str, minutes_before_late: float) -> Plan:
    return with_keys(dive__must_leave_utc=path_of(sample(), key).surfacing.late - minutes_before_late * MINUTE)


def test_a_boat_that_leaves_before_the_backup_surfaces_is_one_sentence_and_its_advice_mends_it():
    plan = boat_at(BY_BACKUP, 0.5)
    sentence = only(faults(plan))
    assert "if the primary fails, the backup brings the lander up as late as 2027-05-18 11:4" in sentence
    assert "1 min after it" in sentence
    sooner = number(r"splash (\d+) min earlier", sentence)
    assert faults(splashed(plan, -sooner)) == []
    assert faults(with_keys(plan, times__timed_release_min=number(r"timed_release_min to (\d+)", sentence))) == []
    longer = number(r"stay (\d+) min longer", sentence)
    assert faults(with_keys(plan, dive__must_leave_utc=plan.dive.must_leave_utc + longer * MINUTE)) == []


def test_a_boat_that_leaves_before_even_the_timed_release_is_told_of_that_alone():
    sentence = only(faults(boat_at(TIMED, 30)))
    assert "the timed release brings the lander up" in sentence
    assert "30 min after it" in sentence


def test_a_boat_that_leaves_before_the_splash_is_told_of_that_alone():
    plan = with_keys(dive__must_leave_utc=may(18, 5))
    assert "must leave before the lander is in the water" in only(faults(plan))
    assert about("dive.must_leave_utc", cautions(plan)) == []


def test_a_boat_that_leaves_before_the_latest_release_surfaces_is_a_caution():
    plan = boat_at(LATEST, 30)
    assert faults(plan) == []
    assert "would leave it behind" in only(about("dive.must_leave_utc", cautions(plan)))


def test_a_plan_without_the_boats_time_is_told_what_was_not_worked_out():
    assert "dive.must_leave_utc is missing" in only(about("dive.must", cautions(with_keys(dive__must_leave_utc=None))))


# --- the corroding link ---------------------------------------------------------------------------------------------

LONG_LINK = with_keys(release__passive__earliest_h=100.0, release__passive__latest_h=200.0)


def test_a_link_that_outlasts_the_pack_is_one_sentence_and_its_advice_mends_it():
    sentence = only(faults(LONG_LINK))
    assert sentence.startswith("release.passive.earliest_h is 100; the pack is empty 50.3 h after the splash")
    shorter = number(r"lets go before ([\d.]+) h", sentence)
    assert faults(with_keys(LONG_LINK, release__passive__earliest_h=shorter - 0.05)) == []
    larger = number(r"at least ([\d.]+) Ah", sentence)
    assert faults(with_keys(LONG_LINK, power__capacity_ah=larger)) == []
    assert len(faults(with_keys(LONG_LINK, power__capacity_ah=larger - 0.2))) == 1


def test_a_link_no_pack_outlasts_is_told_without_a_capacity():
    plan = with_keys(release__passive__earliest_h=8700.0, release__passive__latest_h=8760.0)
    assert "Ah" not in only(faults(plan))


def test_a_link_that_lets_go_at_its_latest_without_beacon_hours_is_a_caution():
    assert "no beacon hours are left" in only(about("release.passive.latest_h", cautions(sample())))
    some = with_keys(release__passive__latest_h=40.0)
    assert " of the 60 beacon hours are left" in only(about("release.passive.latest_h", cautions(some)))
    assert about("release.passive.latest_h", cautions(with_keys(power__capacity_ah=100.0))) == []


def test_a_link_that_may_let_go_while_attempts_go_on_is_a_caution():
    plan = with_keys(release__passive__earliest_h=6.2)
    assert "the last of the 6 planned attempts ends 6.4 h" in only(about("release.passive.earliest_h", cautions(plan)))


def test_a_plan_without_a_link_says_nothing_of_it():
    plan = with_keys(LONG_LINK, release__passive__fitted=False)
    assert faults(plan) == []
    assert about("release.passive", cautions(plan)) == []


# --- silent where another check has named the cause -----------------------------------------------------------------


@pytest.mark.parametrize("cause", [
    {"lander__ballast__mass_kg": 1.0},
    {"lander__floats__volume_l": 5.0},
    {"times__timed_release_min": 400.0},
    {"times__timed_release_min": 2.0},
])
def test_what_only_follows_from_a_fault_told_elsewhere_is_not_told_again(cause):
    plan = with_keys(EVENING, dive__must_leave_utc=may(18, 19), **cause)
    assert faults(plan) == []


def test_a_pack_too_small_for_the_dive_is_not_told_again_by_the_link():
    assert faults(with_keys(LONG_LINK, power__capacity_ah=5.0)) == []
