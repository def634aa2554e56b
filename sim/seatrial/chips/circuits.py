"""Plain circuits behind the pins of a board: PWM outputs, a converter, and what hangs on them.

Each circuit owns the pins, PWMs and converters that a driver is given, and works out its voltages by Ohm's law from
the levels that they have at the moment. What a test or the simulator sets are attributes in their units; time is
`now_s` where a circuit needs it, and `advance(seconds)` where work is done.

Every line may fail: `Line.dead` on a pin, a PWM or a converter raises OSError, as an input and output expander on a
bus does.
"""

from collections.abc import Callable
from errno import EIO
from math import inf

FULL_SCALE = 65535
LOGIC_MV = 3300.0  # supply of the pins and reference of the converters


class Line:
    """What pins, PWMs and converters share: `dead` fails every use, `fail_next` so many; `uses` counts."""

    def __init__(self) -> None:
        self.dead = False
        self.fail_next = 0
        self.uses = 0

    def _use(self) -> None:
        self.uses += 1
        if self.dead or self.fail_next:
            self.fail_next = max(0, self.fail_next - 1)
            raise OSError(EIO)


class Pin(Line):
    """A pin, as `machine.Pin`: called with a level to drive it, without to read it.

    `reads` replaces what is read; `changed` is told each new level.
    """

    def __init__(self, level: int = 0, reads: Callable[[], int] | None = None,
                 changed: Callable[[int], None] | None = None) -> None:
        super().__init__()
        self.level = level
        self.reads = reads
        self.changed = changed

    def __call__(self, level: int | None = None) -> int | None:
        self._use()
        if level is None:
            return self.reads() if self.reads else self.level
        if level not in (0, 1):
            raise ValueError("level of a pin is %r; allowed is 0 or 1" % (level,))
        is_new = level != self.level
        self.level = level
        if is_new and self.changed:
            self.changed(level)
        return None


class PWM(Line):
    """A PWM, as `machine.PWM`: `duty` is the 16-bit duty it was given, at `frequency_hz`."""

    def __init__(self, frequency_hz: int = 1000) -> None:
        super().__init__()
        self.frequency_hz = frequency_hz
        self.duty = 0

    def duty_u16(self, duty: int | None = None) -> int | None:
        """Set the duty, or read it back."""
        self._use()
        if duty is None:
            return self.duty
        if not isinstance(duty, int) or not 0 <= duty <= FULL_SCALE:
            raise ValueError("duty is %r; allowed is 0 to %d" % (duty, FULL_SCALE))
        self.duty = duty
        return None

    @property
    def fraction(self) -> float:
        """Part of the time that the output is high."""
        return self.duty / FULL_SCALE

    @property
    def pulse_us(self) -> float:
        """Length of the pulse, us."""
        return 1e6 * self.fraction / self.frequency_hz


class Converter(Line):
    """An analogue input, as `machine.ADC`, of 12 bits widened to 16 as the bits repeat: 4095 reads 65535.

    `volts_mv` says what stands at the input. Faults: `stuck_counts` is read whatever stands there.
    """

    def __init__(self, volts_mv: Callable[[], float]) -> None:
        super().__init__()
        self.volts_mv = volts_mv
        self.stuck_counts: int | None = None

    def read_u16(self) -> int:
        """One conversion."""
        self._use()
        if self.stuck_counts is not None:
            return self.stuck_counts
        code = int(min(max(self.volts_mv() / LOGIC_MV, 0.0), 1.0) * 4095 + 0.5)
        return code << 4 | code >> 8


