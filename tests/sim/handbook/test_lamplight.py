"""Lamps around a lander: what they add up to, what stands in their way, where they leave it dark.

These hold the model to its own promises and to plain geometry; numbers of others are in tests/published/test_light.py.
"""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from seatrial.handbook.lamplight import (
    ACRYLIC_INDEX,
    BARE,
    BEARINGS_DEG,
    CLARITY,
    DOME,
    FLAT,
    WATER_INDEX,
    WINDOWS,
    Lamp,
    Sector,
    beam_in_water_deg,
    critical_angle_deg,
    flux_of_peak_lm,
    intensity_cd,
    lamps_at,
    peak_of_flux_cd,
    polar,
    refracted_deg,
    ring,
    seabed_lux,
    sectors_below,
    transmitted,
    water_lux,
    window_transmission,
)

ALIKE = {"radius_m": 0.25, "height_m": 0.7, "tilt_deg": 40.0, "flux_lm": 1500.0, "beam_deg": 90.0}
COARSE_DEG = np.arange(0.0, 360.0, 7.5)

lamps = st.builds(
    Lamp,
    bearing_deg=st.floats(-360.0, 720.0),
    radius_m=st.floats(0.2, 0.6),
    height_m=st.floats(0.1, 1.5),
    tilt_deg=st.floats(-30.0, 90.0),
    flux_lm=st.floats(0.0, 5000.0),
    beam_deg=st.floats(5.0, 170.0),
    hood_deg=st.none() | st.floats(10.0, 90.0),
    window=st.sampled_from(sorted(WINDOWS)),
)
waters = st.floats(0.0, 4.0)


def flux_through_cone_lm(lamp, edge_deg, weight=lambda in_water_deg: 1.0):
    """Light inside a cone around the axis, by integrating intensity over solid angle, each ring given its weight."""
    def of_ring(angle):
        in_water_deg = np.degrees(angle)
        return float(intensity_cd(lamp, in_water_deg)) * weight(in_water_deg) * 2.0 * np.pi * np.sin(angle)

    return quad(of_ring, 0.0, np.radians(edge_deg), limit=400, epsabs=1e-9)[0]


def in_air_deg(in_water_deg):
    return np.degrees(np.arcsin(np.clip(WATER_INDEX * np.sin(np.radians(in_water_deg)), 0.0, 1.0)))


# One lamp


@pytest.mark.parametrize("beam_deg", [10.0, 60.0, 100.0, 120.0, 150.0])
@pytest.mark.parametrize("window", [BARE, DOME])
def test_a_lamp_sends_out_all_its_light_less_what_the_window_reflects(beam_deg, window):
    lamp = Lamp(0.0, 0.2, 0.6, 35.0, 1800.0, beam_deg, None, window)
    assert flux_through_cone_lm(lamp, 90.0) == pytest.approx(1800.0 * float(window_transmission(0.0, window)), rel=1e-6)


@pytest.mark.parametrize("beam_deg", [10.0, 60.0, 100.0, 120.0])
def test_a_flat_window_crowds_the_light_together_and_loses_none_of_it_but_by_reflection(beam_deg):
    lamp = Lamp(0.0, 0.2, 0.6, 35.0, 1800.0, beam_deg)
    edge_deg = critical_angle_deg(WATER_INDEX, 1.0) - 1e-9

    def before_reflection(in_water_deg):
        return 1.0 / max(float(window_transmission(in_air_deg(in_water_deg), FLAT)), 1e-12)

    # the slope at the rim is steep: the last millionth of the light is lost to the integration, not to the lamp
    assert flux_through_cone_lm(lamp, edge_deg, before_reflection) == pytest.approx(1800.0, rel=2e-4)


