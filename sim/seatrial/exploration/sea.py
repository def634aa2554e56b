"""The sea of the exploration: where the lander truly is, and what its sensors, its camera and its journal say of it.

Five places stand for all depths: on deck, afloat, in mid-water, on the bottom, and deeper than planned. A leap of ten
seconds takes the lander from one place to the next at a believable speed. Everything a sensor may do to us is one of
the words in `SENSORS`; the first of each is the truth.
"""

from dataclasses import dataclass
from operator import attrgetter

from lander import journal
from lander.orders import LAMP, OWN_PACK
from seatrial.exploration.snapshot import LEAP_DS

DECK, AFLOAT, MIDDLE, BOTTOM, BEYOND = range(5)
PLACES = ("on deck", "afloat", "in mid-water", "on the bottom", "too deep")
DEPTHS_CM = (0, 25, 2000, 4000, 6500)
CONTACT_CM = 10
REST, SINK, PLUNGE, RISE, HAUL = range(5)

SENSORS = {
    "pressure": ("true", "invalid", "frozen", "air", "full"),
    "contact": ("true", "invalid", "wet", "dry"),
    "leak": ("dry", "wet", "invalid"),
    "supply": ("good", "low", "invalid"),
    "clock": ("good", "lost"),
    "store": ("works", "refuses"),
}
TRUE, INVALID, FROZEN, AIR, FULL = range(5)
WET, DRY = 2, 3  # of the contact
CAMERA_OFF, CAMERA_IDLE, CAMERA_RECORDS = range(3)

AIR_MBAR = 1013
CLOCK_AT_START_S = 230_000_000
JUMP_S = 1_000_000
WARM_CENTI_C = 4000  # warm enough for the fan, not too hot for the camera
IDLE_MA, RECORDING_MA = 220, 520
FAR_DS = 1 << 40


