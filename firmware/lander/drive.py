"""Driving the outputs of a state: release, camera, lights, fan, beacon and status lamp, and the check of them all."""

from lander import deck, journal, lamps, release, scribe
from lander.camera import RECORDING
from lander.orders import OWN_PACK
from lander.selftest import ASKING, FILMING
from lander.table import ARMED, ASCEND, BACKUP, DESCEND, RECORD, RELEASE, SAFE, SURFACE

NO_LIGHTS, NO_CAMERA = 2, 3  # from this much sparing on; the fan goes with the lights
SPARING_DS = 6000
LIGHTS_DEEP_CM = 300
LIGHTS_ALONE_CM = 2000  # from here down a contact that has never felt water is taken for a dead one
SPARSE_PART = 5  # the seldom flashes take so much less of what lamp and reports draw; reports are not known apart
BEACON_FROM_CM = 1500  # on the way up the beacon is on before the surface, should the surface go unnoticed

# Named here once: a tuple of names built in the step would allocate on the board.
_RELEASED = (RELEASE, BACKUP, ASCEND)


def run_release(mission, now_ds: int, inputs, outputs) -> None:
    primary_pct = backup_pct = 0
    attempt = mission.release
    if mission.attempt_cut:
        mission.attempt_cut = False
        scribe.event(mission, inputs, outputs, journal.E_CUT, attempt.channel)
    if attempt.phase == release.SHED:
        shed(mission, now_ds, inputs, outputs)
    elif attempt.phase == release.FIRE_NOW and now_ds >= attempt.until_ds:
        end_attempt(mission, release.TIME_UP, inputs, outputs)
        attempt.rest(now_ds)
    if attempt.phase == release.FIRE_NOW:
        if attempt.channel == release.PRIMARY:
            primary_pct = attempt.drive_pct()
        else:
            backup_pct = attempt.drive_pct()
    elif mission.bench_channel != deck.NOBODY:
        primary_pct, backup_pct = deck.bench_drives(mission, now_ds, inputs, outputs)
    outputs.release_primary_pct = primary_pct
    outputs.release_backup_pct = backup_pct


def shed(mission, now_ds: int, inputs, outputs) -> None:
    """Fire once camera, lights and fan were off in the outputs before this step."""
    late = now_ds >= mission.release.until_ds
    if late and not mission.camera.is_off():
        mission.camera.force_off()
        scribe.event(mission, inputs, outputs, journal.E_SHED_LATE, 0)
    if mission.quiet and mission.camera.is_off():
        mission.release.fire(now_ds)
        scribe.note(mission, inputs, outputs, journal.ATTEMPT, mission.release.channel, mission.release.drive_pct())


def end_attempt(mission, how: int, inputs, outputs) -> None:
    mission.release.phase = release.PAUSE
    scribe.note(mission, inputs, outputs, journal.ATTEMPT_END, mission.release.channel, how)


def ease(mission, now_ds: int, inputs, outputs) -> None:
    """After some time without another reset one step more is tried again."""
    if mission.sparing and now_ds - mission.sparing_ds >= SPARING_DS:
        mission.sparing -= 1
        mission.sparing_ds = now_ds
        scribe.event(mission, inputs, outputs, journal.E_SPARING, mission.sparing)


def run_camera(mission, now_ds: int, inputs, outputs) -> None:
    ease(mission, now_ds, inputs, outputs)
    wanted = (mission.state == RECORD or (mission.state == DESCEND and mission.orders.film_descent and mission.sure)
              or mission.self_test.part == FILMING)
    wanted = wanted and mission.sparing < NO_CAMERA
    event = mission.camera.update(now_ds, inputs, wanted)
    if event:
        scribe.event(mission, inputs, outputs, event, mission.camera.seen)
    outputs.camera_supply = mission.camera.supply
    outputs.power_button = mission.camera.power_button
    outputs.record_button = mission.camera.record_button
    outputs.lights_pct = lights(mission, now_ds)
    outputs.fan = fan(mission, inputs)


def lights(mission, now_ds: int) -> int:
    """Only while filming the bottom, and only where the signs say that there is water around the lamps.

    The blink of the self-test is the one exception.
    """
    if mission.state != RECORD or mission.camera.step != RECORDING:
        return mission.self_test.lights_pct()
    if mission.sparing >= NO_LIGHTS:
        return 0
    if mission.dry.since_ds >= 0 and (mission.contact_felt or mission.depth.depth_cm < LIGHTS_ALONE_CM):
        return 0  # a contact that has worked in this dive says air, or one that may and no depth stands against it
    if mission.depth.valid:
        if mission.depth.depth_cm < LIGHTS_DEEP_CM:
            return 0
    elif not (mission.sure and mission.contact.on):
        return 0
    orders = mission.orders
    if orders.lights_on_ds and orders.lights_off_ds:
        cycle_ds = orders.lights_on_ds + orders.lights_off_ds
        if (now_ds - mission.record_ds) % cycle_ds >= orders.lights_on_ds:
            return 0
    return orders.lights_pct