@pytest.mark.parametrize("cone_in_air_deg", [5.0, 20.0, 45.0, 70.0])
def test_each_cone_of_rays_carries_the_same_light_on_both_sides_of_a_flat_window(cone_in_air_deg):
    behind_glass = Lamp(0.0, 0.2, 0.6, 35.0, 1800.0, 100.0)
    before_glass = Lamp(0.0, 0.2, 0.6, 35.0, 1800.0, 100.0, None, BARE)
    passed = flux_through_cone_lm(before_glass, cone_in_air_deg, lambda deg: float(window_transmission(deg, FLAT)))
    cone_in_water_deg = float(refracted_deg(cone_in_air_deg, 1.0, WATER_INDEX))
    assert flux_through_cone_lm(behind_glass, cone_in_water_deg) == pytest.approx(passed, rel=1e-6)


def test_a_flat_window_makes_the_axis_brighter_by_the_square_of_the_index_less_reflection():
    bare, flat = (Lamp(0.0, 0.2, 0.6, 35.0, 1800.0, 60.0, None, window) for window in (BARE, FLAT))
    gain = float(intensity_cd(flat, 0.0) / intensity_cd(bare, 0.0))
    assert gain == pytest.approx(WATER_INDEX**2 * float(window_transmission(0.0, FLAT)), rel=1e-12)
    assert 1.70 < gain < 1.75


def test_a_flat_window_lets_nothing_out_beyond_the_critical_angle():
    lamp = Lamp(0.0, 0.2, 0.6, 35.0, 1800.0, 150.0)
    edge_deg = critical_angle_deg(WATER_INDEX, 1.0)
    inside, outside = intensity_cd(lamp, [edge_deg - 0.5, edge_deg + 0.001])
    assert inside > 1.0
    assert outside == 0.0


@pytest.mark.parametrize("window", sorted(WINDOWS))
def test_a_hood_cuts_at_its_angle_in_the_water_and_changes_nothing_inside(window):
    open_lamp = Lamp(0.0, 0.2, 0.6, 35.0, 1800.0, 100.0, None, window)
    hooded = Lamp(0.0, 0.2, 0.6, 35.0, 1800.0, 100.0, 30.0, window)
    inside = np.array([0.0, 15.0, 29.99])
    assert intensity_cd(hooded, inside) == pytest.approx(intensity_cd(open_lamp, inside))
    assert intensity_cd(open_lamp, 30.01) > 0.0
    assert intensity_cd(hooded, 30.01) == 0.0


def test_a_wide_hood_before_a_flat_window_cuts_nothing():
    angles_deg = np.linspace(0.0, 180.0, 361)
    open_lamp, hooded = (Lamp(0.0, 0.2, 0.6, 35.0, 1800.0, 100.0, hood_deg) for hood_deg in (None, 60.0))
    assert (intensity_cd(hooded, angles_deg) == intensity_cd(open_lamp, angles_deg)).all()


def test_half_the_peak_is_left_at_half_the_beam():
    lamp = Lamp(0.0, 0.2, 0.6, 35.0, 1800.0, 76.0, None, BARE)
    assert float(intensity_cd(lamp, 38.0)) == pytest.approx(0.5 * float(intensity_cd(lamp, 0.0)))


def test_no_lamp_shines_backward():
    for window in WINDOWS:
        assert (intensity_cd(Lamp(0.0, 0.2, 0.6, 35.0, 1800.0, 179.0, None, window), [90.0, 120.0, 180.0]) == 0.0).all()


@given(st.floats(0.0, 1e5), st.floats(1.0, 179.0))
def test_flux_and_peak_survive_a_round_trip(flux_lm, beam_deg):
    assert flux_of_peak_lm(peak_of_flux_cd(flux_lm, beam_deg), beam_deg) == pytest.approx(flux_lm)


def test_the_beam_narrows_behind_a_flat_window_only():
    assert beam_in_water_deg(100.0, DOME) == beam_in_water_deg(100.0, BARE) == 100.0
    half_deg = 0.5 * beam_in_water_deg(100.0, FLAT)
    assert WATER_INDEX * np.sin(np.radians(half_deg)) == pytest.approx(np.sin(np.radians(50.0)))


