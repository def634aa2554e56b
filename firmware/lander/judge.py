"""Judgements: what raw readings are taken to mean. Apart from the mission table, and tested apart from it.

Each judgement has a hold (a time for which the raw sign must last), a hysteresis, and says in its docstring what it
does when its sensor is invalid. `hurry` on a judgement asks for a step soon, because a hold is running.

What a pressure sensor may do to us: stand still (frozen, or at the end of its range, where it looks like the
seabed), jump, creep, be noisy, be gone. So stillness counts only inside the range, a rise counts only when it was
watched at a believable speed, and no judgement of depth alone ever stops the clock of the release.
"""

JUMP_CM_S = 250  # faster than any lander sinks, rises or is hauled: the sensor jumped (common practice, no source)
JUMP_ROOM_CM = 200
JUMPS_BELIEVED = 3  # so many readings in a row at the new place, and it is taken as the new depth
GAP_READINGS = 3  # so many invalid readings in a row, and nothing is known of what happened in between
SPAN_MAX_DS = 36000
ROUGH_TIMES = 3  # a rise must stand out of what the reading swings to and fro by so much
ROUGH_HOLD_CM = 1000  # a rough reading must show the rise for longer: a second more for every 20 cm, up to this
ROUGH_SHIFT = 6  # a swing counts for about 64 readings
JUMP_ROUGH_CM = 500  # a jump counts as such a swing, one alone up to this, and twice as much with each that follows
AIR_LEAST_MBAR = 500  # no air at any site has less
ANCHOR_CM_S = 5  # a rise slower than this is creep of the sensor, not of the lander
RISE_HOLD_DS = 50
SURFACE_HOLD_DS = 100
SURFACE_ROOM_CM = 200  # swell may dip this much below the surface threshold once the surface was reached
AWASH_HOLD_DS = 300  # so long within that room, and above the threshold in between: awash in swell, at the surface
AIR_HOLD_DS = 300
DEEP_HOLD_DS = 100
SANK_HOLD_DS = 600
SANK_ROOM_CM = 400
SATURATED_SHIFT = 6  # the last 1/64 of the range counts as its end


class Held:
    """A raw sign that must last: `on` after `hold_ds`, `hurry` while it is on its way."""

    __slots__ = ("since_ds", "on", "hurry")

    def __init__(self) -> None:
        self.since_ds = -1
        self.on = False
        self.hurry = False

    def update(self, now_ds: int, raw, hold_ds: int) -> None:
        if not raw:
            self.since_ds = -1
            self.on = False
            self.hurry = False
        elif not self.on:
            if self.since_ds < 0:
                self.since_ds = now_ds
            self.on = now_ds - self.since_ds >= hold_ds
            self.hurry = not self.on


class Sign:
    """A sign with a hold in both directions; keeps its last word while its sensor is invalid."""

    __slots__ = ("on", "turning_ds", "began_ds", "hurry")

    def __init__(self) -> None:
        self.on = False
        self.turning_ds = -1
        self.began_ds = -1  # when the sign that now stands was first seen
        self.hurry = False

    def update(self, now_ds: int, valid, raw, hold_ds: int) -> None:
        if not valid or bool(raw) == self.on:
            self.turning_ds = -1
            self.hurry = False
            return
        if self.turning_ds < 0:
            self.turning_ds = now_ds
        self.hurry = now_ds - self.turning_ds < hold_ds
        if not self.hurry:
            self.on = not self.on
            self.began_ds = self.turning_ds
            self.turning_ds = -1