class BurnWireCircuit:
    """Supply, arm switch, fire switch, wire and return in series; a trickle into the wire beside the switches.

    `condition` is "sound", "open" (nothing flows) or "shorted" (wire touches return). `load_ohm` is what is between
    wire and return when sound, `cell_mv` the voltage that an electrolytic cell takes before it conducts (0 for a plug).
    `arm_welded` and `fire_welded` are switches that conduct whatever their pins say. `diode_mv` is what the trickle's
    diode takes. Worked out: `wire_ma`, the mean current; `charge_c`, summed up by `advance`.
    """

    def __init__(self, supply_mv: float = 14800.0, load_ohm: float = 14.8, cell_mv: float = 0.0,
                 sensed_full_ma: float = 3300.0, trickle_ohm: float = 330.0) -> None:
        self.supply_mv = supply_mv
        self.load_ohm = load_ohm
        self.cell_mv = cell_mv
        self.condition = "sound"
        self.diode_mv = 0.0
        self.arm_welded = False
        self.fire_welded = False
        self.charge_c = 0.0
        self._trickle_ohm = trickle_ohm
        self._sensed_full_ma = sensed_full_ma
        self.arm = Pin()
        self.fire = PWM()
        self.trickle = Pin()
        self.sense = Converter(lambda: LOGIC_MV * self.wire_ma / self._sensed_full_ma)
        self.node = Converter(self._node_mv)

    @property
    def driven_fraction(self) -> float:
        """Part of the time that both switches conduct."""
        arm = 1.0 if self.arm_welded else float(self.arm.level)
        return arm * (1.0 if self.fire_welded else self.fire.fraction)

    @property
    def wire_ma(self) -> float:
        """Mean current through the wire, mA: fired and trickle together."""
        fired = self.driven_fraction
        return fired * self._through_ma(self.supply_mv, 0.05) + (1.0 - fired) * self._trickle_ma()

    def advance(self, seconds: float) -> None:
        """Let the current flow for so long."""
        self.charge_c += self.wire_ma * seconds / 1000.0

    def _through_ma(self, source_mv: float, source_ohm: float) -> float:
        if self.condition == "open":
            return 0.0
        if self.condition == "shorted":
            return source_mv / (source_ohm + 0.1)
        return max(0.0, source_mv - self.cell_mv) / (source_ohm + self.load_ohm)

    def _trickle_ma(self) -> float:
        return self._through_ma(LOGIC_MV - self.diode_mv, self._trickle_ohm) if self.trickle.level else 0.0

    def _node_mv(self) -> float:
        """Wire against return; the filter shows the mean, the clamp keeps it within the converter's range."""
        fired = self.driven_fraction
        driven = LOGIC_MV - self.diode_mv - self._trickle_ma() * self._trickle_ohm
        resting = driven if self.trickle.level else 0.0
        return fired * min(self.supply_mv, LOGIC_MV) + (1.0 - fired) * resting


class ProbeCircuit:
    """Two drives, a series resistor, the node, and two electrodes with an end resistor across them.

    `water_ohm` is what joins the electrodes (inf: dry). `broken` cuts the cable before the end resistor. `cell_mv` is a
    voltage of the electrodes themselves, as unlike metals or a polarisation have. Worked out: `current_ua` from a to b;
    `charge_uc`, what has passed one way less the other, and `moved_uc`, what has passed at all, summed by `advance`.
    """

    def __init__(self, series_ohm: float, end_ohm: float) -> None:
        self.series_ohm = series_ohm
        self.end_ohm = end_ohm
        self.water_ohm = inf
        self.broken = False
        self.cell_mv = 0.0
        self.charge_uc = 0.0
        self.moved_uc = 0.0
        self.drive_a = Pin()
        self.drive_b = Pin()
        self.node = Converter(self._node_mv)

    @property
    def probe_ohm(self) -> float:
        """End resistor and water in parallel; inf when the cable is broken."""
        return inf if self.broken else 1.0 / (1.0 / self.end_ohm + 1.0 / self.water_ohm)

    @property
    def current_ua(self) -> float:
        """Current through the electrodes, uA, positive from a to b."""
        across_mv = LOGIC_MV * (self.drive_a.level - self.drive_b.level) - (0.0 if self.broken else self.cell_mv)
        return 1000.0 * across_mv / (self.series_ohm + self.probe_ohm)

    def advance(self, seconds: float) -> None:
        """Let the current flow for so long."""
        self.charge_uc += self.current_ua * seconds
        self.moved_uc += abs(self.current_ua) * seconds

    def _node_mv(self) -> float:
        return LOGIC_MV * self.drive_a.level - self.current_ua * self.series_ohm / 1000.0


class MagnetSwitch:
    """A hall or reed switch to ground with a pull-up: its pin reads 0 while `near`.

    After every change the contact bounces for `bounce_s` of `now_s`, a millisecond each way. Faults: `welded` (always
    closed), `broken` (never), `chatters` (bounces for ever).
    """

    def __init__(self, bounce_s: float = 0.0) -> None:
        self.bounce_s = bounce_s
        self.now_s = 0.0
        self.welded = False
        self.broken = False
        self.chatters = False
        self._near = False
        self._changed_s = -inf
        self.pin = Pin(1, self._level)

    @property
    def near(self) -> bool:
        """A magnet is there."""
        return self._near

    @near.setter
    def near(self, near: bool) -> None:
        if near != self._near:
            self._near = near
            self._changed_s = self.now_s

    def _level(self) -> int:
        closed = (self._near or self.welded) and not self.broken
        if self.chatters or self.now_s - self._changed_s < self.bounce_s:
            closed = int(1000.0 * self.now_s + 0.5) % 2 == 0
        return 0 if closed else 1