@given(st.floats(0.0, 90.0))
def test_the_acrylic_between_does_not_turn_the_ray(angle_deg):
    through = refracted_deg(refracted_deg(angle_deg, 1.0, ACRYLIC_INDEX), ACRYLIC_INDEX, WATER_INDEX)
    assert float(through) == pytest.approx(float(refracted_deg(angle_deg, 1.0, WATER_INDEX)), abs=1e-6)


@given(st.floats(0.0, 89.0))
def test_a_surface_reflects_the_same_share_from_either_side(angle_deg):
    back_deg = refracted_deg(angle_deg, 1.0, WATER_INDEX)
    one_way = float(transmitted(angle_deg, 1.0, WATER_INDEX))
    assert one_way == pytest.approx(float(transmitted(back_deg, WATER_INDEX, 1.0)), rel=1e-9)
    assert 0.0 < one_way < 1.0


# Many lamps


@settings(max_examples=30)
@given(st.lists(lamps, max_size=4), lamps, waters, st.floats(0.0, 3.0), st.sampled_from([0.0, 0.15]))
def test_adding_a_lamp_never_lowers_the_illuminance_anywhere(some, one_more, attenuation, distance_m, body_radius_m):
    before = seabed_lux(some, COARSE_DEG, distance_m, attenuation, body_radius_m)
    after = seabed_lux([*some, one_more], COARSE_DEG, distance_m, attenuation, body_radius_m)
    assert (after >= before).all()


@settings(max_examples=30)
@given(st.lists(lamps, min_size=1, max_size=3), waters, waters)
def test_clearer_water_is_never_darker(some, one, other):
    clearer, murkier = sorted((one, other))
    assert (seabed_lux(some, COARSE_DEG, 1.0, clearer) >= seabed_lux(some, COARSE_DEG, 1.0, murkier)).all()
    heights = (some, COARSE_DEG, 1.0, 2.0)
    assert (water_lux(*heights, clearer) >= water_lux(*heights, murkier)).all()


@settings(max_examples=30)
@given(st.floats(-400.0, 400.0), st.integers(1, 5), waters)
def test_turning_lamps_and_bearings_together_changes_nothing(turn_deg, count, attenuation):
    standing, turned = ring(count, 0.0, **ALIKE), ring(count, turn_deg, **ALIKE)
    for lux in (lambda some, bearings: seabed_lux(some, bearings, 1.1, attenuation),
                lambda some, bearings: water_lux(some, bearings, 1.1, 0.4, attenuation)):
        assert lux(turned, COARSE_DEG + turn_deg) == pytest.approx(lux(standing, COARSE_DEG), rel=1e-6, abs=1e-6)


def test_light_of_several_lamps_adds_up():
    three = ring(3, 10.0, **ALIKE)
    each = [seabed_lux([lamp], COARSE_DEG, 0.8, 0.3) for lamp in three]
    assert seabed_lux(three, COARSE_DEG, 0.8, 0.3) == pytest.approx(sum(each))


def test_no_lamps_give_no_light():
    assert (seabed_lux([], COARSE_DEG, 1.0, 0.3) == 0.0).all()


def test_a_ring_stands_evenly_from_its_first_bearing():
    assert [lamp.bearing_deg for lamp in ring(4, 300.0, **ALIKE)] == [300.0, 30.0, 120.0, 210.0]
    assert [lamp.bearing_deg for lamp in lamps_at([320, 0, 40], **ALIKE)] == [320, 0, 40]


def test_a_lamp_seen_from_the_side_lights_an_upright_flank_and_not_its_far_side():
    # level with the lamp and before it: all light square on; between lamp and axis the surface faces away
    lamp = Lamp(0.0, 0.3, 0.6, 0.0, 1500.0, 90.0, None, BARE)
    before, behind = water_lux([lamp], 0.0, [1.3, 0.1], 0.6, 0.0)
    assert before == pytest.approx(float(intensity_cd(lamp, 0.0)))
    assert behind == 0.0


def test_light_on_the_back_of_a_surface_counts_for_nothing():
    lamp = Lamp(0.0, 0.5, 0.6, 90.0, 1500.0, 150.0, None, BARE)
    assert seabed_lux([lamp], 0.0, 0.2, 0.0) > 0.0
    assert water_lux([lamp], 0.0, 0.2, 0.1, 0.0) == 0.0


