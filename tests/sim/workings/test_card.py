"""The deck card: short lines, the right moments and places, and something to say for every plan."""

import hashlib
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import example, given, settings

from lander.words import STATUS_LAMP
from seatrial.workings.card import ON_THE_CARD, Card, card
from seatrial.workings.drift import position_at
from seatrial.workings.release_paths import LATEST, TIMED, path_of
from seatrial.workings.times import times

from .plans_for_tests import sample, with_keys
from .test_times import DRAFTS

WIDEST_LINE = 105  # characters that one line of an A4 page holds at a size that is read on deck


def lines(of: Card) -> list[str]:
    return [*of.release_order, *of.still_true, *of.beacon, *of.status_lamp, *of.cautions, of.place,
            *(weight.words for weight in of.weights)]


@given(DRAFTS)
@example({"beacon__hours": 0.0234375})  # hours that nobody would write, but a slip of the pen
@settings(max_examples=12)
def test_every_draft_has_a_card_of_few_and_short_lines(keys):
    found = card(with_keys(**keys))
    assert max(len(line) for line in lines(found)) <= WIDEST_LINE
    assert len(lines(found)) <= 40
    assert len(found.ways) <= len(ON_THE_CARD)


def test_the_mark_is_the_first_digits_of_the_mission_records_sha_256_and_another_plan_has_another():
    def mark(plan):
        return hashlib.sha256(plan.mission_record()).hexdigest()[:8].upper()  # FIPS 180-4, by the standard library
    one, other = sample(), with_keys(times__timed_release_min=299)
    assert card(one).mark.replace(" ", "") == mark(one) != mark(other) == card(other).mark.replace(" ", "")


def test_the_search_begins_a_margin_before_the_earliest_surfacing_at_the_place_where_it_comes_up():
    plan, found = sample(), card(sample())
    assert path_of(plan, TIMED).surfacing.early - found.search_from.utc == timedelta(minutes=10)
    assert found.search_from.local == found.search_from.utc.replace(tzinfo=None) - timedelta(hours=2)
    place = position_at(plan, 0.0)
    assert (found.search_at.latitude_deg, found.search_at.longitude_deg) == (place.latitude_deg, place.longitude_deg)
    assert found.search_at.range_nm == pytest.approx(place.distance_m / 1852, rel=1e-3)
    assert found.search_at.bearing_deg == pytest.approx(place.bearing_deg, abs=0.5)


def test_waiting_ends_when_the_boat_must_leave():
    assert card(sample()).give_up.utc == sample().dive.must_leave_utc


def test_without_a_boats_time_waiting_ends_with_the_late_surfacing_of_the_latest_release():
    plan = with_keys(dive__must_leave_utc=None)
    assert card(plan).give_up.utc == path_of(plan, LATEST).surfacing.late


def test_what_is_still_true_names_pack_link_and_beacon():
    told = " ".join(card(sample()).still_true)
    assert f"{times(sample()).pack_empty:%H:%M}Z" in told
    assert "19 May 12:30Z (10:30)" in told  # the link's earliest, 30 h after the splash
    assert "21 May 06:30Z (04:30)" in told  # and its latest, 72 h
    assert "dark and silent at its latest" in told


def test_the_link_is_told_with_the_beacon_hours_that_the_pack_then_has():
    rich = " ".join(card(with_keys(power__capacity_ah=100.0)).still_true)
    assert "dark" not in rich
    poor = with_keys(release__passive__earliest_h=60.0)
    assert "comes up dark and silent" in " ".join(card(poor).still_true)
    bare = " ".join(card(with_keys(release__passive__fitted=False)).still_true)
    assert "link" not in bare


def test_by_the_end_of_the_waiting_it_has_drifted_for_as_long_as_it_was_afloat():
    plan, found = sample(), card(sample())
    afloat_h = (found.give_up.utc - path_of(plan, TIMED).surfacing.likely) / timedelta(hours=1)
    place = position_at(plan, afloat_h)
    assert found.adrift.latitude_deg == pytest.approx(place.latitude_deg)
    assert found.adrift.radius_nm == pytest.approx(place.radius_m / 1852)
    assert found.adrift.range_nm > found.search_at.range_nm


def test_no_place_is_told_for_a_boat_that_stays_for_weeks_or_leaves_too_soon():
    assert card(with_keys(dive__must_leave_utc=datetime(2027, 6, 18, tzinfo=UTC))).adrift is None
    assert card(with_keys(dive__must_leave_utc=datetime(2027, 5, 18, 7, tzinfo=UTC))).adrift is None


def test_the_releases_stand_in_their_order_with_their_moments():
    order = card(sample()).release_order
    assert order[0] == "Timed, 18 May 11:30Z (09:30): burn wire, 240 s."
    assert "latch, 12 s" in order[1]
    assert "18 May 12:30Z (10:30)" in order[2]
    assert "30 to 72 h after the splash" in order[-1]


def test_the_weights_add_up():
    kg = {weight.words: weight.kg for weight in card(sample()).weights}
    assert kg["to lift into the water, in air"] == pytest.approx(
        kg["to lift back, in air, empty of water"] + kg["ballast, left on the seabed, in air"])
    assert kg["in the water with ballast, least"] > 0
    assert kg["lift in the water without ballast, least"] > 0


def test_the_lamp_is_told_with_its_rhythm_and_range_and_nothing_is_promised_by_day():
    told = " ".join(card(sample()).beacon)
    assert "one flash every two seconds" in told
    assert "1.7 NM, limited by the light" in told
    assert "By day the lamp promises nothing" in told
    assert "not known" in " ".join(card(with_keys(beacon__lamp_cd=None)).beacon)


def test_the_status_lamp_is_told_in_the_words_of_the_firmware():
    assert set(card(sample()).status_lamp) <= set(STATUS_LAMP.values())
    assert any("ARMED" in line for line in card(sample()).status_lamp)


def test_the_card_says_whom_to_tell_and_how_it_looks():
    found = card(sample())
    assert (found.tell, found.looks_like, found.marked) == (
        sample().card.tell, sample().card.looks_like, sample().card.marked)


def test_the_cautions_name_ballast_lithium_and_local_rules():
    told = " ".join(card(sample()).cautions)
    for word in ("Stand clear of the ballast", "Lithium", "local rules"):
        assert word in told