def fan(mission, inputs) -> int:
    """By the camera's temperature while the camera is on; an invalid reading runs it."""
    if mission.camera.is_off() or (mission.state != DESCEND and mission.state != RECORD):
        mission.fan_on = False
    elif mission.sparing >= NO_LIGHTS:
        mission.fan_on = False  # too warm a camera is put off by its own limit
    elif not inputs.camera_temp_ok or inputs.camera_centi_c >= mission.orders.fan_on_centi_c:
        mission.fan_on = True
    elif inputs.camera_centi_c <= mission.orders.fan_off_centi_c:
        mission.fan_on = False
    return 1 if mission.fan_on else 0


def beacon_due(mission, now_ds: int) -> bool:
    if mission.state == SAFE:
        return mission.contact.on and not mission.air_seen  # it came back in water, and does not know from where
    if mission.state == SURFACE:
        return True
    if mission.command_ds < 0 or mission.state not in _RELEASED:
        return False
    if mission.surface_ds > mission.descent_ds:
        return True  # it has been at the surface in this dive, whatever is told now
    if mission.state == ASCEND and not mission.depth.valid:
        return True
    if mission.time_unknown and not (mission.depth.valid and mission.depth.depth_cm >= BEACON_FROM_CM):
        return True  # nobody knows how long ago it was released, and nothing says that it is still down
    if mission.depth.rise_seen and mission.depth.valid and mission.depth.depth_cm < BEACON_FROM_CM:
        return True
    return now_ds - mission.command_ds >= mission.orders.slowest_ascent_ds + mission.orders.surface_margin_ds


def spares_lamp(mission, now_ds: int, inputs) -> bool:
    """After the planned hours, by day, and where the charge left does not pay for the planned hours in full rhythm."""
    orders = mission.orders
    left_ds = mission.surface_ds + orders.beacon_ds - now_ds
    if left_ds <= 0 or mission.energy.left_mah() < orders.beacon_ma * (left_ds // 600) // 60:
        return True
    from_min, until_min = orders.night_from_min, orders.night_until_min
    if from_min == until_min or not mission.clock_trusted:
        return False  # a clock that may be wrong must not darken a night
    minute = inputs.clock_s // 60 % 1440
    return until_min <= minute < from_min if until_min < from_min else not from_min <= minute < until_min


def run_lamps(mission, now_ds: int, inputs, outputs) -> None:
    if not beacon_due(mission, now_ds):
        outputs.beacon_code = lamps.NO_BEACON
    elif mission.state == SURFACE and spares_lamp(mission, now_ds, inputs):
        outputs.beacon_code = lamps.SPARSE
    else:
        outputs.beacon_code = lamps.FLASH
    outputs.report = 1 if outputs.beacon_code else 0
    outputs.refused = mission.refusal
    outputs.self_test = 1 if mission.self_test.part == ASKING else 0
    outputs.status_code = status(mission)


def status(mission) -> int:
    if mission.bench_channel != deck.NOBODY or mission.state == RELEASE or mission.state == BACKUP:
        return lamps.FIRING
    if mission.state == SAFE:
        if mission.self_test.part:
            return lamps.TESTING
        return lamps.REFUSED + lamps.GROUPS[mission.refusal] if mission.refusal else lamps.STANDING_BY
    if mission.state == ARMED or (mission.state == DESCEND and not mission.depth.deep.on):
        return lamps.ARMED_ON_DECK
    return lamps.AT_SURFACE if mission.state == SURFACE else lamps.DARK


def check_invariants(mission, inputs, outputs) -> None:
    """Our own mistakes: written down, made harmless, and the table then leads home."""
    both = outputs.release_primary_pct and outputs.release_backup_pct
    driven = outputs.release_primary_pct or outputs.release_backup_pct
    loaded = outputs.camera_supply or outputs.lights_pct or outputs.fan
    strange = driven and mission.state != RELEASE and mission.state != BACKUP and (
        mission.bench_channel == deck.NOBODY or mission.self_test.part)
    if both or strange or (driven and loaded):
        outputs.release_backup_pct = 0
        outputs.lights_pct = outputs.fan = outputs.camera_supply = 0
        if strange:
            outputs.release_primary_pct = 0
        if not mission.bug:
            mission.bug = True
            scribe.event(mission, inputs, outputs, journal.E_BUG, mission.state)


def plan_load(mission, outputs) -> None:
    """The current that these outputs should draw, and whether camera, lights and fan are off in them."""
    orders = mission.orders
    load_ma = orders.controller_ma
    if outputs.camera_supply and orders.camera_supply != OWN_PACK:
        load_ma += orders.camera_ma
    if outputs.fan:
        load_ma += orders.fan_ma
    if outputs.lights_pct:
        load_ma += orders.lights_ma * outputs.lights_pct // 100
    if outputs.release_primary_pct or outputs.release_backup_pct:
        load_ma += orders.fire_ma
    if outputs.beacon_code:  # a reading between two flashes misses the lamp
        beacon_ma = max(0, orders.beacon_ma - orders.controller_ma)
        load_ma += beacon_ma if outputs.beacon_code == lamps.FLASH else beacon_ma // SPARSE_PART
    mission.planned_ma = load_ma
    mission.quiet = not (outputs.camera_supply or outputs.fan or outputs.lights_pct)
