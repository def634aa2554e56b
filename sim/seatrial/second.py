"""The second board at sea: the dead man's own code, with battery, clock and sensors of its own, beside the main one.

It reaches the dive by one door, `attach`, and the world by one wire: `World.second_pct`, the drive of its own driver
on the backup mechanism. There the two drivers are an OR, so that the mechanism feels the stronger one; each battery
pays for its own drive in full, which is the worse case for both.

What may break is an attribute: `pressure.absent` and the other faults of the sensor, `contact_dead`,
`contact_bridged`, `battery.connected`, `store_refuses`; `reset()` and `hang()` are deeds of a moment.
"""

from dataclasses import dataclass

from deadman import BOTH, CONTACT_ONLY, PRESSURE_ONLY, RECORD_BYTES, DeadMan, Inputs, Outputs
from lander import orders
from seatrial.battery import Battery
from seatrial.dice import Dice
from seatrial.sensors import PressureSensor

SIGNS = {"both": BOTH, "pressure": PRESSURE_ONLY, "contact": CONTACT_ONLY}
ERASED = b"\xff" * RECORD_BYTES


@dataclass(frozen=True)
class SecondPlan:
    """The numbers of the second board, our own choice throughout; names as the plan has them for the main board."""

    signs: str = "both"  # which signs of water are fitted: "both", "pressure" or "contact"
    margin_min: float = 30.0  # it fires this long after the latest release of the main board
    drift_ppm: float = 50.0  # an ordinary crystal; positive runs fast
    controller_ma: float = 12.0
    controller_asleep_ma: float = 0.5
    awake_s: float = 0.05
    boot_s: float = 1.0
    watchdog_s: float = 8.0
    power_look_s: float = 10.0
    brownout_mv: float = 5500.0
    recover_mv: float = 6500.0
    # its pack, as in the section [power] of a plan
    capacity_ah: float = 1.2
    health_fraction: float = 1.0
    cells_in_series: int = 3
    resistance_mohm: float = 300.0
    resistance_factor_at_0_c: float = 2.5
    capacity_fraction_at_0_c: float = 0.85
    charge_at_start_fraction: float = 0.95
    # its pressure sensor, as in [sensors.pressure]
    resolution_mbar: float = 5.0
    noise_mbar: float = 8.0
    lag_s: float = 0.5


@dataclass
class Drive:
    """One time that it energised the backup mechanism."""

    from_s: float
    drive_pct: int
    to_s: float | None = None


