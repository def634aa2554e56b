"""The dead man: a second controller with its own battery that fires the backup channel when the dive is too long.

It knows pressure, a wet contact, or both, and time. The main board's heartbeat goes into its record and on its lamp and
into nothing else. It cannot be talked to. Its laws:
1. Once submerged (both signs, or one for `one_sign_wait_ds`) it fires no later than `latest_release_ds` + margin, as
   long as it has power for 10 s. A damaged mission record is a deadline that has passed.
2. A reset never makes it later. A record every minute, in two slots by turns, holds the elapsed time; a watchdog's
   restart adds the longest it may have taken. Where power failed, or no record is good, time is unknown: overdue.
3. Never on deck: not before submersion, not after all its signs say air following a rise. Air on all signs from its
   start on is a rise that nobody watched: a battery changed on deck (only sensors that all lie from that moment on can
   stop it so). One sign alone must say air for `one_sign_wait_ds`. The magnet disarms it, while some sign says air.
4. It never gives up: attempts with growing pauses, held only while it sees itself rise, or afloat after a rise.
Main and second board drive one mechanism by two drivers, a diode and a fuse each: electrically an OR. Fired together,
the stronger drive does the work, and neither board can hold the other back.
"""

import struct

from lander import lamps
from lander.checksum import crc16
from lander.judge import AIR_HOLD_DS, SURFACE_ROOM_CM, Depth, Held, Magnet, Sign
from lander.release import BACKUP, FIRE_NOW, PAUSE, Release

WAITING, COUNTING, DISARMED = range(3)  # for water; since the water; by the magnet, until the magnet or both signs
BOTH, PRESSURE_ONLY, CONTACT_ONLY = range(3)  # the signs that are fitted
MARGIN_DS, SOON_DS, WATCH_DS, RECORD_EVERY_DS, HEARD_DS, FEED_DS = 18000, 10, 100, 600, 6000, 40  # FEED: its watchdog
AWAY_DS = RECORD_EVERY_DS + WATCH_DS + 150  # the record's age and a watchdog's restart (common practice, no source)
LOOK_DS = 50  # not all signs say air for so long: it is not a battery changed on deck. Sensors take a moment to start
UNKNOWN_DS = (1 << 29) - 1  # elapsed time that nobody knows: past every deadline, and twice that does not allocate
MAGIC, RECORD_BYTES = b"Dm", 22
LAYOUT = "<2sHBBIIHBxH"  # magic, sequence, state, risen, elapsed, heartbeat, attempts, release, boots; then the CRC


class Inputs:
    def __init__(self) -> None:
        self.uptime_ds = self.pressure_mbar = self.pressure_ok = self.contact_wet = self.contact_ok = self.magnet = 0
        self.heartbeats = 0  # edges of the heartbeat line, counted to 65535 and round again


class Outputs:
    """When `write` is 1 the board stores `record` in `slot` first; then it drives `fire_pct` and sleeps `wake_ds`."""

    def __init__(self) -> None:
        self.fire_pct = self.lamp = self.heard = self.write = self.slot = self.wake_ds = 0
        self.record = bytearray(RECORD_BYTES)


def sequence(record) -> int:
    """The number of a record, which goes round at 65536; -1 when it is damaged."""
    good = (len(record) == RECORD_BYTES and record[0] == MAGIC[0] and record[1] == MAGIC[1] and record[4] <= DISARMED
            and struct.unpack_from("<H", record, RECORD_BYTES - 2)[0] == crc16(record, 0, RECORD_BYTES - 2))
    return struct.unpack_from("<H", record, 2)[0] if good else -1


