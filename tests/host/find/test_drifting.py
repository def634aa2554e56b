"""Where the lander may be: the cast of particles against closed forms of advection, diffusion and leeway.

A mean of n draws lies within 5 standard errors, sigma/sqrt(n); their variance within 5 of its own, which for a normal
is the share sqrt(2/n). Seeds are fixed, so these cannot fail by chance once they have passed.
"""

from datetime import timedelta
from math import cos, exp, log, radians, sin

import numpy as np
import pytest

from seatrial.workings.doubt import LIKELY
from seatrial.workings.drift import drift
from seatrial.workings.passage import ascent, descent
from seatrial.workings.release_paths import path_of
from seatrial.workings.times import lit_h
from tumblehome.find.drifting import clouds, lamps
from tumblehome.find.guesses import built_in
from tumblehome.find.known import Heard, NotSeen, StillDown, Surfaced
from tumblehome.find.lamps import NEVER_S
from tumblehome.find.mistakes import FindError
from tumblehome.find.shapes import Cloud, Plane, Position
from tumblehome.find.wind_files import Weather

from .plans_and_clouds import PLAN, SPLASH, hours, plan_with, sure

N = 40_000
UP = hours(6)
WIND = {"speed_m_s": 10.0, "from_deg": 225.0, "leeway_pct": 2.0, "leeway_spread_pct": 0.0}
CALM = {**WIND, "speed_m_s": 0.0}
KNOWN_UP = (Surfaced(UP, "timed"),)


def moved(plan, guesses, after_h: float = 6.0, **more) -> tuple[np.ndarray, np.ndarray]:
    """How far each particle went afloat in so many hours."""
    before, after = clouds(plan, [UP, UP + timedelta(hours=after_h)], 7, guesses, KNOWN_UP, particles=N, **more)
    assert after.afloat.all()
    return after.east_m - before.east_m, after.north_m - before.north_m


def is_mean(values: np.ndarray, expected: float, sigma: float) -> bool:
    return abs(values.mean() - expected) <= 5 * sigma / len(values) ** 0.5 + 1e-6


def is_variance(values: np.ndarray, expected: float) -> bool:
    return abs(values.var() / expected - 1) <= 5 * (2 / len(values)) ** 0.5


# --- closed forms -----------------------------------------------------------------------------------------------------


def test_six_hours_of_current_and_leeway_lead_where_plain_vectors_lead():
    """0.25 m/s to 090 and the leeway of a person in the water, 0.96 % (Allen and Plourde 1999), in 10 m/s to 045."""
    east, north = moved(plan_with({**WIND, "leeway_pct": 0.96}, (0.25, 90.0)), sure())
    assert east.mean() == pytest.approx(6866, abs=1)
    assert north.mean() == pytest.approx(1466, abs=1)
    assert east.std() < 1e-6


def test_eddies_spread_it_by_twice_diffusivity_times_time_on_each_axis():
    """Fick's law; Csanady, Turbulent Diffusion in the Environment, 1973."""
    east, north = moved(plan_with(CALM, (0.3, 0.0)), sure(diffusivity_m2_s=2.0))
    variance = 2 * 2.0 * 6 * 3600
    assert is_mean(east, 0.0, variance ** 0.5)
    assert is_mean(north, 0.3 * 6 * 3600, variance ** 0.5)
    assert is_variance(east, variance)
    assert is_variance(north, variance)


def test_a_steady_error_of_the_current_spreads_it_in_proportion_to_the_time():
    east, north = moved(plan_with(CALM, (0.3, 0.0)), sure(current_error_m_s=0.1, diffusivity_m2_s=1.0))
    seconds = 6 * 3600
    assert is_variance(east, (0.1 * seconds) ** 2 + 2 * seconds)
    assert is_variance(north, (0.1 * seconds) ** 2 + 2 * seconds)


def test_an_error_of_the_current_that_changes_spreads_it_as_taylor_has_it():
    """2 s^2 T^2 (t/T - 1 + exp(-t/T)): Taylor, Diffusion by continuous movements, 1921, for exp(-t/T) correlation."""
    memory_h, hours_afloat = 6.0, 24.0
    east, north = moved(plan_with(CALM, (0.0, 0.0)), sure(current_error_m_s=0.1, current_memory_h=memory_h),
                        hours_afloat)
    ratio = hours_afloat / memory_h
    variance = 2 * (0.1 * memory_h * 3600) ** 2 * (ratio - 1 + exp(-ratio))
    assert east.var() == pytest.approx(variance, rel=0.03)
    assert north.var() == pytest.approx(variance, rel=0.03)