class SecondBoard:
    """One second board for one dive: `Dive(plan, second=SecondBoard())`."""

    def __init__(self, numbers: SecondPlan | None = None) -> None:
        """Raises ValueError for a word in `signs` that does not exist."""
        self.numbers = numbers = numbers or SecondPlan()
        if numbers.signs not in SIGNS:
            raise ValueError(f'signs is "{numbers.signs}"; allowed is {", ".join(SIGNS)}: choose one of them')
        self.battery = Battery(numbers)
        self.slots = [ERASED, ERASED]
        self.inputs = Inputs()
        self.outputs = Outputs()
        self.drives: list[Drive] = []
        self.starts = 0
        self.on = False
        self.magnet = 0
        self.contact_dead = False
        self.contact_bridged = False
        self.store_refuses = False
        self._turn = 0  # the step that is scheduled; one asked for before a reset never comes
        self._boot_s = 0.0
        self._paid_s = 0.0

    def attach(self, dive) -> float:
        """Begin to run beside this dive, once; returns seconds after the splash by which it will have fired."""
        self.dive = dive
        self.world = dive.world
        plan = dive.plan
        full_mbar = int(self.world.water.pressure_mbar_at(plan.sensors.pressure.range_m))
        self.pressure = PressureSensor(self.numbers, full_mbar, Dice(dive.seed).fork("second pressure"),
                                       plan.site.air_pressure_hpa)
        self.orders = orders.unpack(dive.given_plan.mission_record())
        self._start(1)
        return self.orders.latest_release_ds * 0.1 + 60.0 * self.numbers.margin_min

    # --- power ----------------------------------------------------------------------------------------------------

    def reset(self, power_failed: int = 1) -> None:
        """It loses its memory and its drive, and starts again when its battery can carry it."""
        if self.on:
            self._settle()
            self._drive(0)
            self.on = False
            self._later(self.numbers.boot_s, lambda: self._try_to_start(power_failed))

    def hang(self) -> None:
        """It stands still, its drive as it is, until its watchdog bites."""
        self._later(self.numbers.watchdog_s, lambda: self.reset(power_failed=0))

    def _try_to_start(self, power_failed: int) -> None:
        if self._supply_mv(self.numbers.controller_ma) >= self.numbers.recover_mv:
            self._start(power_failed)
        else:
            self._later(self.numbers.power_look_s, lambda: self._try_to_start(1))

    def _start(self, power_failed: int) -> None:
        self.on = True
        self.starts += 1
        self._boot_s = self._paid_s = self.world.now_s
        self.dead_man = DeadMan(self.orders, self.slots, power_failed, SIGNS[self.numbers.signs],
                                int(self.numbers.margin_min * 600))
        self._step()

    def _supply_mv(self, load_ma: float) -> float:
        return self.battery.supply_mv(load_ma, self.world.outside_c())

    def _load_ma(self) -> float:
        return self.world.backup.drawn_ma(self.world.second_pct)

    def _settle(self) -> None:
        """Pay for the time since the last step."""
        span_s = self.world.now_s - self._paid_s
        self._paid_s = self.world.now_s
        awake_mas = (self.numbers.controller_ma - self.numbers.controller_asleep_ma) * min(span_s, self.numbers.awake_s)
        if span_s > 0.0:
            load_ma = self.numbers.controller_asleep_ma + awake_mas / span_s + self._load_ma()
            self.battery.draw(load_ma, span_s, self.world.outside_c())

    def hold_magnet(self, level: int) -> None:
        """The magnet comes (1) or goes (0); the line wakes the board."""
        self.magnet = level
        if self.on:
            self._step()

    # --- its turns --------------------------------------------------------------------------------------------------

    def _later(self, after_s: float, action) -> None:
        self._turn += 1
        turn = self._turn
        self.dive.at(self.world.now_s + after_s, lambda: action() if turn == self._turn else None)

    def _step(self) -> None:
        self._settle()
        self._fill()
        self.dead_man.step(self.inputs, self.outputs)
        if self.outputs.write and not self.store_refuses:
            self.slots[self.outputs.slot] = bytes(self.outputs.record)
        self._drive(self.outputs.fire_pct)
        if self._supply_mv(self.numbers.controller_ma + self._load_ma()) < self.numbers.brownout_mv:
            self.reset()
            return
        self._later(self.outputs.wake_ds * 0.1 / self._rate(), self._step)

    def _rate(self) -> float:
        return 1.0 + self.numbers.drift_ppm * 1e-6

    def _fill(self) -> None:
        world = self.world
        inputs = self.inputs
        inputs.uptime_ds = int((world.now_s - self._boot_s) * self._rate() * 10.0 + 1e-6)
        inputs.pressure_ok = 0 if self.pressure.absent else 1
        if inputs.pressure_ok:
            inputs.pressure_mbar = self.pressure.read(world.pressure_mbar(), world.now_s)
        inputs.contact_ok = 1
        inputs.contact_wet = 1 if (world.hull.in_water or self.contact_bridged) and not self.contact_dead else 0
        inputs.magnet = self.magnet
        inputs.heartbeats = self.dive.steps & 0xFFFF  # the main board turns the line over at each of its steps

    def _drive(self, pct: int) -> None:
        if pct == self.world.second_pct:
            return
        if self.drives and self.drives[-1].to_s is None:
            self.drives[-1].to_s = self.world.now_s
        if pct:
            self.drives.append(Drive(self.world.now_s, pct))
            self.dive.story.tell("event", "the second board drives the backup release", "driven at %d %%" % pct)
        self.world.second_pct = pct
