"""A lander that stands on deck, on its test plugs: its loads are those of its pins as they stand, and people touch it.

What the sea does in a dive does not happen here: nothing erodes, nothing sinks. The primary release has the plug of
`electronics.TEST_PLUG_OHM` in the place of its wire, the latch turns with its motor and may be closed again, and the
clock runs by itself once somebody has set it.
"""

from collections.abc import Callable
from datetime import datetime
from functools import partial

from lander import lamps
from lander.signals import Inputs
from seatrial.dice import Dice
from seatrial.electronics import SERVO, TEST_PLUG_OHM, Electronics
from seatrial.world import World, duty

SERVO_HALF_US = 1500.0  # a longer pulse opens: the latch's driver has 1000 and 2000 (common practice, no source)
# Pins that neither draw nor move anything: what hangs on them is worked out when it is read.
SENSING = ("select_", "leak_", "contact_", "spi_", "radio_", "status")


class DeckWorld(World):
    """`touched_mbar` is the pressure at the sensor while a person presses on it, None for the air. `more_ma` is what
    hangs on the main pack beside the parts of a dive: circuits of the releases, the beacon while it is lit.
    """

    __slots__ = ("more_ma", "touched_mbar")

    def __init__(self, plan, seed: int) -> None:
        self.more_ma = 0.0
        self.touched_mbar: float | None = None
        super().__init__(plan, Dice(seed))

    def weigh_load(self) -> None:
        super().weigh_load()
        self.load_ma += self.more_ma

    def pressure_mbar(self) -> float:
        return super().pressure_mbar() if self.touched_mbar is None else self.touched_mbar


class DeckElectronics(Electronics):
    """The electronics in front of a person. `pass_time` lets time go by; `draw` after a pin has changed.

    Miswirings: `held` are outputs that stay at a level whatever the pins say, by the names of `levels`; `swapped`: the
    plug hangs on the backup's terminals and the latch on the primary's.
    """

    def __init__(self, board: dict, fitted: dict, world: DeckWorld, plan) -> None:
        self.held: dict[str, int] = {}
        self.swapped = False
        self.inputs = Inputs()
        self.world = world
        self.fitted = fitted
        super().__init__(board, fitted, world, plan)
        self._stroke_s = plan.release.backup.turn_s
        self._lit_ma = plan.beacon.lamp_ma / duty(lamps.BEACON[lamps.FLASH])
        numbers = board["PINS"]
        self._sensing = {number for signal, number in numbers.items() if signal.startswith(SENSING)}
        self.draw()

    def matters(self, number: int) -> bool:
        """Whether something may draw or move when this pin changes."""
        return number not in self._sensing

    def start_clock(self, when: datetime) -> None:
        """Somebody has set the clock well; `when` is UTC."""
        self.clock.now_s = self.now_s
        self.clock.set_time(when.replace(tzinfo=None, microsecond=0))

    def levels(self) -> dict[str, int]:
        """What the pins bring about."""
        return {**super().levels(), **self.held}

    def draw(self) -> None:
        """Bring loads and readings up to what the pins drive now."""
        self._load()
        world = self.world
        world.fill(self.inputs)
        self.take(self.inputs)

    def pass_time(self, seconds: float) -> None:
        """Let so much time go by as everything stands."""
        self._turn_latch(seconds)
        world = self.world
        end_s = world.now_s + seconds
        while world.now_s < end_s - 1e-9:  # something may happen on the way
            world.advance(end_s - world.now_s)
        self.draw()

    def latch(self, is_open: int | None) -> None:
        """A person opens or closes the latch by hand."""
        self.motor.place = float(bool(is_open))
        self.world.backup.open = bool(is_open)

    def _load(self) -> None:
        world, lines, levels = self.world, self._lines, self.levels()
        is_lit = bool(lines["beacon"].level) and not world.strobe_dead
        world.more_ma = self.burn.wire_ma + self._backup_ma() + (self._lit_ma if is_lit else 0.0)
        world.set_levels((0, 0, levels["camera_supply"], levels["power_button"], levels["record_button"],
                          levels["lights_pct"], levels["fan"], 0, lines["surface_supply"].level))

    def _turn_latch(self, seconds: float) -> None:
        motor = self.motor
        if motor.jammed or (not self.swapped and motor.condition != "sound"):
            return
        drive = self.burn.driven_fraction if self.swapped else self._motor_drive()
        motor.place = min(max(motor.place + drive * seconds / self._stroke_s, 0.0), 1.0)
        self.world.backup.open = motor.place >= 1.0

    def _motor_drive(self) -> float:
        opener = self.motor.opener
        if self.fitted["BACKUP_KIND"] != SERVO:
            return opener.fraction - self.motor.locker.fraction
        if not opener.duty:
            return 0.0
        return 1.0 if opener.pulse_us > SERVO_HALF_US else -1.0

    def _take_clock(self, inputs) -> None:
        """The chip keeps the time that it was given; only what stops it is the world's."""
        self.clock.now_s = self.now_s
        if not inputs.clock_ok:
            self.clock.oscillator_stopped = True

    def _take_releases(self, inputs) -> None:
        place = self.motor.place  # where its own motor has brought it
        super()._take_releases(inputs)
        self.motor.place = place
        if self.swapped:
            self._swap()

    def _swap(self) -> None:
        """A trickle sees a motor that stands by its winding, a driven one draws its running current."""
        burn, motor = self.burn, self.motor
        running_ma = self.world.backup.drawn_ma(100)
        burn.condition = {"grounded": "shorted"}.get(motor.condition, motor.condition)
        burn.load_ohm = burn.supply_mv / running_ma if running_ma and burn.driven_fraction else motor.winding_ohm
        motor.condition = {"shorted": "grounded"}.get(self.world.primary.circuit, self.world.primary.circuit)
        motor.running_ma = motor.stalled_ma = burn.supply_mv / TEST_PLUG_OHM


# --- what a person does to it -----------------------------------------------------------------------------------------


def _press(electronics: DeckElectronics, mbar: float | None) -> None:
    electronics.world.touched_mbar = mbar


def _touch(attribute: str, kind: type, electronics: DeckElectronics, value) -> None:
    setattr(electronics.world, attribute, kind(value or 0))


TOUCHES: dict[str, Callable[[DeckElectronics, int | float | None], None]] = {
    "pressure_mbar": _press,
    "contact_wet": partial(_touch, "contact_bridged", bool),
    "leak_wet": partial(_touch, "leak_wet", bool),
    "magnet": partial(_touch, "magnet", int),
    "latch_open": DeckElectronics.latch,
}


def touch(electronics: DeckElectronics, name: str, value) -> None:
    """One thing that a person does on deck. Raises ValueError for what nobody can."""
    if name not in TOUCHES:
        raise ValueError("nobody can touch %s on deck; what there is: %s" % (name, ", ".join(TOUCHES)))
    TOUCHES[name](electronics, value)
