"""The test of a housing in a pressure chamber: what to raise, how fast, how long to hold, when to look for water.

Factors and holds, with what stands behind them:
- Hull: 1.25 times the working pressure, two cycles (ABS Underwater Vehicles, Systems and Hyperbaric Facilities 3.3.1);
  the older rules of Germanischer Lloyd ask for more in shallow water, 1.7 at 50 m and 1.4 at 100 m. Both second-hand,
  as quoted on a mailing list. They are written for crewed craft; for a housing without people there is no rule, they
  are the best there is to borrow. ISO 21173:2019 describes the method of such a test.
- Window: held at 1.0 times its design pressure for one to four hours, and never taken above 1.5 times it or 138 MPa
  (Lloyd's Register rules citing ASME PVHO-1). Not 1.25 times: that is the hull's.
- The rates, the short holds on the way and the looks for water: common practice, no source.
"""

import math
from dataclasses import dataclass

from seatrial.handbook.convection import ATMOSPHERE_PA

HULL_PROOF_FACTOR = 1.25
HULL_CYCLES = 2
SHALLOW_FACTORS = ((0.5, 1.7), (1.0, 1.4))  # MPa near 50 m and 100 m, factor (Germanischer Lloyd, second-hand)
WINDOW_TEST_FACTOR = 1.0
WINDOW_CAP_FACTOR = 1.5
WINDOW_CAP_MPA = 138.0
WINDOW_HOLD_MIN = (60.0, 240.0)

# Common practice, no source: slow enough to stop at the first bubble, and no faster than a brisk descent (1.7 m/s).
RATE_MPA_PER_MIN = 1.0
FIRST_MPA = 0.1  # where a seal that has not seated leaks, near 10 m
FIRST_PART = 0.2  # of the working pressure, if that is less than `FIRST_MPA`
SHORT_HOLD_MIN = 10.0
LOOK_MIN = 15.0  # out, dried, looked into and weighed

CAUTION = (
    "A handbook check and a chamber test certify nothing: they show one housing, once, in one chamber.",
    "A housing fails in a chamber without warning and with the force of all that is pressed in around it: stand clear, "
    "never lean over the closure, and follow the rules of the chamber's operator above anything written here.",
    "Press with water only, never with air or any gas, and bleed the air out of the chamber before the pressure rises.",
    "Take lithium packs out before the test, unless the operator knows of them and agrees; fill the room they leave "
    "with something solid, so that a failure has less to crush.",
    "A housing that leaked may hold water and pressure: let it stand vented, keep faces and hands off its caps, and "
    "open it by its relief first.",
)


@dataclass(frozen=True)
class Step:
    """One step of the test: go from one gauge pressure to another, then hold.

    `time_min` counts from the start of the test to the start of the step; the way to `to_mpa` is part of the step.
    `is_alone`: a window in a test flange, without the housing.
    """

    time_min: float
    from_mpa: float
    to_mpa: float
    hold_min: float
    words: str
    is_alone: bool = False

    @property
    def ramp_min(self) -> float:
        """Minutes on the way from one pressure to the other, at `RATE_MPA_PER_MIN`."""
        return abs(self.to_mpa - self.from_mpa) / RATE_MPA_PER_MIN

    @property
    def end_min(self) -> float:
        """Minutes from the start of the test to the end of the hold."""
        return self.time_min + self.ramp_min + self.hold_min


class _Sheet:
    """The steps as they are written, each from where the last one ended."""

    def __init__(self) -> None:
        self.steps: list[Step] = []

    def add(self, to_mpa: float, hold_min: float, words: str, is_alone: bool = False) -> None:
        last = self.steps[-1] if self.steps else Step(0.0, 0.0, 0.0, 0.0, "")
        self.steps.append(Step(last.end_min, last.to_mpa, to_mpa, hold_min, words, is_alone))


def window_cap_mpa(window_design_mpa: float) -> float:
    """The pressure a window must never see in a test: 1.5 times its design, at most 138 MPa (see the module)."""
    return min(WINDOW_CAP_FACTOR * window_design_mpa, WINDOW_CAP_MPA)


