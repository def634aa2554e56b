"""The chapter of times: every plan that can be written down has one, and what it shows hangs together."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lander import lamps
from seatrial.handbook.sighting import lamp_sighting_nm
from seatrial.plan import descent_s
from seatrial.workings.chapter import Chapter
from seatrial.workings.lasting import left_mah
from seatrial.workings.moments import briefly, local, said, zone
from seatrial.workings.release_paths import LATEST, TIMED, path_of
from seatrial.workings.times import chapter, lamp_sighting, radio_horizon_km, sun_days, times

from .plans_for_tests import sample, with_keys

ANY_KEYS = {
    "site__latitude_deg": st.floats(-90, 90), "site__longitude_deg": st.floats(-180, 180),
    "site__depth_m": st.floats(3, 900), "site__visibility_nm": st.floats(0.05, 30),
    "site__mud_suction_n": st.floats(0, 200), "site__mud_hold_s": st.floats(0, 86400),
    "dive__utc_offset_h": st.floats(-12, 14), "dive__on_deck_min": st.floats(0, 2880),
    "dive__surface_in": st.sampled_from(["daylight", "darkness", "any"]),
    "dive__splash_utc": st.datetimes(datetime(2000, 1, 1), datetime(2099, 12, 31), timezones=st.just(UTC)),
    "dive__must_leave_utc": st.none() | st.datetimes(
        datetime(2000, 1, 1), datetime(2099, 12, 31), timezones=st.just(UTC)),
    "times__timed_release_min": st.floats(1, 86400), "times__latest_release_min": st.floats(1, 86400),
    "release__pause_s": st.floats(5, 3600), "release__pause_max_s": st.floats(5, 14400),
    "release__attempts_planned": st.integers(2, 200), "release__shed_s": st.floats(1, 120),
    "release__primary__fire_s": st.floats(0.1, 1800), "release__backup__fire_s": st.floats(0.1, 1800),
    "release__primary__wire_diameter_mm": st.floats(0.05, 10), "release__backup__turn_s": st.floats(0.05, 1800),
    "release__passive__fitted": st.booleans(),
    "release__passive__earliest_h": st.none() | st.floats(0.1, 8760),
    "release__passive__latest_h": st.none() | st.floats(0.1, 8760),
    "power__capacity_ah": st.floats(0.1, 1000), "power__controller_ma": st.floats(1, 2000),
    "power__health_fraction": st.floats(0.2, 1),
    "beacon__hours": st.floats(1 / 60, 1440), "beacon__lamp_ma": st.floats(0, 5000),
    "beacon__lamp_cd": st.none() | st.floats(0.01, 1e5), "beacon__lamp_height_m": st.floats(0.01, 10),
    "beacon__eye_height_m": st.floats(0.5, 60), "beacon__antenna_height_m": st.floats(0.5, 60),
    "lander__ballast__mass_kg": st.floats(0.1, 60), "lander__floats__volume_l": st.floats(0, 60),
    "doubt__drag_pct": st.floats(0, 80), "doubt__mass_pct": st.floats(0, 20),
}
DRAFTS = st.fixed_dictionaries({}, optional=ANY_KEYS)


def figure(of: Chapter, key: str):
    return next(one for one in of.figures if one.key == key)


def rows(of: Chapter, key: str) -> list[tuple]:
    return next(list(table.rows) for table in of.tables if table.key == key)


@given(DRAFTS)
@settings(max_examples=25)
def test_every_draft_has_a_chapter_with_whole_tables_and_series(keys):
    found = chapter(with_keys(**keys))
    for table in found.tables:
        assert all(len(row) == len(table.columns) for row in table.rows)
    for group in ("event_", "path_", "light_"):
        assert len({len(values) for name, values in found.series.items() if name.startswith(group)}) == 1
    assert all(isinstance(sentence, str) for sentence in (*found.faults, *found.cautions))
    assert len({one.key for one in found.figures}) == len(found.figures)


def test_the_moments_are_those_of_the_plans_own_reckoning():
    plan, found = sample(), times(sample())
    assert (found.touchdown - found.splash).total_seconds() == pytest.approx(descent_s(plan), abs=1)
    assert found.timed - found.splash == timedelta(minutes=300)
    assert found.latest - found.splash == timedelta(minutes=360)
    assert found.beacon_planned_end - path_of(plan, TIMED).surfacing.likely == timedelta(hours=60)
    assert found.counter_end - found.splash == timedelta(days=60) - timedelta(minutes=10)


def test_an_impossible_lander_has_times_that_never_come():
    found = times(with_keys(lander__ballast__mass_kg=1.0))
    assert (found.touchdown, found.beacon_planned_end, found.beacon_end) == (None, None, None)
    shown = chapter(with_keys(lander__ballast__mass_kg=1.0))
    assert figure(shown, "timed_surfacing_utc").value is None
    assert figure(shown, "surfacing_light").value is None


def test_a_larger_pack_is_empty_later_and_its_beacon_lasts_longer():
    small, large = times(sample()), times(with_keys(power__capacity_ah=30.0))
    assert large.pack_empty > small.pack_empty
    assert large.beacon_end > small.beacon_end


def test_the_beacon_goes_out_when_what_was_left_at_the_surface_is_spent():
    plan = with_keys(beacon__hours=100.0)  # more than the pack holds, so the lamp keeps its full rhythm to the end
    path = path_of(plan, TIMED)
    left = left_mah(plan, path.surfaced_min.likely / 60, path.command_min, 1)
    lit_s = left / (38 + 60 + 35) * 3600  # controller, lamp and reports, mA
    assert (times(plan).beacon_end - path.surfacing.likely).total_seconds() == pytest.approx(lit_s, abs=2)


def test_the_ways_home_stand_in_the_table_with_light_and_place():
    table = rows(chapter(sample()), "paths")
    assert len(table) == 7
    assert len(rows(chapter(with_keys(second__fitted=False)), "paths")) == 6
    assert table[0][0] == "timed release"
    assert table[0][8] == "09:44"
    assert table[0][9] == "daylight"
    assert table[0][10] == pytest.approx(46.1007, abs=1e-3)


def test_the_order_says_what_holds_what_does_not_and_what_is_not_known():
    holds = {row[0]: row[5] for row in rows(chapter(sample()), "order")}
    assert holds["timed release"] == "yes"
    assert holds["link at its latest, and the beacon hours"] == "no, a caution"
    late = {row[0]: row[5] for row in rows(chapter(with_keys(times__timed_release_min=400.0)), "order")}
    assert late["timed release"] == "no"
    without = {row[0]: row[5] for row in rows(chapter(with_keys(dive__must_leave_utc=None)), "order")}
    assert without["splash"] == "not known"


def test_the_order_of_the_table_and_the_faults_agree_about_the_boat():
    for minutes in range(-2, 3):
        must_leave = path_of(sample(), TIMED).surfacing.late + timedelta(minutes=minutes)
        found = chapter(with_keys(dive__must_leave_utc=must_leave))
        holds = {row[0]: row[5] for row in rows(found, "order")}["up by the timed release, late"]
        assert (holds == "no") == any("the timed release brings" in sentence for sentence in found.faults)


# --- the sun --------------------------------------------------------------------------------------------------------


def test_each_day_on_board_has_its_own_sunrise_and_sunset_even_far_from_greenwich():
    plan = with_keys(site__longitude_deg=178.0, dive__utc_offset_h=12.0,
                     dive__splash_utc=datetime(2027, 5, 17, 20, 0, tzinfo=UTC), dive__must_leave_utc=None)
    days = sun_days(plan)
    assert str(days[0].day) == "2027-05-18"
    for one in days:
        assert None not in one.events
        assert list(one.events) == sorted(one.events)
        assert all(local(plan, event).date() == one.day for event in one.events)


def test_a_polar_day_has_neither_sunrise_nor_sunset():
    days = sun_days(with_keys(site__latitude_deg=78.0))
    assert all(event is None for one in days for event in one.events)


def test_a_link_that_holds_for_months_does_not_fill_the_page_with_sunrises():
    plan = with_keys(release__passive__earliest_h=4000.0, release__passive__latest_h=8000.0)
    assert len(sun_days(plan)) <= 15


# --- seen and heard -------------------------------------------------------------------------------------------------


def test_the_lamp_is_reckoned_with_the_flash_that_the_firmware_gives():
    flash_s = lamps.BEACON[lamps.FLASH][0] / 1000
    assert flash_s == 0.1
    assert lamp_sighting(sample()) == lamp_sighting_nm(12, flash_s, 8, 2.5, 0.5)


def test_a_lamp_of_unknown_intensity_is_a_caution_and_no_number():
    found = chapter(with_keys(beacon__lamp_cd=None))
    assert figure(found, "lamp_range_nm").value is None
    assert any("beacon.lamp_cd is missing" in sentence for sentence in found.cautions)


def test_a_higher_antenna_hears_further():
    assert radio_horizon_km(with_keys(beacon__antenna_height_m=16.0)) > radio_horizon_km(sample())


# --- clocks ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("offset_h", "words"), [(0, "UTC"), (-2, "UTC-2"), (5.5, "UTC+5:30"), (-3.5, "UTC-3:30")])
def test_local_time_says_how_far_it_is_from_utc(offset_h, words):
    assert zone(with_keys(dive__utc_offset_h=float(offset_h))) == words


def test_a_local_day_that_is_another_is_named_in_the_figures_too():
    figures = {figure.key: figure for figure in chapter(with_keys(dive__utc_offset_h=14)).figures}
    splash = figures["splash_utc"]
    assert splash.value.hour == 6 and splash.note == "20:30 local"
    later = figures["latest_release_utc"]  # 12:30Z
    assert later.note == "19 May 02:30 local"


def test_a_local_day_that_is_another_is_named():
    moment = datetime(2027, 5, 18, 23, 30, tzinfo=UTC)
    assert said(with_keys(dive__utc_offset_h=5.5), moment) == "2027-05-18 23:30Z (19 May 05:00 local)"
    assert said(with_keys(dive__utc_offset_h=0.0), moment) == "2027-05-18 23:30Z"
    assert briefly(sample(), moment) == "18 May 23:30Z (21:30)"
    assert briefly(sample(), moment.replace(year=2028)) == "18 May 2028 23:30Z (21:30)"


def test_the_latest_release_is_up_later_than_the_timed_one():
    surfacing = {key: figure(chapter(sample()), f"{key}_surfacing_utc").value for key in (TIMED, LATEST)}
    assert surfacing[TIMED] < surfacing[LATEST]