def test_the_spread_of_the_leeway_is_two_standard_deviations_along_the_wind_and_nothing_across():
    east, north = moved(plan_with({**WIND, "from_deg": 270.0, "leeway_spread_pct": 1.0}, (0.0, 0.0)), sure())
    seconds = 6 * 3600
    assert is_mean(east, 0.02 * 10 * seconds, 0.005 * 10 * seconds)
    assert is_variance(east, (0.005 * 10 * seconds) ** 2)
    assert np.abs(north).max() < 1e-6


def test_an_error_of_the_wind_counts_by_the_leeway():
    east, north = moved(plan_with(WIND, (0.0, 0.0)), sure(plan_wind_error_m_s=3.0))
    assert is_variance(east, (0.02 * 3.0 * 6 * 3600) ** 2)
    assert is_variance(north, (0.02 * 3.0 * 6 * 3600) ** 2)


def test_crosswind_drift_leads_to_both_sides_alike_and_grows_more_slowly_the_more_often_it_changes_sides():
    """The integral of a random telegraph signal has the variance (2 r t - 1 + exp(-2 r t)) / (2 r^2) at r changes a
    unit of time (Papoulis, Probability, Random Variables and Stochastic Processes). In steps of half an hour."""
    rate, hours_afloat = 0.2, 24.0
    plan = plan_with({**WIND, "from_deg": 270.0}, (0.0, 0.0))
    east, north = moved(plan, sure(crosswind_pct=1.0, jibes_per_h=rate), hours_afloat)
    telegraph_h2 = (2 * rate * hours_afloat - 1 + exp(-2 * rate * hours_afloat)) / (2 * rate ** 2)
    variance = (0.01 * 10 * 3600) ** 2 * telegraph_h2
    assert abs(north.mean()) < 5 * (variance / N) ** 0.5
    assert north.var() == pytest.approx(variance, rel=0.03)
    assert east.std() < 1e-6
    steady = moved(plan, sure(crosswind_pct=1.0), hours_afloat)[1]
    assert is_variance(steady, (0.01 * 10 * 3600 * hours_afloat) ** 2)


def test_wind_that_turns_in_a_file_is_followed_row_by_row():
    """East for six hours at 5 m/s, then dying to nothing in a straight line over six: its path is 5 * (6 + 6/2) h."""
    times = np.array([(moment - UP).total_seconds() for moment in (UP, UP + timedelta(hours=6), UP + timedelta(hours=12))])
    weather = Weather("wind.csv", UP.timestamp() + times, (np.array([5.0, 5.0, 0.0]), np.zeros(3)), None)
    east, north = moved(plan_with(WIND, (0.0, 0.0)), sure(), 12.0, weather=weather)
    assert east.mean() == pytest.approx(0.02 * 5.0 * 9 * 3600, rel=1e-9)
    assert np.abs(north).max() < 1e-6


@pytest.mark.parametrize("latitude_deg, side", [(30.0, 1), (-30.0, -1)])
def test_where_the_guesses_want_it_the_wind_drives_the_water_too_to_the_right_in_the_north(latitude_deg, side):
    """Ekman 1905: 0.0127 of the wind over the root of the sine of the latitude, 45 degrees off the wind."""
    plan = plan_with({**WIND, "from_deg": 180.0, "leeway_pct": 0.0}, (0.0, 0.0))
    plan = plan.model_copy(update={"site": plan.site.model_copy(update={"latitude_deg": latitude_deg})})
    east, north = moved(plan, sure(wind_current="added"))
    way_m = 0.0127 * 10 / 0.5 ** 0.5 * 6 * 3600
    assert east == pytest.approx(side * way_m * 0.5 ** 0.5, rel=1e-6)
    assert north == pytest.approx(way_m * 0.5 ** 0.5, rel=1e-6)


def test_near_the_equator_nobody_knows_the_current_of_the_wind():
    plan = PLAN.model_copy(update={"site": PLAN.site.model_copy(update={"latitude_deg": -4.0})})
    with pytest.raises(FindError, match="at latitude -4; Ekman's law holds from 10 degrees: give a file"):
        list(clouds(plan, [UP], 1, sure(wind_current="added"), particles=1000))


