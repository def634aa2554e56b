"""The odds against the literature of reliability and against SciPy.

IEC 61508-6:2010, annex B: the average probability of failure on demand (PFD) of one channel and of two of which one is
enough (1oo2), with the beta factor. Formula and the values of its table B.2 (proof test every six months, 4380 h; no
diagnosis, DC = 0; MTTR 8 h) are from memory. The intervals of Clopper and Pearson (1934) are held to SciPy's
`binomtest`, whose exact method is theirs; the number of events in a dive to a product of polynomials by NumPy.
"""

from functools import reduce
from math import expm1

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import binom, binomtest

from seatrial.odds.drawing import chances_together
from seatrial.odds.proportions import at_most, bounds
from seatrial.odds.rates import START, Common, Event, Failing, Part, Rates, events

STANDARD = "IEC 61508-6:2010, annex B, formula and table B.2 (from memory)"

TEST_H, REPAIR_H = 4380.0, 8.0
TABLE_B2 = (  # dangerous failures an hour, beta, PFD of 1oo2
    (0.5e-7, 0.02, 2.2e-6), (0.5e-7, 0.10, 1.1e-5), (0.5e-7, 0.20, 2.2e-5),
    (0.5e-5, 0.02, 3.7e-4), (0.5e-5, 0.10, 1.2e-3), (0.5e-5, 0.20, 2.3e-3),
)


def pfd_1oo2(rate: float, beta: float, test_h: float = TEST_H, repair_h: float = REPAIR_H) -> float:
    """IEC 61508-6 annex B for failures that only the proof test finds."""
    t_ce, t_ge = 0.5 * test_h + repair_h, test_h / 3.0 + repair_h
    return 2.0 * ((1.0 - beta) * rate) ** 2 * t_ce * t_ge + beta * rate * t_ce


def two_channels(rate: float, beta: float) -> Rates:
    parts = tuple(Part(name, None, rate, (Failing(("jammed",), 1.0),), START, "", "", False) for name in "AB")
    return Rates(parts, (Common("both", ("A", "B"), beta, "", False),) if beta else ())


def both_down(rate: float, beta: float, hours: float) -> float:
    """As the odds have it: both channels down after so many hours, alone or by one cause."""
    alone, other, *common = [one.chance for one in events(two_channels(rate, beta), hours)]
    return 1.0 - (1.0 - alone * other) * (1.0 - sum(common))


def averaged(rate: float, beta: float) -> float:
    """Over all moments between two proof tests, at which the demand may come."""
    return quad(lambda hours: both_down(rate, beta, hours), 0.0, TEST_H)[0] / TEST_H


@pytest.mark.published("memory", ids="9.5", source=STANDARD, tolerance="5 %")
@pytest.mark.parametrize(("rate", "beta", "printed"), TABLE_B2)
def test_the_formula_as_remembered_gives_the_printed_table(rate, beta, printed):
    # to two printed digits, of which the last may be one off
    assert pfd_1oo2(rate, beta) == pytest.approx(printed, rel=0.05)


@pytest.mark.published("memory", ids="9.5", source=STANDARD, tolerance="2.5 %, 6 %")
@pytest.mark.parametrize(("rate", "beta", "printed"), TABLE_B2)
def test_two_release_channels_with_a_common_cause_fail_as_often_as_iec_61508_says(rate, beta, printed):
    # The standard takes the failures as few (rate * time small, here up to 0.022) and adds 8 h of repair to 2190 h.
    assert averaged(rate, beta) == pytest.approx(pfd_1oo2(rate, beta), rel=0.025)
    assert averaged(rate, beta) == pytest.approx(printed, rel=0.06)


@pytest.mark.published(
    "worked", ids="9.6", tolerance="0.1 %",
    source="textbook: the mean of (rate t)^2 over the test interval is (rate T)^2 / 3")
def test_without_a_common_cause_two_channels_fail_as_the_square_says():
    assert averaged(1e-7, 0.0) == pytest.approx((1e-7 * TEST_H) ** 2 / 3.0, rel=1e-3)