class DeadMan:
    """Made and booted once, then `step` whenever `wake_ds` has passed or a line has changed."""

    def __init__(self, orders, slots, power_failed: int, signs: int = BOTH, margin_ds: int = MARGIN_DS) -> None:
        """`slots` are the two records as found; `power_failed` is 0 only after a watchdog bit."""
        self.orders, self.signs = orders, signs
        self.deadline_ds = orders.latest_release_ds + margin_ds if orders.good else 0
        self.air_hold_ds = AIR_HOLD_DS if signs == BOTH else orders.one_sign_wait_ds
        self.depth, self.contact, self.magnet, self.release = Depth(orders), Sign(), Magnet(), Release(orders)
        self.air, self.not_air = Held(), Held()
        self.began_ds = self.base_ds = self.last_ds = self.written_ds = self.heartbeats = self.heard_until_ds = 0
        self.sequence = self.state = self.boots = self.heard_ds = 0  # heard_ds: last heartbeat of the dive; 0: none
        self.before_ds = UNKNOWN_DS  # how long it may have been under water before it started
        self.doubt = self.atmosphere_only = self.some_air = self.all_air = False
        self.changed = True
        first, second = sequence(slots[0]), sequence(slots[1])
        self.slot = 1 if second >= 0 and (first < 0 or second - first & 0xFFFF < 0x8000) else 0
        if first >= 0 or second >= 0:
            self._resume(slots[self.slot], power_failed, AWAY_DS + (RECORD_EVERY_DS if first < 0 or second < 0 else 0))

    def _resume(self, record, power_failed: int, away_ds: int) -> None:
        (_magic, self.sequence, self.state, self.depth.rise_seen, elapsed_ds, self.heard_ds, attempts, code, boots
         ) = struct.unpack_from(LAYOUT, record, 0)
        self.boots = boots + 1 & 0xFFFF  # in the record, as the heartbeat is, for who reads it afterwards
        self.before_ds = UNKNOWN_DS if power_failed else min(elapsed_ds + away_ds, UNKNOWN_DS)
        self.began_ds = -self.before_ds
        self.doubt = self.state == COUNTING
        self.release.restore(code, attempts)
        if self.release.phase == FIRE_NOW:
            self.release.cut_by_reset(0)
        elif self.release.phase == PAUSE:
            self.release.rest_cut_short(0)

    def step(self, inputs, outputs) -> None:
        now_ds = self._time(inputs)
        self._judge(now_ds, inputs)
        held_ds, held_max_ds = self.orders.magnet_hold_ds, self.orders.magnet_hold_max_ds
        if self.magnet.gesture(now_ds, inputs.magnet, held_ds, held_max_ds) and self.some_air:
            self.before_ds = 0  # a person is there, and so is the air: a sign that stands counts from now on
            self.contact.began_ds = self.depth.deep.began_ds = now_ds
            self._enter(WAITING if self.state == DISARMED else DISARMED)
        if self.state == COUNTING:
            self._count(now_ds)
        elif self._submerged(now_ds):
            self._begin(now_ds)
        self._put_out(now_ds, outputs)

    def _time(self, inputs) -> int:
        if self.base_ds + inputs.uptime_ds < self.last_ds:  # a clock that runs back has lost time that nobody knows
            self.base_ds = self.last_ds - inputs.uptime_ds
            self.began_ds = self.last_ds - UNKNOWN_DS
            self.before_ds = UNKNOWN_DS
        now_ds = self.last_ds = self.base_ds + inputs.uptime_ds
        if inputs.heartbeats != self.heartbeats:
            self.heartbeats = inputs.heartbeats
            self.heard_until_ds = now_ds + HEARD_DS
            self.heard_ds = min(now_ds - self.began_ds, UNKNOWN_DS) if self.state == COUNTING else 0
        return now_ds

    def _judge(self, now_ds: int, inputs) -> None:
        contact_ok = inputs.contact_ok and self.signs != PRESSURE_ONLY
        self.depth.update(now_ds, inputs.pressure_mbar, inputs.pressure_ok and self.signs != CONTACT_ONLY)
        self.contact.update(now_ds, contact_ok, inputs.contact_wet, self.orders.sign_hold_ds)
        shallow = self.depth.valid and self.depth.atmosphere
        dry = contact_ok and not inputs.contact_wet
        self.some_air = shallow or dry
        self.all_air = (shallow or self.signs == CONTACT_ONLY) and (dry or self.signs == PRESSURE_ONLY)
        self.air.update(now_ds, self.all_air, AIR_HOLD_DS)
        self.not_air.update(now_ds, not self.all_air, LOOK_DS)
        if self.air.on and self.before_ds:
            self.before_ds, self.changed = 0, True
        self.doubt = self.doubt and not self.not_air.on
        self.atmosphere_only = self.atmosphere_only and shallow

    def _submerged(self, now_ds: int) -> bool:
        deep, contact = self.depth.deep, self.contact
        if (deep.on and contact.on) or (self.state == DISARMED and self.signs == BOTH):
            return deep.on and contact.on
        wait_ds = self.orders.one_sign_wait_ds
        return (deep.on and now_ds - deep.began_ds >= wait_ds) or (contact.on and now_ds - contact.began_ds >= wait_ds)

    def _begin(self, now_ds: int) -> None:
        """The clock runs from the first sign, and from the sleep and the reading before it. One that stood while
        disarmed says nothing of when."""
        deep_ds = self.depth.deep.began_ds if self.depth.deep.on else now_ds
        contact_ds = self.contact.began_ds if self.contact.on else now_ds
        first_ds = max(deep_ds, contact_ds) if self.state == DISARMED else min(deep_ds, contact_ds)
        self.began_ds = first_ds - 2 * WATCH_DS - self.before_ds
        self.depth.forget_rise()
        self.atmosphere_only = self.depth.valid and self.depth.atmosphere
        self._enter(COUNTING)

    def _enter(self, state: int) -> None:
        self.state, self.changed, self.doubt = state, True, False
        self.release.stop()
        self.release.attempts = self.release.ways[BACKUP] = 0

    def _count(self, now_ds: int) -> None:
        release = self.release
        risen = self.depth.rise_seen or self.atmosphere_only or self.doubt
        if risen and self.air.on and now_ds - self.air.since_ds >= self.air_hold_ds:
            self._enter(WAITING)
        elif release.phase == FIRE_NOW:
            if now_ds >= release.until_ds:
                release.rest(now_ds)
                self.changed = True
        elif now_ds - self.began_ds >= self.deadline_ds and not self.doubt and (
                release.phase != PAUSE or (release.is_over(now_ds) and not self._is_up())):
            release.channel = BACKUP
            release.fire(now_ds)
            self.depth.rise_from_here()
            self.changed = True

    def _is_up(self) -> bool:
        """Rising, or afloat after a rise; not when it stands still below."""
        depth, orders = self.depth, self.orders
        stalled = depth.still_for_ds >= orders.stalled_ds and depth.depth_cm > orders.surface_cm + SURFACE_ROOM_CM
        afloat = depth.rise_seen and (depth.surface.on or depth.awash.on)
        return depth.valid and not stalled and (depth.rising.on or afloat)

    def _put_out(self, now_ds: int, outputs) -> None:
        firing = self.release.phase == FIRE_NOW
        outputs.fire_pct = self.release.drive_pct() if firing else 0
        outputs.heard = 1 if now_ds < self.heard_until_ds else 0
        outputs.lamp = lamps.REFUSED if not self.orders.good else lamps.FIRING if firing else (
            lamps.STANDING_BY if self.state == DISARMED else lamps.ARMED_ON_DECK)
        sleep_ds = self.deadline_ds - (now_ds - self.began_ds) if self.state == COUNTING else WATCH_DS
        if self.release.phase >= FIRE_NOW:
            sleep_ds = self.release.until_ds - now_ds if self.release.until_ds > now_ds else WATCH_DS
        hurry = firing or self.depth.hurry or self.contact.hurry or self.magnet.hurry
        outputs.wake_ds = min(sleep_ds if sleep_ds > 0 else SOON_DS, SOON_DS if hurry else WATCH_DS)
        old = self.state == COUNTING and now_ds - self.written_ds >= RECORD_EVERY_DS
        outputs.write = 1 if self.changed or old else 0
        if outputs.write:
            self._write(now_ds, outputs)

    def _write(self, now_ds: int, outputs) -> None:
        self.changed, self.written_ds = False, now_ds
        self.slot = outputs.slot = 1 - self.slot
        self.sequence = self.sequence + 1 & 0xFFFF
        elapsed_ds = min(now_ds - self.began_ds, UNKNOWN_DS) if self.state == COUNTING else self.before_ds
        struct.pack_into(LAYOUT, outputs.record, 0, MAGIC, self.sequence, self.state, 1 if self.depth.rise_seen else 0,
                         elapsed_ds, self.heard_ds, self.release.attempts, self.release.code(), self.boots)
        struct.pack_into("<H", outputs.record, RECORD_BYTES - 2, crc16(outputs.record, 0, RECORD_BYTES - 2))
