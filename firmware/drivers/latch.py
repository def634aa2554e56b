"""A latch that holds the ballast: a servo, or a motor through an H-bridge that runs to an end switch or for a time.

Safe states, pin by pin, from reset until the first step:

    opener   low: servo without pulses, motor without drive; pull-down 10 kOhm at the servo or bridge input
    locker   low, the same; motors only
    end      an input, pull-up 10 kOhm to 3.3 V; the switch closes to ground where the latch is open
    sense    an input; the amplifier behind the shunt is filtered to about 10 ms
    trickle  low, no resistor needed: 330 Ohm and a Schottky diode into the motor's opener side; motors only
    node     an input, pull-down 1 MOhm; the motor's opener side; motors only

The bridge must coast with both inputs low. The two inputs are never high together: all is low for `TURN_ROUND_MS`
before either goes high. A servo that may kick when its supply appears needs a supply switched with the release.

A servo is told its place by a pulse of 1 to 2 ms, 50 times a second (common practice, no source); the board sets the
PWM to 50 Hz, and the pulses that belong to open and locked are given to the constructor. The pulse moves slowly from
one end to the other, so that the servo never draws its stall current for a step.

The winding of a motor can be tested by a trickle (`drivers.trickle`), which is far too small to turn it. A bridge that
coasts lets nothing through, so the trickle needs a way back: a resistor from the motor's locker side to ground.

    680 Ohm    3 mA flow through a sound winding; none is open, 10 mA a motor lead that touches ground. The end of the
               bridge that locks must be able to feed the resistor.
    none       (the locker side lies at ground by itself) the winding of 2 to 20 Ohm looks like a short: what is proved
               is that the circuit is closed, not what closes it. So no circuit is called shorted unless
               `short_above_ma` is given. The node moves by 20 to 190 mV only, which not every converter sees.

Either way a node that does not move proves nothing: it may be a dead converter. A servo's circuit cannot be tested so.

Less drive (`percent`) means less load on the supply: a motor gets that duty and so much more time, a servo so much
slower a stroke.

When permission runs out: see `drivers.circuits`. No datasheet: pins, PWM and ADC of MicroPython's `machine` module.
"""

from drivers.channel import FAILED, OFF, OWN, TESTING, Channel
from drivers.circuits import FULL, LOOK_MS, TOLD_MS, duty, quiet
from drivers.trickle import Trickle
from drivers.upkeep import PAUSE_MS, elapsed_ms, one_more

SERVO, MOTOR_TO_SWITCH, MOTOR_FOR_TIME = range(3)

# by kind: is it told by pulses, does it end at the switch, how long a stroke at full drive lasts, how much of the
# stroke may be added while the end is awaited (motor) or held (servo)
KINDS = (
    (1, 0, 1000, 1000),
    (0, 1, 4000, 8000),
    (0, 0, 4000, 0),
)
_PULSED, _ENDS_AT_SWITCH, _STROKE_MS, _MORE_MS = range(4)

TURN_ROUND, DRIVING, FINISHED = range(OWN, OWN + 3)  # `state`, beside those of every channel
OPENING, LOCKING = 0, 1  # `direction`

TURN_ROUND_MS = 10
END_READINGS = 3  # the end switch is believed when seen so often in a row
PERIOD_US = 20000
PULSE_US_MIN, PULSE_US_MAX = 500, 2500
STROKE_MS_MAX = 60000
WINDING_COUNTS = 256  # 13 mV: 10 mA through 1.3 Ohm, and 16 steps of a 12-bit converter