class Depth:
    """Depth and everything judged from it: deep, settled, rising, stalled, at the surface, too deep.

    Invalid readings: depth keeps its last value with `valid` False; stillness, rise and surface lose what they had
    gathered; the sign of water keeps its last word.
    """

    __slots__ = ("orders", "surface_mbar", "older_mbar", "old_mbar", "valid", "saturated", "depth_cm", "last_ds",
                 "before_last_ds", "invalid_run",
                 "jumps", "rough_cm", "swing_cm", "vacuum", "anchor_cm", "still_ds", "still_low_cm", "still_high_cm",
                 "still_for_ds", "rising", "surface",
                 "awash", "broke", "too_deep", "sank", "deep", "was_deep", "rise_seen", "path_broken", "atmosphere",
                 "hurry")

    def __init__(self, orders) -> None:
        self.orders = orders
        self.surface_mbar = 1013
        self.valid = False
        self.saturated = False
        self.depth_cm = 0
        self.last_ds = -1
        self.before_last_ds = -1
        self.invalid_run = 0
        self.jumps = 0
        self.rough_cm = 0  # how far the reading has swung to and fro lately
        self.swing_cm = 0  # its last change
        self.vacuum = Held()  # it reads less than any air: what it told of a rise was not the lander's
        self.anchor_cm = 0
        self.still_ds = -1
        self.still_low_cm = 0
        self.still_high_cm = 0
        self.still_for_ds = 0
        self.rising = Held()
        self.surface = Held()
        self.awash = Held()
        self.broke = False  # above the surface threshold since it came within the room
        self.older_mbar = -1
        self.old_mbar = -1
        self.too_deep = Held()
        self.sank = Held()
        self.deep = Sign()
        self.was_deep = False
        self.rise_seen = False
        self.path_broken = True  # the way up from the depth was not watched without a gap
        self.atmosphere = False
        self.hurry = False

    def update(self, now_ds: int, mbar: int, ok: int) -> None:
        orders = self.orders
        full_mbar = orders.pressure_full_mbar
        self.vacuum.update(now_ds, ok and mbar < AIR_LEAST_MBAR, SANK_HOLD_DS)
        if not ok or mbar < AIR_LEAST_MBAR or mbar > full_mbar + (full_mbar >> 3):
            self._invalid(now_ds)
            return
        mbar = self._without_spike(mbar)
        over_mbar = mbar - self.surface_mbar
        # In two parts, so that eleven kilometres stay below 2^30.
        depth_cm = over_mbar // 1000 * orders.cm_per_bar + over_mbar % 1000 * orders.cm_per_bar // 1000
        self.saturated = mbar >= full_mbar - (full_mbar >> SATURATED_SHIFT)
        if not self._believable(now_ds, depth_cm):
            return
        self.valid = True
        if depth_cm > orders.submerged_cm:
            self.deep.update(now_ds, True, True, orders.sign_hold_ds)
        elif depth_cm * 2 < orders.submerged_cm:
            self.deep.update(now_ds, True, False, orders.sign_hold_ds)
        else:
            self.deep.update(now_ds, False, False, 0)
        if depth_cm > orders.submerged_cm and not self.was_deep:
            self.was_deep = True
            self.path_broken = False
        self._watch(now_ds, depth_cm)
        self.depth_cm = depth_cm
        self.before_last_ds = self.last_ds
        self.last_ds = now_ds
        self.invalid_run = 0

    def _without_spike(self, mbar: int) -> int:
        """The middle one of the last three readings: a single spike never counts."""
        older_mbar = self.older_mbar
        old_mbar = self.old_mbar
        self.older_mbar = old_mbar
        self.old_mbar = mbar
        if older_mbar < 0:
            return mbar
        if older_mbar > old_mbar:
            older_mbar, old_mbar = old_mbar, older_mbar
        return max(older_mbar, min(old_mbar, mbar))

    def rise_from_here(self) -> None:
        """A rise counts from this depth on, whatever was climbed before."""
        self.anchor_cm = self.depth_cm
        self.rising.update(0, False, 0)

    def forget_rise(self) -> None:
        """A new descent begins: what was seen of an earlier rise no longer counts."""
        self.rise_seen = False
        self.was_deep = False
        self.path_broken = True
        self.rise_from_here()
        self.stand_again()

    def stand_again(self) -> None:
        """Stillness counts from now on, not from before."""
        self.still_ds = -1
        self.still_for_ds = 0

    def _invalid(self, now_ds: int) -> None:
        self.valid = False
        self.saturated = False
        self.atmosphere = False
        self.invalid_run = min(self.invalid_run + 1, GAP_READINGS)
        self.older_mbar = self.old_mbar = -1
        self.broke = False
        self.stand_again()
        self.awash.update(now_ds, False, 0)
        self.rising.update(now_ds, False, 0)
        self.surface.update(now_ds, False, 0)
        self.too_deep.update(now_ds, False, 0)
        self.sank.update(now_ds, False, 0)
        self.deep.update(now_ds, False, False, 0)
        self.hurry = False

    def _believable(self, now_ds: int, depth_cm: int) -> bool:
        """False while a jumped reading is not yet believed. A believed jump is no rise."""
        if self.last_ds < 0:
            self.anchor_cm = depth_cm
            return True
        if self.invalid_run >= GAP_READINGS:
            self._start_over(now_ds, depth_cm)
            return True
        change_cm = depth_cm - self.depth_cm
        if change_cm < 0:
            change_cm = -change_cm
        # The middle of three readings may lag by one of them: the way of two intervals is believable.
        since_ds = min(now_ds - (self.before_last_ds if self.before_last_ds >= 0 else self.last_ds), SPAN_MAX_DS)
        if change_cm <= JUMP_ROOM_CM + JUMP_CM_S * since_ds // 10:
            self.jumps = 0
            return True
        self.jumps += 1
        if self.jumps < JUMPS_BELIEVED:
            self.hurry = True
            return False
        self.rough_cm = max(self.rough_cm, min(change_cm, 2 * self.rough_cm + JUMP_ROUGH_CM))
        self._start_over(now_ds, depth_cm)
        return True

    def _start_over(self, now_ds: int, depth_cm: int) -> None:
        """After a gap or a jump: what lies between was not watched, so it is no rise."""
        self.jumps = self.swing_cm = 0
        self.path_broken = True
        self.anchor_cm = self.depth_cm = depth_cm
        self.still_ds = -1
        self.rising.update(now_ds, False, 0)

    def _feel_swings(self, change_cm: int) -> None:
        """How rough the reading is: the smaller of two changes that follow each other in opposite directions."""
        rough_cm = self.rough_cm
        self.rough_cm = rough_cm - (rough_cm + (1 << ROUGH_SHIFT) - 1 >> ROUGH_SHIFT)
        if change_cm == 0:  # the middle of three readings often stays as it is
            self.swing_cm //= 2
            return
        if (change_cm < 0) != (self.swing_cm < 0):
            self.rough_cm = max(self.rough_cm, min(abs(change_cm), abs(self.swing_cm)))
        self.swing_cm = change_cm

    def _watch(self, now_ds: int, depth_cm: int) -> None:
        orders = self.orders
        change_cm = depth_cm - self.depth_cm
        self._feel_swings(change_cm)
        creep_cm = ANCHOR_CM_S * min(now_ds - self.last_ds, SPAN_MAX_DS) // 10 if self.last_ds >= 0 else 0
        # Deeper counts when two readings in a row say so; a rise is measured from there.
        self.anchor_cm = max(min(depth_cm, self.depth_cm), self.anchor_cm - creep_cm)
        if self.saturated:
            self.anchor_cm = depth_cm
            self.still_ds = -1
        rise_cm = orders.rise_cm + ROUGH_TIMES * self.rough_cm
        hold_ds = RISE_HOLD_DS + min(self.rough_cm, ROUGH_HOLD_CM) // 2
        self.rising.update(now_ds, self.anchor_cm - depth_cm >= rise_cm and change_cm < orders.rise_cm, hold_ds)
        if self.rising.on:
            self.rise_seen = True
        if self.still_ds < 0:
            self.still_ds = now_ds
            self.still_low_cm = self.still_high_cm = depth_cm
        else:
            if depth_cm < self.still_low_cm:
                self.still_low_cm = depth_cm
            if depth_cm > self.still_high_cm:
                self.still_high_cm = depth_cm
            if self.still_high_cm - self.still_low_cm > orders.settled_band_cm:
                self.still_ds = now_ds
                self.still_low_cm = self.still_high_cm = depth_cm
        self.still_for_ds = now_ds - self.still_ds if self.still_ds >= 0 else 0
        shallow = depth_cm <= orders.surface_cm
        if shallow and self.was_deep and not self.path_broken:
            self.rise_seen = True
        self.atmosphere = shallow
        near = depth_cm <= orders.surface_cm + SURFACE_ROOM_CM
        if shallow or not self.surface.on or not near:
            self.surface.update(now_ds, shallow, SURFACE_HOLD_DS)
        self.broke = near and (self.broke or shallow)
        self.awash.update(now_ds, near and self.broke, AWASH_HOLD_DS)
        self.too_deep.update(now_ds, depth_cm > orders.too_deep_cm, DEEP_HOLD_DS)
        self.sank.update(now_ds, depth_cm > orders.submerged_cm + SANK_ROOM_CM, SANK_HOLD_DS)
        self.hurry = (self.rising.hurry or self.surface.hurry or self.awash.hurry or self.too_deep.hurry
                      or self.deep.hurry)


