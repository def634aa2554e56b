"""A burn wire behind two switches in series, with the firing current sensed and the circuit tested by a trickle.

    battery + --- arm switch --- fire switch --- wire === sea water or plug === return --- shunt --- battery -
                                                  |
    trickle pin --- 330 Ohm, Schottky diode ------+--- 100 kOhm --- node converter (clamped to 3.3 V, 10 nF)

Both switches are needed: either alone carries nothing. Safe states, pin by pin, from reset until the first step:

    arm      low, pull-down 10 kOhm at the driver of its switch; the switch itself has a pull-up from gate to source
    fire     low, pull-down 10 kOhm and the same pull-up; a PWM of about 1 kHz, so that a weak pack can be spared
    trickle  low, no resistor needed: 330 Ohm and the diode let nothing pass that could hurt
    node     an input, pull-down 1 MOhm
    sense    an input; the amplifier behind the shunt is filtered to about 10 ms, so that it shows the mean of the PWM

The trickle is that of `drivers.trickle`; the constructor refuses a circuit where it is more than 1/`TRICKLE_FACTOR` of
the planned firing current. An electrolytic wire dry in air is an open circuit; on deck it is tested with a plug of
about 330 Ohm between wire and return. Limits of the three verdicts are parts of the wiring, so they are given to the
constructor.

When permission runs out: see `drivers.circuits`. No datasheet: pins, PWM and ADC of MicroPython's `machine` module.
"""

from drivers.channel import FAILED, OFF, OWN, TESTING, Channel
from drivers.circuits import LOOK_MS, TOLD_MS, duty, quiet
from drivers.trickle import IDLE_MS, SHORT_MA_MIN, Trickle
from drivers.upkeep import PAUSE_MS, elapsed_ms, one_more

ARMED, FIRING = OWN, OWN + 1  # `state`, beside those of every channel

TRICKLE_FACTOR = 50  # firing current over trickle current, at least
ARM_MS = 5  # armed before fire, so that a fire switch that conducts is seen
DRIVEN_COUNTS = 49152  # a node at rest that stands higher is fed through both switches

STUCK_BOTH, STUCK_FIRE = 1, 2  # bits of `stuck`


