"""Copies of a running controller, and the key under which two of its situations count as the same.

A copy is the values of all attributes of the mission and of its parts: cheap to take and to put back, and complete,
since an attribute that cannot be copied is an error. Nothing here knows which attributes there are: those that a new
version of the core brings are copied and compared too.

The key leaves out what no decision reads (counters of records, the absolute time) and takes the rest: flags and
numbers as they are, depths in steps of half a metre, and times as ages in classes of one leap (ten seconds), up to
the age at which the last deadline or hold that reads them is over. `AGES_DS` holds those ages.
"""

from operator import attrgetter

from lander.table import ARMED, ASCEND, SURFACE

LEAP_DS = 100
STEP_CM = 50
PLAIN = (int, bool, str, bytes, tuple, type(None))

# What no decision of a later step reads, or what stands in the key in another form.
LEFT_OUT = {
    "facts", "mission_ds", "sequence", "boot_number", "dive", "base_ds", "last_uptime_ds", "asked_wake_ds",
    "clock_from_s", "clock_from_ds", "planned_ma", "boot_detail", "noted_full", "noted_long", "record_ds", "reading_ds",
    "depth.older_mbar", "depth.old_mbar", "depth.last_ds", "depth.before_last_ds",
    "depth.anchor_cm", "depth.depth_cm", "depth.still_low_cm", "depth.still_high_cm",
    "energy.used_mah", "energy._part", "energy.supply_mv",
    "camera.seen", "release.attempts", "release.until_ds", "release.paused_ds",
    "ascend_ds", "surface_ds", "before_ds", "depth.still_for_ds",
    "contact.began_ds", "depth.deep.began_ds",
}
# Lengths of time, not moments.
LENGTHS = {"camera.wait_ds"}
# Until what age a moment counts, where it is less than the latest release.
AGES_DS = {
    "refused_ds": 300, "ready_ds": 100, "bench_ds": 100, "first_ds": 300, "depth.rising.since_ds": 100,
    "depth.surface.since_ds": 100, "depth.awash.since_ds": 300, "depth.too_deep.since_ds": 100,
    "depth.sank.since_ds": 600, "depth.deep.turning_ds": 100, "contact.turning_ds": 100,
    "dry.since_ds": 300, "air.since_ds": 300, "leak.since_ds": 100, "alone.since_ds": 600,
    "energy.voltage_low.since_ds": 100, "magnet.since_ds": 100, "depth.still_ds": 200, "camera.until_ds": 200,
    "camera.lost_ds": 100, "self_test.until_ds": 200,
}
ATTEMPTS_TOLD_APART = 7  # pauses have reached their longest by then, and readings their rarest


def _parts(name: str, thing, found: list) -> list:
    """The thing and all its parts that belong to the core, with their names; orders never change and are left alone."""
    found.append((name, thing))
    for attribute in _attributes(thing):
        value = getattr(thing, attribute)
        kind = type(value)
        if kind.__module__.split(".")[0] == "lander" and kind.__name__ != "Orders":
            _parts(name + attribute + ".", value, found)
    return found


def _attributes(thing) -> list[str]:
    return sorted(vars(thing)) if hasattr(thing, "__dict__") else list(type(thing).__slots__)