@dataclass(slots=True)
class Sea:
    """The truth. All attributes are plain, so that `take` and `put` copy them."""

    now_ds: int = 0
    started_ds: int = 0  # the controller's last start
    cause: int = 0
    wake_ds: int = 0
    place: int = DECK  # at the end of this leap
    motion: int = 0
    from_cm: int = 0  # depth at the leap's beginning and end
    to_cm: int = 0
    since_ds: int = 0
    pressure: int = 0  # words of SENSORS
    frozen_cm: int = 0
    contact: int = 0
    leak: int = 0
    supply: int = 0
    clock: int = 0
    store: int = 0
    shift_s: int = 0  # of the real-time clock
    magnet: int = 0
    command: int = 0
    spike_mbar: int = -1
    camera: int = 0
    pressed: int = 0  # its buttons, as bits
    newest: bytes | None = None
    older: bytes | None = None
    written_ds: int = 0
    lost: int = 0
    stale: int = 0  # records were refused since the newest one that is stored

    def depth_cm(self, at_ds: int) -> int:
        if self.from_cm == self.to_cm or at_ds >= self.since_ds + LEAP_DS:
            return self.to_cm
        return self.from_cm + (self.to_cm - self.from_cm) * (at_ds - self.since_ds) // LEAP_DS

    def set_off(self) -> None:
        """Begin the way of this leap: where the lander is going, it arrives at the leap's end."""
        self.from_cm = DEPTHS_CM[self.place]
        self.since_ds = self.now_ds
        if self.motion in (RISE, HAUL):
            last = DECK if self.motion == HAUL else AFLOAT
            self.place = max(last, self.place - 1)
        elif self.motion in (SINK, PLUNGE):
            last = BEYOND if self.motion == PLUNGE else BOTTOM
            self.place = min(last, self.place + 1)
        else:
            last = self.place
        self.to_cm = DEPTHS_CM[self.place]
        if self.place == last:
            self.motion = REST

    def contact_edge_ds(self) -> int:
        """When the moving lander wets or dries its contact, which wakes the board."""
        if self.contact != TRUE or (self.from_cm > CONTACT_CM) == (self.to_cm > CONTACT_CM):
            return FAR_DS
        way_cm = self.to_cm - self.from_cm
        edge_ds = self.since_ds + -(-(CONTACT_CM - self.from_cm) * LEAP_DS // way_cm)
        return edge_ds + 1 if self.depth_cm(edge_ds) == CONTACT_CM else edge_ds

    def true_mbar(self, depth_cm: int, cm_per_bar: int) -> int:
        return AIR_MBAR + depth_cm * 1000 // cm_per_bar

    def clock_s(self) -> int:
        return CLOCK_AT_START_S + self.now_ds // 10 + self.shift_s

    def fill(self, inputs, outputs, orders) -> None:
        depth_cm = self.depth_cm(self.now_ds)
        inputs.uptime_ds = self.now_ds - self.started_ds
        inputs.reset_cause = self.cause
        inputs.clock_ok = 1 if self.clock == 0 else 0
        inputs.clock_s = self.clock_s() if self.clock == 0 else 0
        self._fill_signs(inputs, orders, depth_cm)
        inputs.leak_wet = 1 if self.leak == 1 else 0
        inputs.leak_ok = 0 if self.leak == 2 else 1
        inputs.supply_mv = orders.reserve_mv - 500 if self.supply == 1 else orders.reserve_mv + 2000
        inputs.supply_ok = 0 if self.supply == 2 else 1
        inputs.supply_ma = self._load_ma(outputs, orders)
        inputs.camera_ma = (0, IDLE_MA, RECORDING_MA)[self.camera]
        inputs.camera_lamp_permille = 900 if self.camera == CAMERA_RECORDS and orders.camera_feedback == LAMP else 5
        inputs.magnet = self.magnet
        inputs.command = self.command
        inputs.store_lost = self.lost
        tested = 1 if outputs.self_test else 0
        inputs.primary_circuit = inputs.backup_circuit = inputs.store_test = tested

    def _fill_signs(self, inputs, orders, depth_cm: int) -> None:
        pressure = self.pressure
        mbar = self.true_mbar(self.frozen_cm if pressure == FROZEN else depth_cm, orders.cm_per_bar)
        if pressure == AIR:
            mbar = AIR_MBAR
        elif pressure == FULL:
            mbar = orders.pressure_full_mbar
        if self.spike_mbar >= 0:
            mbar = self.spike_mbar
        inputs.pressure_mbar = mbar
        inputs.pressure_ok = 0 if pressure == INVALID else 1
        contact = self.contact
        inputs.contact_ok = 0 if contact == INVALID else 1
        inputs.contact_wet = 1 if contact == WET or (contact != DRY and depth_cm > CONTACT_CM) else 0

    def _load_ma(self, outputs, orders) -> int:
        load_ma = orders.controller_ma + orders.lights_ma * outputs.lights_pct // 100
        if outputs.fan:
            load_ma += orders.fan_ma
        if outputs.release_primary_pct or outputs.release_backup_pct:
            load_ma += orders.fire_ma
        return load_ma if orders.camera_supply == OWN_PACK else load_ma + (0, IDLE_MA, RECORDING_MA)[self.camera]

    def work_camera(self, outputs, orders) -> bool:
        """The camera obeys its buttons at once. True when a press stopped a recording."""
        stopped = False
        pressed = outputs.power_button | outputs.record_button << 1
        new = pressed & ~self.pressed
        self.pressed = pressed
        if orders.camera_supply != OWN_PACK and not outputs.camera_supply:
            self.camera = CAMERA_OFF
        elif new & 1:
            self.camera = CAMERA_IDLE if self.camera == CAMERA_OFF else CAMERA_OFF
        elif new & 2 and self.camera != CAMERA_OFF:
            stopped = self.camera == CAMERA_RECORDS
            self.camera = CAMERA_IDLE if stopped else CAMERA_RECORDS
        return stopped

    def keep(self, outputs) -> None:
        """The journal: the newest record and the one before it are what a reset may find."""
        count = outputs.record_count
        self.lost = 0
        if not count:
            return
        if self.store:
            self.lost = count
            self.stale = 1
            return
        self.stale = 0
        size = journal.RECORD_BYTES
        self.written_ds = self.now_ds
        self.older = self.newest if count == 1 else bytes(outputs.records[(count - 2) * size:(count - 1) * size])
        self.newest = bytes(outputs.records[(count - 1) * size:count * size])


_READ = attrgetter(*Sea.__slots__)


def take(sea: Sea) -> tuple:
    return _READ(sea)


def put(sea: Sea, copy: tuple) -> None:
    for name, value in zip(Sea.__slots__, copy, strict=True):
        setattr(sea, name, value)