@pytest.mark.published(
    "worked", ids="9.6", tolerance="1e-12",
    source="the beta-factor model moves failures, it makes none: 1 - exp(-rate t)")
def test_one_channel_fails_as_often_as_its_rate_says_whatever_it_shares():
    alone, _other, common = [one.chance for one in events(two_channels(1e-4, 0.3), 1000.0)]
    assert 1.0 - (1.0 - alone) * (1.0 - common) == pytest.approx(-expm1(-0.1), rel=1e-12)
    assert common == pytest.approx(-0.3 * expm1(-0.1), rel=1e-12)


@pytest.mark.published(
    "library", ids="9.1, 9.3", tolerance="1e-6",
    source="SciPy, binomtest, the exact method of Clopper and Pearson, Biometrika 26, 1934")
@given(st.integers(1, 3000).flatmap(lambda trials: st.tuples(st.integers(0, trials), st.just(trials))),
       st.sampled_from([0.05, 0.01, 0.2]))
def test_bounds_are_those_of_clopper_and_pearson(counted, doubt):
    hits, trials = counted
    exact = binomtest(hits, trials).proportion_ci(1.0 - doubt, "exact")
    assert bounds(hits, trials, doubt) == pytest.approx((exact.low, exact.high), rel=1e-6, abs=1e-9)


@pytest.mark.published(
    "printed", ids="9.3", tolerance="6e-5",
    source="Newcombe, Statistics in Medicine 17 (1998) 857, table I, the exact method; two-sided, 95 %")
@pytest.mark.parametrize(("hits", "trials", "low", "high"), [
    (81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684), (1, 29, 0.0009, 0.1776)])
def test_bounds_are_those_of_a_printed_comparison_of_methods(hits, trials, low, high):
    assert bounds(hits, trials, 0.05) == pytest.approx((low, high), abs=6e-5)


@pytest.mark.published(
    "printed", ids="9.1", tolerance="5e-5",
    source="Clopper and Pearson 1934, 1 - 0.05^(1/n); the 59 of 95/95 in the NIST/SEMATECH handbook; one-sided, 95 %")
@pytest.mark.parametrize(("trials", "highest"), [
    (10, 0.2589), (29, 0.0981), (30, 0.0950), (59, 0.0495), (100, 0.0295), (300, 0.00994)])
def test_so_many_dives_without_a_loss_leave_the_published_chance(trials, highest):
    assert bounds(0, trials, 0.10)[1] == pytest.approx(highest, abs=5e-5)


@pytest.mark.published("library", source="SciPy, binom.cdf", tolerance="1e-8")
@given(st.integers(1, 2000), st.integers(-1, 2001), st.floats(0.0, 1.0))
def test_the_binomial_chance_of_at_most_so_many_is_that_of_scipy(trials, hits, share):
    assert at_most(hits, trials, share) == pytest.approx(float(binom.cdf(hits, trials, share)), rel=1e-8, abs=1e-10)


@pytest.mark.published(
    "printed", ids="9.2", tolerance="1 %",
    source="the rule of three: Hanley and Lippman-Hand, JAMA 249, 1983")
def test_no_hit_in_so_many_trials_leaves_about_three_in_so_many():
    assert bounds(0, 1000, 0.10)[1] == pytest.approx(3.0 / 1000, rel=0.01)
    assert bounds(0, 0, 0.10) == (0.0, 1.0)  # nothing tried, all believable


@pytest.mark.published("library", source="NumPy, the product of polynomials", tolerance="1e-12")
@given(st.lists(st.floats(0.0, 0.5), max_size=12))
def test_the_number_of_events_in_a_dive_follows_the_product_of_polynomials(chances):
    parts = [Event(str(place), (), chance) for place, chance in enumerate(chances)]
    wanted = reduce(numpy.convolve, [[1.0 - chance, chance] for chance in chances], numpy.array([1.0]))
    assert chances_together(parts, len(chances)) == pytest.approx(list(wanted), abs=1e-12)