def test_neither_the_current_of_the_wind_nor_the_rule_of_three_per_cent_is_added():
    east, _north = moved(plan_with({**WIND, "from_deg": 270.0, "leeway_pct": 0.0}, (0.0, 0.0)), sure())
    assert np.abs(east).max() < 1e-6


# --- the way down and up ----------------------------------------------------------------------------------------------


def test_without_any_doubt_it_lands_and_surfaces_where_the_plan_says():
    plan = plan_with({"leeway_spread_pct": 0.0})
    below, = clouds(plan, [hours(1)], 1, sure(), (StillDown(hours(1)),), particles=N)
    up, = clouds(plan, [UP], 1, sure(), KNOWN_UP, particles=N)
    expected = drift(plan)
    assert expected.landing and expected.surfacing
    still = ~below.afloat
    assert below.weight[still].sum() == pytest.approx(1)
    assert np.allclose(below.east_m[still], expected.landing.east_m)
    assert np.allclose(below.north_m[still], expected.landing.north_m)
    assert np.allclose(up.east_m, expected.surfacing.east_m) and np.allclose(up.north_m, expected.surfacing.north_m)


def test_doubt_about_drag_and_weight_spreads_it_within_the_radius_of_the_plan():
    up, = clouds(PLAN, [UP], 1, sure(), KNOWN_UP, particles=N)
    surfacing = drift(PLAN).surfacing
    assert surfacing
    away = np.hypot(up.east_m - surfacing.east_m, up.north_m - surfacing.north_m)
    assert 0.5 * surfacing.radius_m < away.max() <= surfacing.radius_m + 1e-6


def test_an_error_of_the_current_acts_on_the_way_down_and_up_too():
    plan = plan_with()
    down, rise = descent(plan, LIKELY), ascent(plan, LIKELY)
    assert down and rise
    up, = clouds(plan, [UP], 1, sure(current_error_m_s=0.1), KNOWN_UP, particles=N)
    assert is_variance(up.east_m, (0.1 * (down.seconds + rise.seconds)) ** 2)


# --- ways home --------------------------------------------------------------------------------------------------------


def share_afloat(cloud: Cloud) -> float:
    return float(cloud.weight[cloud.afloat].sum())


def test_the_weights_add_up_to_one_and_those_of_each_way_to_its_chance():
    cloud, = clouds(PLAN, [hours(40)], 3, particles=N)
    assert cloud.weight.sum() == pytest.approx(1)
    for number, way in enumerate(cloud.ways):
        assert cloud.weight[cloud.way == number].sum() == pytest.approx(way.probability, rel=1e-6)


def test_it_is_below_before_the_release_up_after_it_and_what_stays_down_never_comes_up():
    series = list(clouds(PLAN, [hours(0.1), hours(5.6), hours(24), hours(80)], 3, particles=N))
    shares = [share_afloat(cloud) for cloud in series]
    assert shares[0] == 0
    assert shares == sorted(shares)
    assert 0.9 < shares[2] < shares[3]
    stays_down = [way.probability for way in series[0].ways if way.key == "stays_down"]
    assert shares[3] == pytest.approx(1 - stays_down[0])
    still = ~series[3].afloat
    assert np.hypot(series[3].east_m[still], series[3].north_m[still]).max() < 1000


def test_the_corroding_link_brings_it_up_between_its_earliest_and_latest():
    series = list(clouds(PLAN, [hours(30), hours(46.6), hours(72.5)], 3, particles=N))
    link = [number for number, way in enumerate(series[0].ways) if way.key == "passive"][0]
    shares = [cloud.afloat[cloud.way == link].mean() for cloud in series]
    assert shares[0] == 0 and shares[2] == 1
    assert shares[1] == pytest.approx(0.5, abs=0.03)  # sqrt(30 * 72) h = 46.5 h halves the logarithm, the rise 0.2 h


