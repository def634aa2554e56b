"""How far the lander is seen and heard: which limit holds, and that nothing promises more for less."""

from math import inf, nan, pi

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.handbook.sighting import (
    HORIZON_FACTOR,
    THRESHOLD_LUX,
    effective_intensity_cd,
    flat_sea_loss_db,
    free_space_loss_db,
    geographical_range_nm,
    intensity_needed_cd,
    lamp_sighting_nm,
    link_margin_db,
    luminous_range_nm,
    radio_horizon_km,
    radio_reach_km,
    visible_horizon_nm,
)

intensities = st.floats(1e-3, 1e6)
visibilities = st.floats(0.05, 30.0)


def test_the_three_horizon_factors_of_the_books_give_these_ranges_from_a_small_boat():
    """Worked here: eye 2 m, object 0.5 m."""
    ranges = [geographical_range_nm(2.0, 0.5, factor) for factor in sorted(HORIZON_FACTOR.values())]
    assert ranges == pytest.approx([4.306, 4.391, 4.497], rel=1e-3)
    assert geographical_range_nm(2.0, 0.5) == pytest.approx(4.306, rel=1e-3)


@pytest.mark.parametrize(("visibility_nm", "range_nm"), [(10.0, 2.590), (5.0, 2.060), (2.0, 1.369)])
def test_ten_candela_carry_this_far_in_clear_and_in_hazy_air(visibility_nm, range_nm):
    """Worked here from Allard's law."""
    assert luminous_range_nm(10.0, visibility_nm) == pytest.approx(range_nm, rel=1e-3)


@given(intensities, visibilities, st.sampled_from(sorted(THRESHOLD_LUX.values())))
@settings(max_examples=100, deadline=None)
def test_a_light_is_just_seen_at_the_end_of_its_range(intensity_cd, visibility_nm, threshold_lux):
    range_nm = luminous_range_nm(intensity_cd, visibility_nm, threshold_lux)
    assert intensity_needed_cd(range_nm, visibility_nm, threshold_lux) == pytest.approx(intensity_cd, rel=1e-8)


@given(intensities, visibilities, st.floats(1.01, 3.0))
@settings(max_examples=50, deadline=None)
def test_more_light_and_clearer_air_carry_farther_and_lights_behind_less_far(intensity_cd, visibility_nm, more):
    range_nm = luminous_range_nm(intensity_cd, visibility_nm)
    assert luminous_range_nm(more * intensity_cd, visibility_nm) > range_nm
    assert luminous_range_nm(intensity_cd, more * visibility_nm) > range_nm
    assert luminous_range_nm(intensity_cd, visibility_nm, more * THRESHOLD_LUX["dark"]) < range_nm


def test_no_light_is_seen_nowhere():
    assert luminous_range_nm(0.0, 10.0) == 0.0
    assert lamp_sighting_nm(0.0, 0.1, 10.0, 2.0, 0.5).range_nm == 0.0


def test_a_steady_light_counts_in_full_and_a_flash_never_does():
    assert effective_intensity_cd(10.0, inf) == 10.0
    assert effective_intensity_cd(10.0, 0.05) < effective_intensity_cd(10.0, 1.0) < 10.0


def test_a_weak_lamp_is_limited_by_its_light_and_a_strong_one_by_the_horizon():
    weak = lamp_sighting_nm(12.0, 0.2, 8.0, 2.5, 0.5)
    assert weak.limited_by == "light" and weak.range_nm == weak.luminous_nm < weak.geographical_nm
    strong = lamp_sighting_nm(1200.0, 0.2, 8.0, 2.5, 0.5)
    assert strong.limited_by == "horizon" and strong.range_nm == strong.geographical_nm < strong.luminous_nm
    assert weak.effective_cd == pytest.approx(6.0)
    assert weak.luminous_nm == pytest.approx(luminous_range_nm(6.0, 8.0), rel=1e-12)