class Copier:
    """Takes and puts back copies of one mission. Raises TypeError at once for an attribute that it cannot copy."""

    def __init__(self, mission) -> None:
        self.parts = _parts("", mission, [])
        self._arrays: list[bytearray] = []
        self._readers = []
        self.names: list[str] = []
        parts = {id(thing) for _name, thing in self.parts}
        for prefix, thing in self.parts:
            names = []
            for attribute in _attributes(thing):
                value = getattr(thing, attribute)
                if id(value) in parts or attribute == "orders":
                    continue
                if isinstance(value, bytearray):
                    self._arrays.append(value)
                elif isinstance(value, PLAIN):
                    names.append(attribute)
                else:
                    raise TypeError("%s%s is a %s, which cannot be copied" % (prefix, attribute, type(value).__name__))
            if names:
                read = attrgetter(*names) if len(names) > 1 else _single(names[0])
                self._readers.append((thing, tuple(names), read))
                self.names += [prefix + name for name in names]

    def take(self) -> tuple:
        return (*[read(thing) for thing, _names, read in self._readers], *[bytes(array) for array in self._arrays])

    def put(self, copy: tuple) -> None:
        index = 0
        for thing, names, _read in self._readers:
            for name, value in zip(names, copy[index], strict=True):
                setattr(thing, name, value)
            index += 1
        for array in self._arrays:
            array[:] = copy[index]
            index += 1


def _single(name: str):
    read = attrgetter(name)
    return lambda thing: (read(thing),)


class Quotient:
    """The key of a controller's situation, for a copier and the orders that it flies by."""

    def __init__(self, copier: Copier, mission, orders) -> None:
        self._mission = mission
        self._orders = orders
        self._plain: list[int] = []
        self._moments: list[tuple[int, int]] = []
        self._arrays_from = len(copier.names)
        for index, name in enumerate(copier.names):
            if name in LEFT_OUT:
                continue
            if name.endswith("_ds") and name not in LENGTHS:
                cap_ds = AGES_DS.get(name, self._longest_ds(name))
                self._moments.append((index, cap_ds // LEAP_DS + 1))
            else:
                self._plain.append(index)

    def _longest_ds(self, name: str) -> int:
        orders = self._orders
        if name == "command_ds":
            return orders.slowest_ascent_ds + orders.surface_margin_ds
        return orders.latest_release_ds

    def key(self, copy: tuple, now_ds: int) -> tuple:
        """The key of this copy, taken when mission time was `now_ds`."""
        values: list = []
        for part in copy:
            values.extend(part) if isinstance(part, tuple) else values.append(part)
        ages: list[int | None] = []
        for index, cap in self._moments:
            moment = values[index]
            if moment < 0:
                ages.append(None)
                continue
            age = (now_ds - moment) // LEAP_DS
            ages.append(cap if age > cap else -cap if age < -cap else age)
        return (*[values[index] for index in self._plain], *values[self._arrays_from:], *ages,
                *self._by_state(now_ds))

    def _by_state(self, now_ds: int) -> tuple:
        """What is read in some states only, and depths as seen from the depth of now."""
        mission = self._mission
        depth = mission.depth
        orders = self._orders
        state = mission.state
        release = mission.release
        since_ds = 0
        if state == ASCEND:
            since_ds = min(now_ds - mission.ascend_ds, orders.slowest_ascent_ds + orders.surface_margin_ds + LEAP_DS)
        elif state == SURFACE:
            since_ds = min(now_ds - mission.surface_ds, orders.beacon_ds + LEAP_DS)
        elif state == ARMED and mission.before_ds >= 0:
            since_ds = min(now_ds - mission.before_ds, orders.latest_release_ds + LEAP_DS)
        left_ds = max(0, release.until_ds - now_ds) if release.phase else 0
        climbed_cm = max(-STEP_CM, min(depth.anchor_cm - depth.depth_cm, orders.rise_cm))
        sign_ds = -1 if mission.sure else min(max(depth.deep.on and now_ds - depth.deep.began_ds,
                                                  mission.contact.on and now_ds - mission.contact.began_ds),
                                              orders.one_sign_wait_ds)
        return (since_ds // LEAP_DS, sign_ds // LEAP_DS, -(-left_ds // LEAP_DS), depth.depth_cm // STEP_CM,
                climbed_cm // STEP_CM,
                min(depth.still_high_cm - depth.still_low_cm, orders.settled_band_cm + STEP_CM) // STEP_CM,
                min(release.attempts, ATTEMPTS_TOLD_APART), (now_ds - mission.mission_ds) // 10)