def test_what_was_not_seen_weighs_within_a_way_too():
    """A lander of the link that came up before the watch is over would have been seen: later ones remain."""
    seen_none = (NotSeen(hours(47), 1.0),)
    cloud, = clouds(PLAN, [hours(47)], 3, known=seen_none, particles=N)
    assert share_afloat(cloud) == 0
    later, = clouds(PLAN, [hours(73)], 3, known=seen_none, particles=N)
    link, down = built_in().ways["passive"], built_in().ways["stays_down"]
    link_left = link * log(72 / (47 - 0.195)) / log(72 / 30)  # the likely rise takes 0.195 h
    assert share_afloat(later) == pytest.approx(link_left / (link_left + down), rel=0.02)


def test_after_a_position_was_heard_the_drift_begins_there():
    position = Position(46.2, -28.2)
    heard = Heard(hours(7), "backup", position, radius_m=20.0)
    at_once, later = clouds(plan_with(WIND, (0.2, 0.0)), [hours(7), hours(8)], 3, sure(), (heard,), particles=N)
    east_m, north_m = at_once.plane.metres(position)
    assert is_mean(at_once.east_m, east_m, 20.0) and is_mean(at_once.north_m, north_m, 20.0)
    assert is_variance(at_once.east_m, 20.0 ** 2)
    assert at_once.afloat.all()
    assert [way.key for way in at_once.ways if way.probability > 0] == ["backup"]
    leeway = 0.02 * 10 * 3600
    assert is_mean(later.east_m, east_m + leeway * sin(radians(45)), 20.0)
    assert is_mean(later.north_m, north_m + 0.2 * 3600 + leeway * cos(radians(45)), 20.0)


def heard_from(metres_and_hours, radius_m: float) -> tuple[Heard, ...]:
    plane = Plane(Position(PLAN.site.latitude_deg, PLAN.site.longitude_deg))
    return tuple(Heard(hours(after), "timed", plane.position(*place), radius_m) for place, after in metres_and_hours)


def test_two_positions_that_were_heard_tell_how_the_current_really_runs():
    """The posterior of a normal: prior 0.13 m/s, measured with sqrt(2) 30 m over 2 h; its mean and variance in any
    text on Bayes, and where it is two hours later follows in straight lines."""
    sigma, radius_m, seconds = 0.13, 30.0, 7200.0
    plan = plan_with(CALM, (0.3, 90.0))
    run = (-0.2, 0.1)  # what the current runs beyond the plan
    heard = heard_from((((0.0, 0.0), 7), (((0.3 + run[0]) * seconds, run[1] * seconds), 9)), radius_m)
    at_last, later = clouds(plan, [hours(9), hours(11)], 3, sure(current_error_m_s=sigma), heard, particles=N)
    measured_variance = 2 * radius_m ** 2 / seconds ** 2
    gain = sigma ** 2 / (sigma ** 2 + measured_variance)
    expected, spread = gain * np.array(run), (gain * measured_variance) ** 0.5
    for ends, begins, mean, planned in ((later.east_m, at_last.east_m, expected[0], 0.3),
                                        (later.north_m, at_last.north_m, expected[1], 0.0)):
        speed = (ends - begins)[later.weight > 0] / seconds - planned
        assert speed.mean() == pytest.approx(mean, abs=1e-3)
        assert speed.std() == pytest.approx(spread, rel=0.05)


def test_what_was_learned_of_the_current_fades_with_its_memory():
    heard = heard_from((((0.0, 0.0), 7), ((0.2 * 7200, 0.0), 9)), 5.0)
    plan, guesses = plan_with(CALM, (0.0, 0.0)), sure(current_error_m_s=0.13, current_memory_h=12.0)
    soon, soon_after, late, late_after = clouds(plan, [hours(after) for after in (9, 10, 60, 61)], 3, guesses, heard,
                                                particles=N)
    def mean_m_s(before, after):
        return (after.east_m - before.east_m)[after.weight > 0].mean() / 3600
    assert 0.15 < mean_m_s(soon, soon_after) < 0.2
    assert abs(mean_m_s(late, late_after)) < 0.01


# --- repeatable -------------------------------------------------------------------------------------------------------


def alike(one: Cloud, other: Cloud) -> bool:
    return all(np.array_equal(getattr(one, name), getattr(other, name))
               for name in ("east_m", "north_m", "weight", "way", "afloat"))


def test_the_same_seed_gives_the_same_cloud_and_another_seed_another():
    first, again, other = (next(clouds(PLAN, [hours(9)], seed, particles=2000)) for seed in (5, 5, 6))
    assert alike(first, again)
    assert not alike(first, other)