class Magnet:
    """A gesture: the magnet held between two times and then taken away. A brush, or a stuck switch, is none."""

    __slots__ = ("since_ds", "hurry")

    def __init__(self) -> None:
        self.since_ds = -1
        self.hurry = False

    def gesture(self, now_ds: int, magnet: int, hold_ds: int, hold_max_ds: int) -> bool:
        if magnet:
            if self.since_ds < 0:
                self.since_ds = now_ds
            self.hurry = now_ds - self.since_ds <= hold_max_ds
            return False
        held_ds = now_ds - self.since_ds if self.since_ds >= 0 else -1
        self.since_ds = -1
        self.hurry = False
        return hold_ds <= held_ds <= hold_max_ds


class Energy:
    """What was drawn, and whether the battery is down to its reserve.

    The count takes the current reading or three quarters of what the outputs should draw, whichever is more, so
    that a reading that is wrong or invalid never makes the battery look fuller than the plan says. The voltage
    counts when valid; what is worse decides.
    """

    __slots__ = ("orders", "used_mah", "_part", "voltage_low", "supply_mv")

    MA_MAX = 20000
    _MAH = 36000  # mA times tenths of a second in one mAh

    def __init__(self, orders) -> None:
        self.orders = orders
        self.used_mah = 0
        self._part = 0
        self.voltage_low = Held()
        self.supply_mv = 0  # read last

    def count(self, span_ds: int, measured_ma: int, ok: int, planned_ma: int) -> None:
        current_ma = planned_ma - (planned_ma >> 2)
        if ok and measured_ma > current_ma:
            current_ma = measured_ma
        if current_ma > self.MA_MAX:
            current_ma = self.MA_MAX
        self._part += current_ma * min(span_ds, SPAN_MAX_DS)
        if self._part >= self._MAH:
            self.used_mah += self._part // self._MAH
            self._part %= self._MAH

    def is_low(self, now_ds: int, supply_mv: int, ok: int) -> bool:
        orders = self.orders
        self.supply_mv = supply_mv
        self.voltage_low.update(now_ds, ok and supply_mv < orders.reserve_mv, orders.low_hold_ds)
        return self.voltage_low.on or self.used_mah >= orders.capacity_mah - orders.reserve_mah

    def left_mah(self) -> int:
        """Charge left, by the count and by the voltage, whichever is less.

        At the voltage of the reserve no more than the reserve is believed to be left, an eighth lower nothing, and in
        between the square of the part, since the voltage falls fastest at the end (our own choice, no source).
        """
        orders = self.orders
        left_mah = max(0, orders.capacity_mah - self.used_mah)
        if not self.voltage_low.on:
            return left_mah
        eighth_mv = orders.reserve_mv >> 3
        permille = min(max(0, self.supply_mv - orders.reserve_mv + eighth_mv) * 1000 // eighth_mv, 1000)
        return min(left_mah, orders.reserve_mah * (permille * permille // 1000) // 1000)