def test_lights_behind_the_lamp_shorten_its_range_on_the_card_too():
    dark = lamp_sighting_nm(12.0, 0.2, 8.0, 2.5, 0.5)
    harbour = lamp_sighting_nm(12.0, 0.2, 8.0, 2.5, 0.5, THRESHOLD_LUX["many lights behind"])
    assert harbour.range_nm < dark.range_nm


@given(st.floats(0.1, 50.0), st.floats(0.1, 50.0))
@settings(max_examples=30, deadline=None)
def test_it_does_not_matter_which_end_stands_higher(height_m, other_height_m):
    assert geographical_range_nm(height_m, other_height_m) == geographical_range_nm(other_height_m, height_m)
    assert radio_horizon_km(height_m, other_height_m) == radio_horizon_km(other_height_m, height_m)


def test_radio_sees_farther_over_the_horizon_than_the_eye():
    assert radio_horizon_km(2.0, 0.5) > 1.852 * geographical_range_nm(2.0, 0.5)


def test_the_two_losses_meet_at_four_pi_times_the_heights_over_the_wavelength():
    meeting_km = 1e-3 * 4.0 * pi * 0.5 * 4.0 / (299.792458 / 868.0)
    assert free_space_loss_db(868.0, meeting_km) == pytest.approx(flat_sea_loss_db(meeting_km, 0.5, 4.0), abs=1e-9)


@given(st.floats(30.0, 3000.0), st.floats(60.0, 170.0), st.floats(0.1, 30.0), st.floats(0.1, 30.0))
@settings(max_examples=60, deadline=None)
def test_at_the_end_of_its_reach_a_radio_has_lost_what_it_may(frequency_mhz, allowed_db, height_m, other_height_m):
    reach = radio_reach_km(frequency_mhz, allowed_db, height_m, other_height_m)
    lost_db = max(free_space_loss_db(frequency_mhz, reach.by_power_km),
                  flat_sea_loss_db(reach.by_power_km, height_m, other_height_m))
    assert lost_db == pytest.approx(allowed_db)
    assert reach.range_km == min(reach.by_power_km, reach.horizon_km)
    assert (reach.limited_by == "power") == (reach.by_power_km < reach.horizon_km)


def test_the_margin_of_a_link_is_what_is_left_over_the_sensitivity():
    assert link_margin_db(14.0, 2.0, 3.0, 120.0, -137.0) == pytest.approx(36.0)
    assert link_margin_db(14.0, 2.0, 3.0, 160.0, -137.0) < 0.0


@pytest.mark.parametrize(("call", "words"), [
    (lambda: visible_horizon_nm(-1.0), "height_m is -1.0; it must be 0 or more"),
    (lambda: visible_horizon_nm(1.0, 0.0), "factor is 0; allowed is a number above 0"),
    (lambda: effective_intensity_cd(-1.0, 0.1), "peak_cd is -1.0"),
    (lambda: effective_intensity_cd(1.0, 0.0), "flash_s is 0"),
    (lambda: luminous_range_nm(nan, 10.0), "intensity_cd is nan"),
    (lambda: luminous_range_nm(1.0, 0.0), "visibility_nm is 0"),
    (lambda: intensity_needed_cd(1.0, 10.0, 0.0), "threshold_lux is 0"),
    (lambda: free_space_loss_db(868.0, 0.0), "distance_km is 0"),
    (lambda: flat_sea_loss_db(1.0, 0.0, 1.0), "height_m is 0"),
    (lambda: radio_reach_km(868.0, nan, 1.0, 1.0), "loss_allowed_db is nan"),
    (lambda: link_margin_db(14.0, 0.0, 0.0, inf, -137.0), "loss_db is inf"),
])
def test_impossible_arguments_are_refused_with_their_name_and_value(call, words):
    with pytest.raises(ValueError, match=words.replace(".", r"\.")):
        call()
