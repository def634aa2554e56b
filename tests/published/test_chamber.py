"""The chamber test against the rules it borrows from. The rules are for crewed craft; there is none for a lander."""

import pytest

from seatrial.handbook import chamber
from seatrial.handbook.chamber import advice, protocol


@pytest.mark.published(
    "printed", ids="11.10", tolerance="exact",
    source="Lloyd's Register rules citing ASME PVHO-1: windows are tested at the design pressure, one to four hours."
           ' "1.25 times for windows" is said here and there, and could not be confirmed')
def test_a_window_is_held_at_its_design_pressure_and_not_at_one_and_a_quarter_times_it():
    tests = [step for step in protocol(5.0, 1.25, 2, 60.0, 5.0) if "Window" in step.words]
    assert [step.to_mpa for step in tests] == [5.0]
    assert "1.0 x its design pressure" in tests[0].words


@pytest.mark.published("printed", ids="11.10", source="Lloyd's Register rules citing ASME PVHO-1", tolerance="exact")
@pytest.mark.parametrize(("asked_min", "held_min"), [(10.0, 60.0), (90.0, 90.0), (600.0, 240.0)])
def test_a_window_is_held_at_least_one_hour_and_at_most_four(asked_min, held_min):
    tests = [step for step in protocol(5.0, 1.25, 2, asked_min, 5.0) if "Window" in step.words]
    assert [step.hold_min for step in tests] == [held_min]


@pytest.mark.published(
    "printed", ids="11.10", tolerance="exact",
    source="Lloyd's Register rules citing ASME PVHO-1: never above 1.5 times the design pressure")
def test_a_proof_that_takes_a_window_above_one_and_a_half_times_its_design_is_refused():
    assert protocol(4.0, 1.5, 2, 60.0, 4.0)
    with pytest.raises(ValueError, match="at most 1.50"):
        protocol(4.0, 1.51, 2, 60.0, 4.0)


@pytest.mark.published(
    "printed", ids="11.10", tolerance="exact",
    source="Lloyd's Register rules citing ASME PVHO-1: or 138 MPa (20 000 psi)")
def test_no_window_is_taken_above_138_mpa_whatever_its_design():
    assert chamber.window_cap_mpa(100.0) == 138.0
    assert chamber.window_cap_mpa(80.0) == pytest.approx(120.0)
    with pytest.raises(ValueError, match="138.00 MPa is the most"):
        protocol(100.0, 1.4, 2, 60.0, 100.0)


@pytest.mark.published(
    "printed", ids="11.11", tolerance="exact",
    source="ABS Underwater Vehicles, Systems and Hyperbaric Facilities 3.3.1, second-hand as quoted on a mailing "
           "list")
def test_a_hull_is_proven_at_one_and_a_quarter_times_its_pressure_in_two_cycles():
    assert advice(5.0, 1.25, 2) == ()
    assert "below the 1.25" in advice(5.0, 1.24, 2)[0]
    assert "ask for 2" in advice(5.0, 1.25, 1)[0]


@pytest.mark.published(
    "printed", ids="11.11", tolerance="exact",
    source="Germanischer Lloyd: 1.7 at 50 m, 1.4 at 100 m, second-hand as quoted on a mailing list")
@pytest.mark.parametrize(("working_mpa", "factor"), [(0.5, 1.7), (1.0, 1.4)])
def test_shallow_hulls_are_proven_harder(working_mpa, factor):
    assert advice(working_mpa, factor, 2) == ()
    assert "below the %.2f" % factor in advice(working_mpa, factor - 0.01, 2)[0]