def pulse_duty(pulse_us: int) -> int:
    """16-bit duty of a pulse at 50 Hz, to the nearest; pulses beyond 500 to 2500 us are brought to the nearer end."""
    pulse_us = min(max(pulse_us, PULSE_US_MIN), PULSE_US_MAX)
    return (pulse_us * FULL + PERIOD_US // 2) // PERIOD_US


class Latch(Channel):
    """One release channel. `fire` again within 2 s, or it goes off by itself.

    `state` is one of this module's; FINISHED has done its stroke and draws nothing until it was off once. `at_end` is
    what the end switch shows, `reached` that it was seen to change during this drive; a switch that says open before
    anything moved is not believed, and the motor then runs its whole time. `ma` is the current, believable while `ok`;
    without a converter `ok` stays 0. `lapses` counts how often permission ran out. A pin that fails switches all off
    and is tried again after about 1 s as long as there is permission.

    `circuit` is the verdict of the last test with its current `test_ma` (see `drivers.trickle`), forgotten also when
    the latch is driven; of a servo it stays UNTESTED. A fire or a lock ends a test at once.

    `stroke_ms` (0: that of the kind) is how long a stroke at full drive lasts; `short_ma` and after are those of the
    trickle. Raises ValueError, with all outputs off, for a kind, a stroke, an end switch or a trickle that do not fit.
    """

    def __init__(self, kind: int, opener, locker=None, end=None, adc=None, full_ma: int = 3300, stroke_ms: int = 0,
                 open_us: int = 2000, locked_us: int = 1000, trickle=None, node=None, short_ma: int = 10,
                 open_below_ma: int = -1, short_above_ma: int = 0, step_counts: int = WINDING_COUNTS) -> None:
        self._opener = opener
        self._locker = locker
        quiet(opener)
        quiet(locker)
        quiet(trickle)
        if not 0 <= kind < len(KINDS):
            raise ValueError("kind of latch is %d; allowed is 0 to %d" % (kind, len(KINDS) - 1))
        if not 0 <= stroke_ms <= STROKE_MS_MAX:
            raise ValueError("stroke is %d ms; allowed is 1 to %d, 0 for that of the kind" % (stroke_ms, STROKE_MS_MAX))
        if KINDS[kind][_ENDS_AT_SWITCH] and end is None:
            raise ValueError("a motor that runs to its end switch needs the pin of that switch")
        super().__init__(adc, full_ma, Trickle(trickle, node, short_ma, open_below_ma, short_above_ma, step_counts))
        self._kind = KINDS[kind]
        self._end = end
        self.direction = OPENING
        self.at_end = 0
        self.reached = 0
        self._stroke_ms = stroke_ms or self._kind[_STROKE_MS]
        self._open_us = open_us
        self._locked_us = locked_us
        self._end_seen = 0  # readings in a row: above 0 at the end, below 0 away from it
        self._began_away = 0

    def start(self, now_ms: int) -> int:
        """All off and nothing known; 1 when the pins took it and the end switch, if any, can be read."""
        taken = self._begin_anew(now_ms)
        self._end_seen = 0
        return taken & self._look_at_end()

    def _all_low(self) -> int:
        taken = quiet(self._opener)
        taken &= quiet(self._locker)
        return taken & self._trickle.off()

    def fire(self, now_ms: int, percent: int) -> None:
        """Permission to drive toward open for the next 2 s, at this part of the full drive.

        0 and below is off; that leaves a test alone, which ends by itself.
        """
        self._go(now_ms, OPENING, percent)

    def lock(self, now_ms: int, percent: int) -> None:
        """Permission to drive toward locked for the next 2 s: on the bench, to hang the ballast."""
        if not self._kind[_PULSED] and self._locker is None:
            self.off()
            return
        self._go(now_ms, LOCKING, percent)

    def test(self, now_ms: int) -> int:
        """Begin a test of the winding; 1 when begun.

        0 for a servo and without a trickle, while the latch is busy, and when it has not been off for 0.1 s.
        """
        return 0 if self._kind[_PULSED] else self._begin_test(now_ms)

    def lapse(self, now_ms: int) -> None:
        """Switch off what has run out of permission or time; may be called from a timer interrupt."""
        if self.state == TESTING:
            if self._trickle.is_overdue(now_ms):
                self._fail(now_ms)
        elif self.state != OFF and elapsed_ms(now_ms, self._told_ms) > TOLD_MS:
            if self.state == DRIVING:
                self.lapses = one_more(self.lapses)
            self.off()

    def tick(self, now_ms: int) -> None:
        """One step: reads current and end switch, moves the drive on.

        While it does not drive, the pins are written low again and again, so that neither an upset nor an interrupt
        that came between two writes leaves one high.
        """
        self.lapse(now_ms)
        if self.state == OFF and not self._is_just_off and elapsed_ms(now_ms, self._looked_ms) < LOOK_MS:
            self._all_low()
            return
        self._looked_ms = now_ms
        self._read()
        self._look_at_end()
        self._trickle.age(now_ms)
        gone_ms = elapsed_ms(now_ms, self._since_ms)
        if self.state == OFF:
            self._stay_off(now_ms)
        elif self.state == TURN_ROUND:
            if gone_ms >= TURN_ROUND_MS:
                self._begin(now_ms)
        elif self.state == DRIVING:
            self._drive(now_ms, gone_ms)
        elif self.state == TESTING:
            self._go_on_testing(now_ms)
        else:
            self._all_low()
            if self.state == FAILED and gone_ms >= PAUSE_MS:
                self._try_again(now_ms)

    def _stay_off(self, now_ms: int) -> None:
        self.off()
        if self._is_just_off:
            self._is_just_off = 0
            self._since_ms = now_ms

    def _try_again(self, now_ms: int) -> None:
        """On with the drive if there is permission; what failed was a test otherwise."""
        if self.percent <= 0:
            self.off()
            return
        self.state = TURN_ROUND
        self._since_ms = now_ms

    def _go(self, now_ms: int, direction: int, percent: int) -> None:
        if percent <= 0 and self.state == TESTING:
            return
        if percent <= 0 or direction != self.direction or self.state == TESTING:
            self.off()
        if percent <= 0:
            return
        self._told_ms = now_ms
        self.percent = min(percent, 100)
        if self.state == OFF:
            self._trickle.forget()
            self.direction = direction
            self.reached = 0
            self.state = TURN_ROUND
            self._since_ms = now_ms

    def _begin(self, now_ms: int) -> None:
        self.state = DRIVING
        self._since_ms = now_ms
        self._began_away = 0
        self._drive(now_ms, 0)

    def _drive(self, now_ms: int, gone_ms: int) -> None:
        percent = self.percent
        if percent <= 0:  # an interrupt has just switched off
            return
        stroke_ms = self._stroke_ms * 100 // percent
        if gone_ms >= stroke_ms + self._kind[_MORE_MS] or self._has_reached_end():
            self._finish()
            return
        self._trickle.off()
        try:
            if self._kind[_PULSED]:
                self._opener.duty_u16(pulse_duty(self._pulse_us(gone_ms, stroke_ms)))
            elif self.direction == OPENING:
                self._opener.duty_u16(duty(percent))
            else:
                self._locker.duty_u16(duty(percent))
        except OSError:
            self._fail(now_ms)

    def _pulse_us(self, gone_ms: int, stroke_ms: int) -> int:
        if self.direction == OPENING:
            start_us, goal_us = self._locked_us, self._open_us
        else:
            start_us, goal_us = self._open_us, self._locked_us
        if gone_ms >= stroke_ms:
            return goal_us
        return start_us + (goal_us - start_us) * gone_ms // stroke_ms

    def _has_reached_end(self) -> int:
        """The switch was seen away from the end during this drive, and then at it."""
        if not self._kind[_ENDS_AT_SWITCH] or self.direction != OPENING:
            return 0
        if self._end_seen == -END_READINGS:
            self._began_away = 1
        elif self.at_end and self._began_away:
            self.reached = 1
        return self.reached

    def _finish(self) -> None:
        percent = self.percent
        self.off()
        self.percent = percent
        self.state = FINISHED

    def _look_at_end(self) -> int:
        if self._end is None:
            return 1
        try:
            closed = 0 if self._end() else 1
        except OSError:
            self.faults = one_more(self.faults)
            self._end_seen = self.at_end = 0
            return 0
        if closed:
            self._end_seen = min(max(self._end_seen, 0) + 1, END_READINGS)
        else:
            self._end_seen = max(min(self._end_seen, 0) - 1, -END_READINGS)
        self.at_end = 1 if self._end_seen == END_READINGS else 0
        return 1
