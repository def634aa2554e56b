"""Sensors: what the controller reads of the world, with noise, lag, resolution, range and saturation.

Each sensor has its own dice. Faults are attributes that the caller sets; a reading is an integer in the units of
`lander.signals` with its validity beside it.
"""

from math import exp

LAG_SETTLED = 20.0  # time constants after which the lag is over


class PressureSensor:
    """Absolute pressure. At the end of its range the reading stands still: saturated, and still valid."""

    __slots__ = ("full_mbar", "resolution_mbar", "noise_mbar", "lag_s", "dice", "felt_mbar", "read_s", "absent",
                 "frozen", "offset_mbar", "extra_noise_mbar", "spikes", "creep_mbar_h", "creep_from_s", "last_mbar")

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
        self.offset_mbar = 0.0
        self.extra_noise_mbar = 0
        self.spikes = 0  # in a thousand readings
        self.creep_mbar_h = 0.0
        self.creep_from_s = 0.0
        self.last_mbar = int(start_mbar)

    def read(self, true_mbar: float, now_s: float) -> int:
        """The reading in mbar; call only when not `absent`."""
        if self.frozen:
            return self.last_mbar
        gone = (now_s - self.read_s) / self.lag_s if self.lag_s > 0.0 else LAG_SETTLED
        self.felt_mbar = (true_mbar if gone >= LAG_SETTLED
                          else true_mbar + (self.felt_mbar - true_mbar) * exp(-gone))
        self.read_s = now_s
        value = self.felt_mbar + self.offset_mbar + self.dice.spread(self.noise_mbar + self.extra_noise_mbar)
        if self.creep_mbar_h:
            value += self.creep_mbar_h * (now_s - self.creep_from_s) / 3600.0
        if self.spikes and self.dice.chance(self.spikes, 1000):
            value = self.dice.between(0.0, self.full_mbar)
        if value > self.full_mbar:
            value = self.full_mbar
        self.last_mbar = int(value) // self.resolution_mbar * self.resolution_mbar if value > 0.0 else 0
        return self.last_mbar


class SupplySensor:
    """Battery voltage and current at the controller."""

    __slots__ = ("step_mv", "noise_mv", "step_ma", "noise_ma", "dice", "absent", "voltage_factor", "current_factor")

    def __init__(self, sensor, dice) -> None:
        self.step_mv = max(1, int(sensor.resolution_mv))
        self.noise_mv = int(sensor.noise_mv)
        self.step_ma = max(1, int(sensor.resolution_ma))
        self.noise_ma = int(sensor.noise_ma)
        self.dice = dice
        self.absent = False
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

    __slots__ = ("step", "noise", "lag_s", "dice", "felt_c", "read_s", "absent")

    def __init__(self, sensor, dice, start_c: float) -> None:
        self.step = max(1, int(sensor.resolution_centi_c))
        self.noise = int(sensor.noise_centi_c)
        self.lag_s = sensor.lag_s
        self.dice = dice
        self.felt_c = start_c
        self.read_s = 0.0
        self.absent = False

    def read(self, true_c: float, now_s: float) -> int:
        gone = (now_s - self.read_s) / self.lag_s if self.lag_s > 0.0 else LAG_SETTLED
        if gone > 0.0:
            self.felt_c = true_c if gone >= LAG_SETTLED else true_c + (self.felt_c - true_c) * exp(-gone)
        self.read_s = now_s
        return (int(self.felt_c * 100.0) + self.dice.spread(self.noise)) // self.step * self.step


class RealTimeClock:
    """A clock on its own cell: it goes on through resets, drifts, and may be lost or set wrong."""

    __slots__ = ("start_s", "rate", "jump_s", "ok")

    def __init__(self, clock, start_s: int) -> None:
        self.start_s = start_s
        self.rate = 1.0 + clock.drift_ppm * 1e-6
        self.jump_s = 0
        self.ok = bool(clock.set)

    def read(self, now_s: float) -> int:
        """Seconds since 2020-01-01 UTC; a lost clock starts again at its own beginning."""
        return max(0, int(self.start_s + now_s * self.rate) + self.jump_s) if self.ok else int(now_s)