def test_a_grid_for_a_picture_has_a_row_a_distance_and_a_column_a_bearing():
    three = ring(3, 0.0, **ALIKE)
    grid = polar(three, [0.5, 1.5], COARSE_DEG, 0.3, 0.15)
    assert grid.shape == (2, len(COARSE_DEG))
    assert (grid[1] == seabed_lux(three, COARSE_DEG, 1.5, 0.3, 0.15)).all()


@settings(max_examples=20)
@given(st.floats(0.21, 0.6), st.floats(0.3, 3.0))
def test_the_body_throws_its_shadow_from_tangent_to_tangent(radius_m, distance_m):
    # plane geometry: both tangents to a circle R, from lamp and from point: acos(R / a) + acos(R / d) apart
    body_radius_m = 0.2
    lamp = Lamp(0.0, radius_m, 0.6, 90.0, 1500.0, 179.0, None, BARE)
    edge_deg = np.degrees(np.arccos(body_radius_m / radius_m) + np.arccos(body_radius_m / distance_m))
    lit = seabed_lux([lamp], [edge_deg - 0.01, edge_deg + 0.01, 180.0], distance_m, 0.1, body_radius_m) > 0.0
    assert lit.tolist() == [True, False, False]
    assert seabed_lux([lamp], 180.0, distance_m, 0.1) > 0.0  # without the body it gets there


def test_a_lamp_on_the_skin_of_the_body_lights_straight_out_and_nothing_lies_lit_under_the_body():
    lamp = Lamp(37.0, 0.2, 0.6, 60.0, 1500.0, 120.0, None, BARE)
    out, under = seabed_lux([lamp], 37.0, [0.5, 0.1], 0.1, body_radius_m=0.2)
    assert out > 0.0
    assert under == 0.0


# Sectors


def test_four_lamps_leave_narrower_blind_sectors_than_three_of_the_same():
    alike = {**ALIKE, "beam_deg": 80.0}
    dark_deg = {}
    for count in (3, 4, 5):
        lux = seabed_lux(ring(count, 0.0, **alike), BEARINGS_DEG, 1.2, CLARITY["coastal"], 0.15)
        sectors = sectors_below(BEARINGS_DEG, lux, 40.0)
        dark_deg[count] = sum(sector.width_deg for sector in sectors)
        widest_deg = max((sector.width_deg for sector in sectors), default=0.0)
        assert widest_deg < 120.0
    assert dark_deg[3] > 60.0
    assert dark_deg[4] < 0.5 * dark_deg[3]
    assert dark_deg[5] == 0.0


def test_the_blind_sectors_of_an_even_ring_lie_midway_between_its_lamps():
    lux = seabed_lux(ring(3, 0.0, **ALIKE), BEARINGS_DEG, 1.2, 0.4, 0.15)
    sectors = sectors_below(BEARINGS_DEG, lux, 40.0)
    assert [sector.darkest_deg for sector in sectors] == pytest.approx([60.0, 180.0, 300.0], abs=0.1)
    assert [0.5 * (sector.from_deg + sector.to_deg) for sector in sectors] == pytest.approx([60.0, 180.0, 300.0])


def test_a_sector_through_north_is_one_sector():
    lux = 100.0 - 90.0 * np.cos(np.radians(BEARINGS_DEG - 5.0))
    (sector,) = sectors_below(BEARINGS_DEG, lux, 55.0)
    assert sector.from_deg == pytest.approx(305.0, abs=1e-3)
    assert sector.to_deg == pytest.approx(65.0, abs=1e-3)
    assert sector.width_deg == pytest.approx(120.0, abs=1e-3)
    assert (sector.darkest_deg, sector.darkest_lux) == pytest.approx((5.0, 10.0))