class LatchMotor:
    """A motor through an H-bridge; `place` runs from 0 (locked) to 1 (open) in `stroke_s` at full drive.

    `end` reads 0 where the latch is open. `shoot_through` counts the seconds with both inputs high, which burns a
    bridge, `tested_while_driven` those with the trickle on while either is. The trickle flows through the winding of
    `winding_ohm` and back to ground through `return_ohm`; its diode takes `diode_mv`.

    Faults: `jammed`, `end_stuck` (a level that the switch shows for ever), `condition`: "sound", "open" (a lead or
    brush is broken: it neither draws nor turns) or "grounded" (the opener's lead touches ground: it does not turn, and
    draws `stalled_ma` when it is to open).
    """

    def __init__(self, stroke_s: float = 3.0, running_ma: float = 300.0, stalled_ma: float = 900.0,
                 supply_mv: float = 14800.0, winding_ohm: float = 16.0, return_ohm: float = 680.0,
                 trickle_ohm: float = 330.0) -> None:
        self.place = 0.0
        self.stroke_s = stroke_s
        self.running_ma = running_ma
        self.stalled_ma = stalled_ma
        self.supply_mv = supply_mv
        self.winding_ohm = winding_ohm
        self.return_ohm = return_ohm
        self.diode_mv = 0.0
        self.jammed = False
        self.condition = "sound"
        self.end_stuck: int | None = None
        self.shoot_through = 0.0
        self.tested_while_driven = 0.0
        self._trickle_ohm = trickle_ohm
        self.driven_s = 0.0
        self.opener = PWM()
        self.locker = PWM()
        self.trickle = Pin()
        self.end = Pin(1, self._end_level)
        self.sense = Converter(lambda: LOGIC_MV * self.drawn_ma / 3300.0)
        self.node = Converter(self._node_mv)

    @property
    def drawn_ma(self) -> float:
        """Mean current, mA; stalled at either stop and when jammed."""
        drive = self.opener.fraction - self.locker.fraction
        if self.condition == "open":
            return 0.0
        if self.condition == "grounded":
            return self.opener.fraction * self.stalled_ma
        stalled = self.jammed or (drive > 0.0 and self.place >= 1.0) or (drive < 0.0 and self.place <= 0.0)
        return abs(drive) * (self.stalled_ma if stalled else self.running_ma)

    def advance(self, seconds: float) -> None:
        """Let the motor turn for so long."""
        if self.opener.duty and self.locker.duty:
            self.shoot_through += seconds
        if self.trickle.level and (self.opener.duty or self.locker.duty):
            self.tested_while_driven += seconds
        drive = self.opener.fraction - self.locker.fraction
        if drive:
            self.driven_s += seconds
        if not self.jammed and self.condition == "sound":
            self.place = min(max(self.place + drive * seconds / self.stroke_s, 0.0), 1.0)

    @property
    def trickle_ma(self) -> float:
        """Current of the trickle, while nothing else drives the winding, mA."""
        if not self.trickle.level or self.condition == "open":
            return 0.0
        back_ohm = 0.0 if self.condition == "grounded" else self.winding_ohm + self.return_ohm
        return (LOGIC_MV - self.diode_mv) / (self._trickle_ohm + back_ohm)

    def _node_mv(self) -> float:
        """Opener side of the motor, clamped to the converter's range; a driven bridge is stronger than the trickle."""
        if self.opener.duty or self.locker.duty:
            return self.opener.fraction * min(self.supply_mv, LOGIC_MV)
        if not self.trickle.level:
            return 0.0
        return LOGIC_MV - self.diode_mv - self.trickle_ma * self._trickle_ohm

    def _end_level(self) -> int:
        if self.end_stuck is not None:
            return self.end_stuck
        return 0 if self.place >= 1.0 else 1


class Servo:
    """A servo on a 50 Hz PWM: follows pulses of `pulse_min_us` to `pulse_max_us` no faster than its speed.

    `place` is the pulse that its horn stands at, us. Without pulses it holds still and draws nothing. `jumps` counts
    how often it was told a place further away than `jump_us` at once, which makes it draw its stall current.
    """

    def __init__(self, place_us: float = 1000.0, speed_us_s: float = 3000.0) -> None:
        self.place_us = place_us
        self.speed_us_s = speed_us_s
        self.jump_us = 150.0
        self.jumps = 0
        self.pwm = PWM(frequency_hz=50)

    def advance(self, seconds: float) -> None:
        """Let it move for so long."""
        pulse_us = self.pwm.pulse_us
        if not 400.0 <= pulse_us <= 2600.0:  # no pulse, or one that no servo knows
            return
        away_us = pulse_us - self.place_us
        if abs(away_us) > self.jump_us:
            self.jumps += 1
        reach_us = self.speed_us_s * seconds
        self.place_us += min(max(away_us, -reach_us), reach_us)
