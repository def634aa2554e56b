"""Sensors: what the controller reads of the world, with noise, lag, resolution, range and saturation.

Each sensor has its own dice. Faults are attributes that the caller sets; a reading is an integer in the units of
`lander.signals` with its validity beside it.
"""

from math import exp

SPIKES_BORNE = 100  # in a thousand: the middle one of three readings is then a spike once in 36 readings
RISE_LEAST_MBAR_H = 18000.0  # five centimetres a second: what a slower change is taken for is creep, not a rise
LAG_SETTLED = 20.0  # time constants after which the lag is over


class PressureSensor:
    """Absolute pressure. At the end of its range the reading stands still: saturated, and still valid."""

    __slots__ = ("full_mbar", "resolution_mbar", "noise_mbar", "lag_s", "dice", "felt_mbar", "read_s", "absent",
                 "frozen", "offset_mbar", "extra_noise_mbar", "spikes", "creeps", "warmths", "last_mbar")

    def __init__(self, sensor, full_mbar: int, dice, start_mbar: float) -> None:
        self.full_mbar = full_mbar
        self.resolution_mbar = max(1, int(sensor.resolution_mbar))
        self.noise_mbar = int(sensor.noise_mbar)
        self.lag_s = sensor.lag_s
        self.dice = dice
        self.felt_mbar = start_mbar
        self.read_s = 0.0
        self.absent = False
        self.frozen = False
        self.offset_mbar = getattr(sensor, "offset_mbar", 0.0)  # the second board's has none in the plan
        self.extra_noise_mbar = 0
        self.spikes = 0  # in a thousand readings
        self.creeps: tuple[tuple[float, float], ...] = ()  # since when, mbar an hour
        self.warmths: tuple[tuple[float, float], ...] = ()  # right at this temperature, mbar a degree off it
        self.last_mbar = int(start_mbar)

    def is_steady(self, within_mbar: float) -> bool:
        """Whether it follows the depth, and a change of it can be told from its own noise."""
        return not self.frozen and self.extra_noise_mbar <= within_mbar and self.spikes <= SPIKES_BORNE

    def feigns_rise(self) -> bool:
        """Whether it creeps upwards so fast that nothing tells it from a lander that comes up."""
        return bool(self.creeps) and sum(mbar_h for _from_s, mbar_h in self.creeps) < -RISE_LEAST_MBAR_H

    def read(self, true_mbar: float, now_s: float, outside_c: float = 0.0) -> int:
        """The reading in mbar; call only when not `absent`. `outside_c` matters only where `warmths` has something."""
        if self.frozen:
            return self.last_mbar
        gone = (now_s - self.read_s) / self.lag_s if self.lag_s > 0.0 else LAG_SETTLED
        self.felt_mbar = (true_mbar if gone >= LAG_SETTLED
                          else true_mbar + (self.felt_mbar - true_mbar) * exp(-gone))
        self.read_s = now_s
        value = self.felt_mbar + self.offset_mbar + self.dice.spread(self.noise_mbar + self.extra_noise_mbar)
        for from_s, mbar_h in self.creeps:
            value += mbar_h * (now_s - from_s) / 3600.0
        for right_c, mbar_k in self.warmths:
            value += mbar_k * (outside_c - right_c)
        if self.spikes and self.dice.chance(self.spikes, 1000):
            value = self.dice.between(0.0, self.full_mbar)
        if value > self.full_mbar:
            value = self.full_mbar
        self.last_mbar = int(value) // self.resolution_mbar * self.resolution_mbar if value > 0.0 else 0
        return self.last_mbar


class SupplySensor:
    """Battery voltage and current at the controller."""

    __slots__ = ("step_mv", "noise_mv", "step_ma", "noise_ma", "dice", "absent", "current_absent", "release_absent",
                 "voltage_factor", "current_factor")

    def __init__(self, sensor, dice) -> None:
        self.step_mv = max(1, int(sensor.resolution_mv))
        self.noise_mv = int(sensor.noise_mv)
        self.step_ma = max(1, int(sensor.resolution_ma))
        self.noise_ma = int(sensor.noise_ma)
        self.dice = dice
        self.absent = False
        self.current_absent = False
        self.release_absent = False
        self.voltage_factor = 1.0
        self.current_factor = 1.0

    def voltage_mv(self, true_mv: float) -> int:
        value = int(true_mv * self.voltage_factor + self.dice.spread(self.noise_mv)) // self.step_mv * self.step_mv
        return value if value > 0 else 0

    def current_ma(self, true_ma: float) -> int:
        value = int(true_ma * self.current_factor + self.dice.spread(self.noise_ma)) // self.step_ma * self.step_ma
        return value if value > 0 else 0


class TemperatureSensor:
    """One temperature, with the lag of its own body."""

    __slots__ = ("step", "noise", "lag_s", "dice", "felt_c", "read_s", "absent", "offset_c")

    def __init__(self, sensor, dice, start_c: float) -> None:
        self.step = max(1, int(sensor.resolution_centi_c))
        self.noise = int(sensor.noise_centi_c)
        self.lag_s = sensor.lag_s
        self.dice = dice
        self.felt_c = start_c
        self.read_s = 0.0
        self.absent = False
        self.offset_c = 0.0

    def read(self, true_c: float, now_s: float) -> int:
        felt_c = self.felt_c
        gone = (now_s - self.read_s) / self.lag_s if self.lag_s > 0.0 else LAG_SETTLED
        if gone > 0.0:
            self.felt_c = felt_c = true_c if gone >= LAG_SETTLED else true_c + (felt_c - true_c) * exp(-gone)
        self.read_s = now_s
        step = self.step
        return (int((felt_c + self.offset_c) * 100.0) + self.dice.spread(self.noise)) // step * step


class RealTimeClock:
    """A clock on its own cell: it goes on through resets, drifts, and may be lost, set wrong or never set."""

    __slots__ = ("start_s", "rate", "jump_s", "ok", "never_set", "_ppm", "_drift_from_s", "_drifted_s")

    def __init__(self, clock, start_s: int) -> None:
        self.start_s = start_s
        self.rate = 1.0 + clock.drift_ppm * 1e-6
        self.jump_s = 0
        self.ok = bool(clock.set)
        self.never_set = getattr(clock, "never_set", False)  # no plan says so: it comes with the fault
        self._ppm = 0.0
        self._drift_from_s = 0.0
        self._drifted_s = 0.0

    def drift(self, now_s: float, ppm: float) -> None:
        """From now on it runs so many millionths faster than before; negative is slower."""
        self._drifted_s = self._drifted_by(now_s)
        self._drift_from_s = now_s
        self._ppm += ppm

    def read(self, now_s: float) -> int:
        """Seconds since 2020-01-01 UTC; a lost clock, and one never set, counts from its own beginning."""
        counted_s = now_s * self.rate + self._drifted_by(now_s)
        if not self.ok or self.never_set:
            return int(counted_s)
        return max(0, int(self.start_s + counted_s) + self.jump_s)

    def _drifted_by(self, now_s: float) -> float:
        return self._drifted_s + self._ppm * 1e-6 * (now_s - self._drift_from_s)