def test_ends_fall_between_samples_to_a_tenth_of_a_degree():
    lux = 100.0 + 90.0 * np.cos(np.radians(COARSE_DEG / 0.5))  # 7.5 degrees apart, two dips
    truth_deg = 0.5 * np.degrees(np.arccos(-0.5))
    first, second = sectors_below(COARSE_DEG, lux, 55.0)
    assert first.from_deg == pytest.approx(truth_deg, abs=0.1)
    assert second.to_deg == pytest.approx(360.0 - truth_deg, abs=0.1)


def test_only_what_the_camera_sees_is_searched():
    lux = 100.0 - 90.0 * np.cos(np.radians(BEARINGS_DEG))  # dark from 300 to 60
    assert sectors_below(BEARINGS_DEG, lux, 55.0, view=(180.0, 120.0)) == []
    (left,) = sectors_below(BEARINGS_DEG, lux, 55.0, view=(270.0, 100.0))
    assert (left.from_deg, left.to_deg, left.darkest_deg) == pytest.approx((300.0, 320.0, 320.0), abs=1e-3)
    (across,) = sectors_below(BEARINGS_DEG, lux, 55.0, view=(0.0, 40.0))
    assert (across.from_deg, across.to_deg, across.darkest_deg) == pytest.approx((340.0, 20.0, 0.0), abs=1e-3)
    assert across.width_deg == pytest.approx(40.0)


def test_a_circle_dark_all_round_is_one_sector_of_360_degrees():
    (sector,) = sectors_below(BEARINGS_DEG, np.zeros(3600), 1.0)
    assert (sector.from_deg, sector.to_deg, sector.width_deg, sector.darkest_lux) == (0.0, 360.0, 360.0, 0.0)
    assert sectors_below(BEARINGS_DEG, np.zeros(3600), 1.0, view=(90.0, 360.0)) == [sector]


def test_a_circle_lit_all_round_has_no_sector():
    assert sectors_below(BEARINGS_DEG, np.full(3600, 40.0), 40.0) == []


def test_a_dip_too_slight_to_have_a_width_is_no_sector():
    lux = np.full(3600, 1e6)
    lux[1234] = np.nextafter(40.0, 0.0)
    assert sectors_below(BEARINGS_DEG, lux, 40.0) == []


levels = st.lists(st.floats(0.0, 100.0), min_size=12, max_size=40)


@given(levels, st.floats(1.0, 99.0))
def test_sectors_below_and_above_fill_the_circle(lux, threshold_lux):
    assume(threshold_lux not in lux)
    bearings = np.arange(len(lux)) * 360.0 / len(lux)
    below = sectors_below(bearings, lux, threshold_lux)
    mirrored = 2.0 * threshold_lux - np.array(lux)
    above = sectors_below(bearings, mirrored, threshold_lux)
    assert sum(sector.width_deg for sector in below + above) == pytest.approx(360.0)
    assert all(sector.darkest_lux < threshold_lux for sector in below)


@given(levels, st.floats(1.0, 99.0), st.floats(0.0, 360.0), st.integers(0, 10**6))
def test_sectors_turn_with_the_samples_and_do_not_care_for_their_order(lux, threshold_lux, turn_deg, shuffle):
    bearings = np.arange(len(lux)) * 360.0 / len(lux)
    places = sorted(range(len(lux)), key=lambda place: (place * 7919 + shuffle) % 104729)
    turned = sectors_below((bearings + turn_deg)[places], np.array(lux)[places], threshold_lux)
    standing = sectors_below(bearings, lux, threshold_lux)
    assert sum(s.width_deg for s in turned) == pytest.approx(sum(s.width_deg for s in standing), abs=1e-6)


@given(levels, st.floats(1.0, 99.0), st.floats(0.0, 360.0), st.floats(1.0, 359.0))
def test_a_view_and_the_rest_of_the_circle_share_the_dark_between_them(lux, threshold_lux, centre_deg, width_deg):
    bearings = np.arange(len(lux)) * 360.0 / len(lux)

    def dark_deg(view):
        return sum(sector.width_deg for sector in sectors_below(bearings, lux, threshold_lux, view))

    rest = (centre_deg + 180.0, 360.0 - width_deg)
    assert dark_deg((centre_deg, width_deg)) + dark_deg(rest) == pytest.approx(dark_deg(None), abs=1e-6)