def protocol(
    working_mpa: float, proof_factor: float, cycles: int, hold_min: float, window_design_mpa: float | None = None
) -> list[Step]:
    """The steps of a chamber test, all pressures gauge.

    First a low pressure for seals that have not seated and a look inside; then in stages to the proof pressure, and as
    often again as `cycles` says, with a look for water after each. A window is held at its own design pressure: on the
    way up if the proof reaches that far, alone in a test flange if not, since the hull must not go above its proof.

    Raises ValueError for impossible numbers, for a working pressure above the window's design, and for a proof that
    would take the window above its cap.
    """
    _check_numbers(working_mpa, proof_factor, cycles, hold_min)
    if window_design_mpa is not None:
        _check_window(working_mpa, proof_factor, window_design_mpa)
    proof_mpa = proof_factor * working_mpa
    sheet = _Sheet()
    _first_look(sheet, working_mpa)
    for cycle in range(1, cycles + 1):
        if cycle == 1:
            _stages(sheet, working_mpa)
            _window_on_the_way(sheet, proof_mpa, hold_min, window_design_mpa)
        sheet.add(proof_mpa, hold_min, _proof_words(cycle, cycles, proof_factor, proof_mpa, window_design_mpa))
        sheet.add(0.0, LOOK_MIN, "Leak check %d of %d: vent, take it out, dry it, look for water and cracks, weigh it "
                                 "again." % (cycle, cycles))
    if window_design_mpa is not None and window_design_mpa > proof_mpa:
        _window_alone(sheet, proof_mpa, hold_min, window_design_mpa)
    return sheet.steps


def advice(working_mpa: float, proof_factor: float, cycles: int) -> tuple[str, ...]:
    """Where a test asks less of the hull than the rules for crewed craft do; empty if nowhere.

    Raises ValueError for impossible numbers.
    """
    _check_numbers(working_mpa, proof_factor, cycles, 1.0)
    said = []
    wanted = _wanted_factor(working_mpa)
    if proof_factor < wanted:
        said.append("The proof factor %.2f is below the %.2f that rules for crewed craft ask of a hull at %.2f MPa; an "
                    "uncrewed housing may be tested with less, but then less is known." % (
                        proof_factor, wanted, working_mpa))
    if cycles < HULL_CYCLES:
        said.append("One cycle does not show how a seal sits when it is pressed again; rules for crewed craft ask for "
                    "%d."
                    % HULL_CYCLES)
    return tuple(said)


def _wanted_factor(working_mpa: float) -> float:
    """The larger of the two rules; between the two depths of the table on a straight line, beyond it 1.25."""
    (shallow_mpa, most), (deep_mpa, least) = SHALLOW_FACTORS
    if working_mpa > deep_mpa:
        return HULL_PROOF_FACTOR
    share = (max(working_mpa, shallow_mpa) - shallow_mpa) / (deep_mpa - shallow_mpa)
    return most + share * (least - most)


def _first_look(sheet: _Sheet, working_mpa: float) -> None:
    first_mpa = min(FIRST_MPA, FIRST_PART * working_mpa)
    sheet.add(first_mpa, SHORT_HOLD_MIN,
              "Low-pressure leak check: closed, weighed and bled of air; look for bubbles and a gauge that falls.")
    sheet.add(0.0, LOOK_MIN, "Vent, take it out, dry it, look for water; go on only if it is dry and weighs the same.")


def _stages(sheet: _Sheet, working_mpa: float) -> None:
    sheet.add(0.5 * working_mpa, SHORT_HOLD_MIN, "Half the working pressure: hold, watch the gauge, listen.")
    sheet.add(working_mpa, SHORT_HOLD_MIN,
              "Working pressure: hold; a gauge that falls at a steady temperature is a leak.")


def _window_hold_min(hold_min: float) -> float:
    shortest, longest = WINDOW_HOLD_MIN
    return min(max(hold_min, shortest), longest)


def _window_on_the_way(sheet: _Sheet, proof_mpa: float, hold_min: float, window_design_mpa: float | None) -> None:
    if window_design_mpa is None or window_design_mpa > proof_mpa:
        return
    sheet.add(WINDOW_TEST_FACTOR * window_design_mpa, _window_hold_min(hold_min),
              "Window test: %.1f x its design pressure of %.2f MPa, held one to four hours." % (
                  WINDOW_TEST_FACTOR, window_design_mpa))


