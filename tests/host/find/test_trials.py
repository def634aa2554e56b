"""Those who follow the advice find the lander as often as it says: a thousand searches a case, each tossed for by itself,
and ten thousand in the long run, as `python -m tumblehome.find.trials` does.
"""

import pytest

from tumblehome.find import trials

CASES = trials.cases(particles=20_000)


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_the_share_of_searches_that_find_it_is_what_was_told(case):
    outcome = trials.tried(case, landers=1000, drawn_from=40_000)
    low, high = outcome.limits
    assert low <= outcome.told <= high, outcome


@pytest.mark.long
@pytest.mark.parametrize("case", trials.cases(), ids=[case.name for case in CASES])
def test_the_share_of_ten_thousand_searches_that_find_it_is_what_was_told(case):
    outcome = trials.tried(case)
    low, high = outcome.limits
    assert outcome.searches == 10_000 and low <= outcome.told <= high, outcome


def test_a_chance_that_is_told_too_high_or_too_low_does_not_pass():
    for told, holds in ((0.70, True), (0.60, False), (0.80, False)):
        assert trials.Outcome("made up", told, 700, 1000).holds is holds