def test_the_width_of_a_sector_counts_on_through_north():
    assert Sector(350.0, 10.0, 0.0, 0.0).width_deg == 20.0
    assert Sector(10.0, 350.0, 0.0, 0.0).width_deg == 340.0


# What is refused


@pytest.mark.parametrize(("field", "value", "words"), [
    ("bearing_deg", float("nan"), "bearing_deg is nan; it may be any angle"),
    ("radius_m", -0.1, "radius_m is -0.1; it may be 0 m or more"),
    ("height_m", 0.0, "height_m is 0; it may be above 0 m"),
    ("tilt_deg", 91.0, "tilt_deg is 91; it may be -90"),
    ("flux_lm", -1.0, "flux_lm is -1; it may be 0 lm or more"),
    ("flux_lm", float("inf"), "flux_lm is inf; it may be 0 lm or more"),
    ("beam_deg", 180.0, "beam_deg is 180; it may be 1 to 179"),
    ("hood_deg", 0.0, "hood_deg is 0; it may be above 0"),
    ("window", "prism", "window is 'prism'; it may be 'flat' or 'dome' or 'bare'"),
])
def test_a_lamp_that_cannot_be_is_refused_in_a_sentence(field, value, words):
    with pytest.raises(ValueError, match=words):
        Lamp(**{"bearing_deg": 0.0, **ALIKE, field: value})


@pytest.mark.parametrize(("call", "words"), [
    (lambda: ring(0, 0.0, **ALIKE), "count is 0"),
    (lambda: seabed_lux(ring(3, 0.0, **ALIKE), 0.0, 1.0, -0.1), "attenuation_per_m is -0.1"),
    (lambda: seabed_lux(ring(3, 0.0, **ALIKE), 0.0, [1.0, -1.0], 0.1), "distance_m is -1"),
    (lambda: seabed_lux(ring(3, 0.0, **ALIKE), float("nan"), 1.0, 0.1), "bearing_deg is nan"),
    (lambda: seabed_lux(ring(3, 0.0, **ALIKE), 0.0, 1.0, 0.1, 0.3), "0.25 m from the axis, inside the central body"),
    (lambda: water_lux(ring(3, 0.0, **ALIKE), 0.0, 1.0, -0.2, 0.1), "height_m is -0.2"),
    (lambda: water_lux(ring(3, 0.0, **ALIKE), 0.0, 0.25, 0.7, 0.1), "in the lamp at 0 degrees itself"),
    (lambda: intensity_cd(ring(1, 0.0, **ALIKE)[0], 181.0), "angle is 181 degrees; it may be 0 to 180"),
    (lambda: refracted_deg(-1.0, 1.0, 1.33), "angle is -1 degrees"),
    (lambda: refracted_deg(10.0, 0.5, 1.33), "refractive index is 0.5"),
    (lambda: critical_angle_deg(1.0, 1.33), "no critical angle"),
    (lambda: beam_in_water_deg(100.0, "round"), "window is 'round'"),
    (lambda: sectors_below(BEARINGS_DEG, np.zeros(3600), 0.0), "threshold_lux is 0"),
    (lambda: sectors_below(BEARINGS_DEG, np.zeros(3599), 1.0), "3600 values and lux 3599"),
    (lambda: sectors_below([0.0, 120.0, 240.0], [1.0, 1.0, 1.0], 1.0), "3 bearings with a gap of 120 degrees"),
    (lambda: sectors_below(np.arange(180.0), np.zeros(180), 1.0), "180 bearings with a gap of 181 degrees"),
    (lambda: sectors_below([], [], 1.0), "0 bearings"),
    (lambda: sectors_below(BEARINGS_DEG, np.zeros(3600), 1.0, view=(0.0, 0.0)), "view width is 0"),
])
def test_a_question_without_an_answer_is_refused_in_a_sentence(call, words):
    with pytest.raises(ValueError, match=words):
        call()
