"""The main pack: lithium-ion cells in series behind one internal resistance that grows in the cold.

Voltage under load is the open-circuit voltage less current times resistance. The charge that can be had shrinks in
the cold and with age. Slow effects (recovery after a load, self-heating, self-discharge) are left out.
"""

from seatrial.bare import bare

SECONDS_PER_HOUR = 3600.0
_MA_S_PER_AH = 1000.0 * SECONDS_PER_HOUR
WARM_C = 20.0  # the plan's resistance and capacity are those at this temperature
COLDEST_CAPACITY_FRACTION = 0.3

# Open-circuit voltage of one cell by the fraction of charge left: a usual lithium-ion cell with a nickel-rich
# cathode and a graphite anode. The shape is from memory, no source. Its ends follow the makers' summaries of 18650
# cells, 4.20 V charged and 2.75 V at the end of discharge (open circuit stands a little higher than that). Below
# nothing left the voltage collapses; that slope is our own choice.
FLAT = -0.01  # charge left, as a fraction, where the voltage is gone
CELL_MV = (
    # left   mV
    (FLAT, 0.0),
    (0.00, 2900.0),
    (0.02, 3180.0),
    (0.05, 3360.0),
    (0.10, 3470.0),
    (0.20, 3560.0),
    (0.30, 3610.0),
    (0.40, 3650.0),
    (0.50, 3700.0),
    (0.60, 3780.0),
    (0.70, 3870.0),
    (0.80, 3970.0),
    (0.90, 4080.0),
    (1.00, 4200.0),
)
FULL_CELL_MV = CELL_MV[-1][1]
_STEPS = 1000  # of the even table that is read in the loop; every row above stands on a step


def _even_table() -> list[float]:
    table = []
    row = 1
    for step in range(_STEPS + 1):
        left = step / _STEPS
        while left > CELL_MV[row + 1][0]:
            row += 1
        table.append(_between(left, row))
    return table


def _between(left: float, row: int) -> float:
    (low, low_mv), (high, high_mv) = CELL_MV[row], CELL_MV[row + 1]
    return low_mv + (left - low) / (high - low) * (high_mv - low_mv)


_EVEN_CELL_MV = _even_table()


def capacity_fraction(power, temperature_c: float) -> float:
    """Share of the warm capacity that can be had at a temperature; `power` is the section of the plan.

    A straight line from 1 at 20 degC through the plan's value at 0 degC, never above 1 nor below
    `COLDEST_CAPACITY_FRACTION`. The form is our own choice.
    """
    return max(COLDEST_CAPACITY_FRACTION, 1.0 - _cold(temperature_c) * (1.0 - power.capacity_fraction_at_0_c))


def resistance_factor(power, temperature_c: float) -> float:
    """How many times its warm value the resistance is at a temperature; `power` is the section of the plan.

    1 from 20 degC up; below, exponential through the plan's value at 0 degC. The form is our own choice.
    """
    return power.resistance_factor_at_0_c ** _cold(temperature_c)


def usable_ah(power, temperature_c: float) -> float:
    """Charge that the full pack gives at its age and at a temperature, Ah; `power` is the section of the plan."""
    return power.capacity_ah * power.health_fraction * capacity_fraction(power, temperature_c)


def _cold(temperature_c: float) -> float:
    """How cold it is: 0 from 20 degC up, 1 at 0 degC."""
    return (WARM_C - temperature_c) / WARM_C if temperature_c < WARM_C else 0.0


class Battery:
    """The pack of one lander, as state that the caller may read and set.

    `used_ah` is the charge drawn since the start of the dive, which begins at `charge_at_start_fraction`. For
    faults: `extra_mohm` (loose connector), `cells_gone` (cells that have failed short: their voltage is missing,
    their charge is not), `connected`, `capacity_factor` (aged pack, 1 is fresh).
    """

    __slots__ = (
        "_cells",
        "_cold_c",
        "_cold_mohm",
        "_cold_usable_ah",
        "_power",
        "_start_fraction",
        "capacity_factor",
        "cells_gone",
        "connected",
        "extra_mohm",
        "used_ah",
    )

    def __init__(self, power) -> None:
        self._power = bare(power)
        self._cells = int(power.cells_in_series)
        self._start_fraction = float(power.charge_at_start_fraction)
        self.used_ah = 0.0
        self.extra_mohm = 0.0
        self.cells_gone = 0
        self.connected = True
        self.capacity_factor = 1.0
        self._chill(WARM_C)

    def open_circuit_mv(self, temperature_c: float) -> float:
        """Voltage of the pack itself with nothing drawn, mV, connected or not."""
        cells = self._cells - self.cells_gone
        if cells <= 0:
            return 0.0
        return cells * _cell_mv(self._charge_left(temperature_c))

    def resistance_mohm(self, temperature_c: float) -> float:
        """Internal resistance, mohm, that of a loose connector included."""
        if temperature_c != self._cold_c:
            self._chill(temperature_c)
        return self._cold_mohm + self.extra_mohm

    def supply_mv(self, load_ma: float, temperature_c: float) -> float:
        """Voltage at the lander's end of the leads under this load, mV; never below 0."""
        cells = self._cells - self.cells_gone
        if not self.connected or cells <= 0:
            return 0.0
        if temperature_c != self._cold_c:
            self._chill(temperature_c)
        left = self._start_fraction - self.used_ah / (self._cold_usable_ah * self.capacity_factor)
        supply_mv = cells * _cell_mv(left) - load_ma * (self._cold_mohm + self.extra_mohm) / 1000.0
        return supply_mv if supply_mv > 0.0 else 0.0

    def draw(self, load_ma: float, dt_s: float, temperature_c: float) -> None:
        """Take `load_ma` for `dt_s` seconds. A pack that is empty, gone or not connected gives nothing."""
        if not self.connected or self.cells_gone >= self._cells:
            return
        if temperature_c != self._cold_c:
            self._chill(temperature_c)
        usable_ah = self._cold_usable_ah * self.capacity_factor
        spare_ah = (self._start_fraction - self.used_ah / usable_ah - FLAT) * usable_ah
        if spare_ah > 0.0:
            drawn_ah = load_ma * dt_s / _MA_S_PER_AH
            self.used_ah += drawn_ah if drawn_ah < spare_ah else spare_ah

    def left_fraction(self, temperature_c: float) -> float:
        """Charge that can still be had at this temperature, as a fraction of what the full pack gives there; 0..1."""
        return max(0.0, self._charge_left(temperature_c))

    def _charge_left(self, temperature_c: float) -> float:
        if temperature_c != self._cold_c:
            self._chill(temperature_c)
        return self._start_fraction - self.used_ah / (self._cold_usable_ah * self.capacity_factor)

    def _chill(self, temperature_c: float) -> None:
        """Work out what this temperature does; kept until the temperature changes."""
        power = self._power
        self._cold_c = temperature_c
        self._cold_mohm = power.resistance_mohm * resistance_factor(power, temperature_c)
        self._cold_usable_ah = usable_ah(power, temperature_c)


def _cell_mv(left: float) -> float:
    if left >= 1.0:
        return _EVEN_CELL_MV[_STEPS]
    if left >= 0.0:
        place = left * _STEPS
        step = int(place)
        low_mv = _EVEN_CELL_MV[step]
        return low_mv + (place - step) * (_EVEN_CELL_MV[step + 1] - low_mv)
    if left > FLAT:
        return _between(left, 0)
    return 0.0
