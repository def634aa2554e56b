"""Heat out of a tube by handbook: what must hold of films and walls whatever the numbers."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatrial.handbook import convection
from seatrial.handbook.materials import MATERIALS


@pytest.mark.parametrize("fluid", ["air", "fresh_water", "seawater"])
@given(diameter_m=st.floats(0.03, 0.3), warmer_k=st.floats(0.2, 10), more_k=st.floats(0.1, 5))
def test_a_larger_difference_of_temperature_never_makes_a_weaker_film(fluid, diameter_m, warmer_k, more_k):
    weak = convection.cylinder_w_m2k(fluid, diameter_m, 10 + warmer_k, 10)
    strong = convection.cylinder_w_m2k(fluid, diameter_m, 10 + warmer_k + more_k, 10)
    assert strong > weak


@given(speed_m_s=st.floats(0.01, 2), faster=st.floats(1.05, 3))
def test_a_faster_current_never_makes_a_weaker_film(speed_m_s, faster):
    films = [convection.current_w_m2k("seawater", 0.12, 12, 10, speed) for speed in (speed_m_s, faster * speed_m_s)]
    assert films[1] > films[0]


def test_the_film_in_water_is_far_stronger_than_in_air():
    # common practice, no source: still water takes heat some fifty times as well as still air
    water, air = (convection.cylinder_w_m2k(fluid, 0.1, 12, 10) for fluid in ("seawater", "air"))
    assert 30 < water / air < 150


def test_a_wall_of_twice_the_length_has_half_the_resistance():
    once, twice = (convection.tube_wall_k_w(89, 101.6, length, 0.2) for length in (300, 600))
    assert once == pytest.approx(2 * twice)


@given(wall_mm=st.floats(1, 20), thicker_mm=st.floats(0.1, 10), film=st.floats(1, 50))
def test_a_housing_lets_out_less_through_every_layer_that_is_added(wall_mm, thicker_mm, film):
    def housing(inner_film, wall):
        return convection.housing_w_k(inner_film, 100, 100 + 2 * wall, 300, 0.18, 200)

    assert housing(film, wall_mm) < housing(2 * film, wall_mm) < housing(None, wall_mm)
    assert housing(film, wall_mm) > housing(film, wall_mm + thicker_mm)


def test_a_still_current_is_weaker_than_the_water_that_rises_by_its_own_warmth():
    assert convection.current_w_m2k("seawater", 0.12, 12, 10, 0.0) < convection.cylinder_w_m2k("seawater", 0.12, 12, 10)


def test_every_wall_that_a_plan_may_name_has_a_conductivity():
    assert {name for name, one in MATERIALS.items() if one.youngs_gpa} <= set(convection.CONDUCTIVITY_W_MK)


@given(sun=st.floats(0, 1400), area=st.floats(0, 2), share=st.floats(0, 1))
def test_a_surface_takes_up_no_more_than_shines_on_it(sun, area, share):
    assert 0 <= convection.sun_w(sun, area, share) <= sun * area


@pytest.mark.parametrize(("call", "said"), [
    (lambda: convection.cylinder_w_m2k("oil", 0.1, 12, 10), 'fluid is "oil"'),
    (lambda: convection.cylinder_w_m2k("air", 0, 12, 10), "diameter_m is 0"),
    (lambda: convection.cylinder_w_m2k("air", 0.1, 200, 10), "temperature_c is 105"),
    (lambda: convection.current_w_m2k("air", -1, 12, 10, 1), "diameter_m is -1"),
    (lambda: convection.tube_wall_k_w(50, 50, 100, 1), "must be below outer_mm"),
    (lambda: convection.tube_wall_k_w(40, 50, 100, 0), "conductivity_w_mk is 0"),
    (lambda: convection.radiation_w_m2k(1.2, 20, 10), "emissivity is 1.2"),
    (lambda: convection.sun_w(850, 1, 40), "absorbed_fraction is 40"),
    (lambda: convection.film_k_w(0, 100, 100), "film_w_m2k is 0"),
    (lambda: convection.film_k_w(10, float("inf"), 100), "diameter_mm is inf"),
    (lambda: convection.cylinder_w_m2k("air", float("nan"), 12, 10), "diameter_m is nan"),
    (lambda: convection.cylinder_w_m2k("air", 0.1, float("nan"), 10), "temperature_c is nan"),
    (lambda: convection.current_w_m2k("seawater", 0.1, 12, 10, -0.5), "speed_m_s is -0.5"),
    (lambda: convection.current_w_m2k("seawater", 0.1, 12, 10, float("nan")), "speed_m_s is nan"),
    (lambda: convection.housing_w_k(0, 40, 50, 100, 1, 100), "film_w_m2k is 0"),
    (lambda: convection.radiation_w_m2k(0.9, -300, 10), "surface_c is -300"),
    (lambda: convection.sun_w(-5, 1, 0.5), "sun_w_m2 is -5"),
    (lambda: convection.sun_w(850, -1, 0.5), "sunlit_area_m2 is -1"),
])
def test_impossible_arguments_are_told(call, said):
    with pytest.raises(ValueError, match=said):
        call()