def _window_alone(sheet: _Sheet, proof_mpa: float, hold_min: float, window_design_mpa: float) -> None:
    sheet.add(WINDOW_TEST_FACTOR * window_design_mpa, _window_hold_min(hold_min),
              "Window alone in a test flange, not on the housing (proof only %.2f MPa): %.1f x its design pressure of "
              "%.2f MPa, held one to four hours." % (proof_mpa, WINDOW_TEST_FACTOR, window_design_mpa), is_alone=True)
    sheet.add(0.0, LOOK_MIN, "Vent, take the window out, look for crazing and cracks at the seat.", is_alone=True)


def _proof_words(
    cycle: int, cycles: int, proof_factor: float, proof_mpa: float, window_design_mpa: float | None
) -> str:
    words = "Proof %d of %d: hull at %.2f x working pressure" % (cycle, cycles, proof_factor)
    if window_design_mpa is not None:
        words += ", window at %.2f x its design (never above %.2f MPa)" % (
            proof_mpa / window_design_mpa, window_cap_mpa(window_design_mpa))
    return words + "; stand clear, hold, watch the gauge."


def _check_numbers(working_mpa: float, proof_factor: float, cycles: int, hold_min: float) -> None:
    for name, value in (("working_mpa", working_mpa), ("hold_min", hold_min)):
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError("%s is %g; it must be a number above 0." % (name, value))
    if not (math.isfinite(proof_factor) and proof_factor >= 1.0):
        raise ValueError("proof_factor is %g; it must be 1 or more, since less proves nothing about the working "
                         "pressure." % proof_factor)
    if not isinstance(cycles, int) or cycles < 1:
        raise ValueError("cycles is %s; it must be a whole number from 1." % cycles)


def _check_window(working_mpa: float, proof_factor: float, window_design_mpa: float) -> None:
    if not (math.isfinite(window_design_mpa) and window_design_mpa > 0.0):
        raise ValueError("window_design_mpa is %g; it must be a number above 0." % window_design_mpa)
    if window_design_mpa > WINDOW_CAP_MPA:
        raise ValueError("window_design_mpa is %g; no window is tested above %g MPa, so give its design pressure in "
                         "MPa, at most that." % (window_design_mpa, WINDOW_CAP_MPA))
    if working_mpa > window_design_mpa:
        raise ValueError("The window is designed for %.2f MPa and the working pressure is %.2f MPa; dive less deep or "
                         "fit a window designed for %.2f MPa or more." % (window_design_mpa, working_mpa, working_mpa))
    proof_mpa, cap_mpa = proof_factor * working_mpa, window_cap_mpa(window_design_mpa)
    # A hair of room, so that the factor this very sentence offers is not refused for the last digit.
    if proof_mpa > cap_mpa * (1.0 + 1e-9):
        most = math.floor(100.0 * cap_mpa / working_mpa) / 100.0
        raise ValueError("proof_factor is %.2f: it would take the window to %.2f MPa, and %.2f MPa is the most it may "
                         "see (1.5 x its design of %.2f MPa, at most 138); take a factor of at most %.2f, or test the "
                         "hull with a blank in place of the window." % (
                             proof_factor, proof_mpa, cap_mpa, window_design_mpa, most))


# --- what the pressure holds ------------------------------------------------------------------------------------------


def cap_load_n(gauge_mpa: float, diameter_mm: float) -> float:
    """Force on a round cap in N: pressure times area."""
    return gauge_mpa * 1.0e6 * math.pi / 4.0 * (diameter_mm / 1000.0) ** 2


def gas_work_j(gauge_mpa: float, volume_l: float) -> float:
    """The most that gas of this pressure and volume can do as it comes down to the pressure of the air, in J.

    p V ln(p / p of the air), p absolute: an ideal gas that keeps its temperature.
    """
    absolute_pa = gauge_mpa * 1.0e6 + ATMOSPHERE_PA
    return absolute_pa * volume_l / 1000.0 * math.log(absolute_pa / ATMOSPHERE_PA)