def test_a_cloud_does_not_depend_on_which_others_are_asked_for():
    alone, = clouds(PLAN, [hours(31.3)], 5, particles=2000)
    many = list(clouds(PLAN, [hours(31.3), hours(2), hours(31), hours(31.2), hours(50), hours(5.22)], 5, particles=2000))
    assert [cloud.at for cloud in many] == sorted(cloud.at for cloud in many)
    assert alike(alone, next(cloud for cloud in many if cloud.at == hours(31.3)))
    assert alike(alone, list(clouds(PLAN, [hours(9), hours(31.3)], 5, particles=2000))[1])


def test_a_particle_keeps_its_place_from_cloud_to_cloud():
    before, after = clouds(PLAN, [hours(8), hours(8.01)], 5, particles=2000)
    both = before.afloat & after.afloat
    assert np.hypot(after.east_m - before.east_m, after.north_m - before.north_m)[both].max() < 100
    assert not (before.afloat & ~after.afloat).any()


def test_there_are_as_many_particles_as_asked_for_give_or_take_the_rounding():
    cloud, = clouds(PLAN, [hours(8)], 5, particles=5000)
    assert len(cloud.weight) == pytest.approx(5000, abs=len(cloud.ways))


def test_the_lamp_of_each_lander_goes_out_so_long_after_it_surfaced_as_the_plan_says():
    cloud, = clouds(PLAN, [hours(5.3)], 5, particles=5000)
    until_h = lamps(PLAN, 5, particles=5000).until_s / 3600
    numbers = {way.key: number for number, way in enumerate(cloud.ways)}
    up = cloud.afloat & (cloud.way == numbers["timed"])
    path = path_of(PLAN, "timed")
    assert path.surfaced_min.likely and up.any()
    assert until_h[up] == pytest.approx(path.surfaced_min.likely / 60 + (lit_h(PLAN, path) or 0), abs=0.3)
    for dark in ("second", "stays_down"):
        assert (until_h[cloud.way == numbers[dark]] == NEVER_S).all()


def test_a_lamp_was_lit_before_a_position_was_heard():
    heard = (Heard(hours(7), "timed", Position(46.2, -28.2)),)
    cloud, = clouds(PLAN, [hours(7)], 5, known=heard, particles=5000)
    until_h = lamps(PLAN, 5, known=heard, particles=5000).until_s / 3600
    path = path_of(PLAN, "timed")
    assert path.surfaced_min.likely
    assert until_h[cloud.weight > 0] == pytest.approx(path.surfaced_min.likely / 60 + (lit_h(PLAN, path) or 0), abs=0.3)


# --- what cannot be ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("wrong, said", [
    ({"at": [hours(-1)]}, "2027-05-18 05:30Z is before the splash at 2027-05-18 06:30Z: ask for a later moment"),
    ({"at": [hours(6)], "known": (Heard(hours(7), None, Position(46.2, -28.2)),)},
     "2027-05-18 12:30Z is before the position that was heard, of 2027-05-18 13:30Z: ask for a later moment"),
    ({"at": [hours(6)], "particles": 10}, "10 particles are asked for; allowed is 1000 to 5000000"),
    ({"at": [hours(6)], "known": (NotSeen(hours(-2), 0.5),)}, "2027-05-18 04:30Z is before the splash"),
    ({"at": [hours(60)], "weather": Weather("wind.csv", hours(5).timestamp() + np.array([0.0, 3600.0]),
                                            (np.zeros(2), np.zeros(2)), None)},
     "wind.csv reaches from 2027-05-18 11:30Z to 2027-05-18 12:30Z; wanted is from"),
])
def test_what_cannot_be_worked_out_is_refused_in_one_sentence(wrong, said):
    with pytest.raises(FindError) as refused:
        list(clouds(PLAN, seed=1, guesses=built_in(), **wrong))
    assert len(refused.value.sentences) == 1
    assert said in refused.value.sentences[0]


def test_a_plan_whose_lander_never_comes_up_is_refused():
    heavy = PLAN.lander.model_copy(update={"mass_kg": PLAN.lander.mass_kg + 40})
    with pytest.raises(FindError, match="never comes up"):
        list(clouds(PLAN.model_copy(update={"lander": heavy}), [SPLASH + timedelta(hours=9)], 1))