class BurnWire(Channel):
    """One release channel. `fire` again within 2 s, or it goes off by itself.

    `ma` is the current in the wire, believable while `ok`. `state` is one of this module's; `circuit` the verdict of
    the last test with its current `test_ma` (see `drivers.trickle`), forgotten also when the wire is fired. `stuck`
    tells of a switch that conducts though it is off: bit 0 both of them, bit 1 the fire switch; it stays until `start`.
    It stops no firing. `lapses` counts how often permission ran out. A pin that fails switches all off and is tried
    again after about 1 s as long as there is permission.

    `adc` senses the current with `full_ma` at full scale; `fire_ma` is the planned current; the others are those of
    the trickle. Raises ValueError, with all outputs off, when these do not fit each other.
    """

    def __init__(self, arm, fire, trickle, adc, node, full_ma: int = 3300, fire_ma: int = 1000, short_ma: int = 10,
                 open_below_ma: int = -1, short_above_ma: int = -1) -> None:
        self._arm = arm
        self._fire = fire
        quiet(fire)
        quiet(arm)
        quiet(trickle)
        if short_ma * TRICKLE_FACTOR > fire_ma:
            raise ValueError("trickle into a short is %d mA; allowed is %d to %d, a %dth of the firing current" % (
                short_ma, SHORT_MA_MIN, fire_ma // TRICKLE_FACTOR, TRICKLE_FACTOR))
        super().__init__(adc, full_ma, Trickle(trickle, node, short_ma, open_below_ma, short_above_ma))
        self.stuck = 0
        self._node = node
        self._stray_ma = full_ma // 32

    def start(self, now_ms: int) -> int:
        """All off and nothing known; 1 when the pins took it and the current can be read."""
        taken = self._begin_anew(now_ms)
        self.stuck = 0
        return taken & self.ok

    def _all_low(self) -> int:
        taken = quiet(self._fire)
        taken &= quiet(self._arm)
        return taken & self._trickle.off()

    def fire(self, now_ms: int, percent: int) -> None:
        """Permission to carry current for the next 2 s, at this part of the full duty.

        0 and below is off; that leaves a test alone, which ends by itself.
        """
        if percent <= 0:
            if self.state != TESTING:
                self.off()
            return
        self._told_ms = now_ms
        self.percent = min(percent, 100)
        if self.state == OFF or self.state == TESTING:
            self._close_arm(now_ms)
        elif self.state == FIRING:
            self._close_fire(now_ms)

    def test(self, now_ms: int) -> int:
        """Begin a test of the circuit; 1 when begun, 0 while the channel is busy or has not been off for 0.1 s."""
        return self._begin_test(now_ms)

    def lapse(self, now_ms: int) -> None:
        """Switch off what has run out of permission or time; may be called from a timer interrupt."""
        if self.state == OFF:
            return
        if self.state == TESTING:
            if self._trickle.is_overdue(now_ms):
                self._fail(now_ms)
        elif elapsed_ms(now_ms, self._told_ms) > TOLD_MS:
            if self.state != FAILED:
                self.lapses = one_more(self.lapses)
            self.off()

    def tick(self, now_ms: int) -> None:
        """One step: reads the current, goes on from arm to fire, takes a sample of a test, looks for stuck switches.

        While off or failed, the pins are written low again and again, so that neither an upset nor an interrupt
        that came between two writes leaves one high.
        """
        self.lapse(now_ms)
        if self.state == OFF and not self._is_just_off and elapsed_ms(now_ms, self._looked_ms) < LOOK_MS:
            self._all_low()
            return
        self._looked_ms = now_ms
        self._read()
        self._trickle.age(now_ms)
        gone_ms = elapsed_ms(now_ms, self._since_ms)
        if self.state == OFF:
            self._stay_off(now_ms, gone_ms)
        elif self.state == ARMED:
            if gone_ms >= ARM_MS:
                self._close_fire(now_ms)
        elif self.state == TESTING:
            self._go_on_testing(now_ms)
        elif self.state == FAILED:
            self._wait_for_another_try(now_ms, gone_ms)

    def _close_arm(self, now_ms: int) -> None:
        self._trickle.forget()
        if not self._trickle.off():
            self.faults = one_more(self.faults)  # resistor and diode make it harmless: no reason not to release
        try:
            self._arm(1)
        except OSError:
            self._fail(now_ms)
            return
        self.state = ARMED
        self._since_ms = now_ms

    def _close_fire(self, now_ms: int) -> None:
        """Written again at every permission, so that an upset of the pin does not last."""
        if self.state == ARMED and self._node_is_driven():
            self.stuck |= STUCK_FIRE
        self._trickle.off()
        try:
            self._arm(1)
            self._fire.duty_u16(duty(self.percent))
        except OSError:
            self._fail(now_ms)
            return
        self.state = FIRING

    def _stay_off(self, now_ms: int, gone_ms: int) -> None:
        self.off()
        if self._is_just_off:
            self._is_just_off = 0
            self._since_ms = now_ms
        elif gone_ms >= IDLE_MS:
            self._look_for_stuck()

    def _wait_for_another_try(self, now_ms: int, gone_ms: int) -> None:
        """All low until the pause is over; then on with the firing if there is permission, else off once more."""
        if gone_ms < PAUSE_MS:
            self._all_low()
        elif self.percent > 0:
            self._close_arm(now_ms)
        else:
            self.off()

    def _look_for_stuck(self) -> None:
        if (self.ok and self.ma > self._stray_ma) or self._node_is_driven():
            self.stuck |= STUCK_BOTH

    def _node_is_driven(self) -> int:
        try:
            return 1 if self._node.read_u16() >= DRIVEN_COUNTS else 0
        except OSError:
            self.faults = one_more(self.faults)
            return 0
