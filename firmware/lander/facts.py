"""From readings to the facts of a step: the judgements are brought up to date and become bits of the table."""

from lander import deck, journal, scribe, sleep, table
from lander.judge import AIR_HOLD_DS, GAP_READINGS, SURFACE_ROOM_CM
from lander.table import ASCEND, SAFE

DRY_FIRST_DS = 300
ALONE_DS = 600  # after the splash one sign is believed sooner while the other cannot object


def judge(mission, now_ds: int, inputs, outputs) -> None:
    mission.depth.update(now_ds, inputs.pressure_mbar, inputs.pressure_ok)
    depth = mission.depth
    contact_ok = inputs.contact_ok
    contact_wet = inputs.contact_wet
    mission.contact.update(now_ds, contact_ok, contact_wet, mission.orders.sign_hold_ds)
    dry = contact_ok and not contact_wet
    mission.dry.update(now_ds, dry, AIR_HOLD_DS)
    mission.air.update(now_ds, dry and depth.valid and depth.atmosphere, AIR_HOLD_DS)
    if deck.speaks_of_air(mission, inputs):
        mission.air_ds = now_ds
    mission.leak.update(now_ds, inputs.leak_ok and inputs.leak_wet, mission.orders.leak_hold_ds)
    if mission.leak.on and not mission.noted_leak:
        mission.noted_leak = True
        scribe.event(mission, inputs, outputs, journal.E_LEAK, 0)
    if (depth.valid and not depth.atmosphere) or depth.invalid_run >= GAP_READINGS:
        mission.atmosphere_only = False
    if mission.contact.on:
        mission.contact_felt = True
    if not mission.air_seen and deck.dry_on_deck(mission, inputs) and (depth.atmosphere or not depth.valid):
        mission.air_seen = True
    if mission.descent_ds >= 0 and not mission.sure:
        grow_sure(mission, now_ds, inputs, outputs)
    hold_ds = mission.orders.one_sign_wait_ds if mission.state == SAFE else ALONE_DS
    mission.alone.update(now_ds, not mission.sure and one_sign_alone(mission, inputs), hold_ds)


def one_sign_alone(mission, inputs) -> bool:
    """One sign of water, while the other cannot be read and so cannot object."""
    return ((mission.contact.on and inputs.contact_ok and not mission.depth.valid)
            or (mission.depth.deep.on and mission.depth.valid and not inputs.contact_ok))


def grow_sure(mission, now_ds: int, inputs, outputs) -> None:
    """Under water for sure: both signs at once, or one that has stood for long, or one that nothing can object to."""
    deep = mission.depth.deep.on
    contact = mission.contact.on
    if deep and contact:
        mission.sure = True
        return
    wait_ds = mission.orders.one_sign_wait_ds
    long = (deep and now_ds - max(mission.descent_ds, mission.depth.deep.began_ds) >= wait_ds) or (
        contact and now_ds - max(mission.descent_ds, mission.contact.began_ds) >= wait_ds)
    if long or mission.alone.on:
        mission.sure = True
        scribe.event(mission, inputs, outputs, journal.E_ONE_SIGN, 0)


def gather(mission, now_ds: int, inputs) -> int:
    """The judgements and deadlines of this step as bits of the table."""
    orders = mission.orders
    depth = mission.depth
    facts = 0
    if depth.deep.on or mission.contact.on:
        facts |= table.WET
        if depth.deep.on and mission.contact.on:
            facts |= table.BOTH_WET
    if mission.sure:
        facts |= table.SURE
    if mission.alone.on:
        facts |= table.ALONE
    if mission.atmosphere_only and inputs.contact_ok and not mission.contact.on and not depth.deep.on:
        facts |= table.SPRAY_DRIED
    if depth.rise_seen:
        if mission.air.on:
            facts |= table.OUT_OF_WATER
        if depth.surface.on or depth.awash.on or (not depth.valid and mission.dry.on):
            facts |= table.AT_SURFACE
    if mission.descent_ds >= 0 and not mission.confirmed:
        facts |= deadlines(mission, now_ds - mission.descent_ds)
    elif mission.time_unknown and mission.state == SAFE:
        facts |= splash_seen(mission, now_ds, inputs, facts)
    if depth.valid and not depth.saturated:
        if (depth.still_for_ds >= orders.settled_ds and depth.deep.on
                and depth.depth_cm >= 2 * orders.submerged_cm):
            facts |= table.SETTLED
        if depth.still_for_ds >= orders.stalled_ds and depth.depth_cm > orders.surface_cm + SURFACE_ROOM_CM:
            facts |= table.STALLED
    if depth.too_deep.on:
        facts |= table.TOO_DEEP
    if depth.rising.on:
        facts |= table.RISING
    if depth.sank.on or (depth.vacuum.on and mission.contact.on):
        facts |= table.SANK_AGAIN
    if mission.leak.on:
        facts |= table.LEAK
    if mission.energy.is_low(now_ds, inputs.supply_mv, inputs.supply_ok):
        facts |= table.LOW
    if mission.state == ASCEND and now_ds - mission.ascend_ds >= orders.slowest_ascent_ds + orders.surface_margin_ds:
        facts |= table.ASCENT_LATE
    if mission.release.is_over(now_ds):
        facts |= table.TRIED
    if mission.command_ds >= 0:
        facts |= table.COMMANDED
    if not orders.good:
        facts |= table.PLAN_BAD
    if mission.bug:
        facts |= table.BUG
    return facts


def splash_seen(mission, now_ds: int, inputs, facts: int) -> int:
    """With no journal to go by, time is unknown until this run has seen air: a later splash is then a new one."""
    if now_ds - mission.first_ds >= DRY_FIRST_DS and not facts & table.BOTH_WET and deck.speaks_of_air(mission, inputs):
        mission.time_unknown = False
    return table.TIME_UNKNOWN if mission.time_unknown else 0


def deadlines(mission, elapsed_ds: int) -> int:
    orders = mission.orders
    facts = 0
    if elapsed_ds >= orders.timed_release_ds:
        facts |= table.DUE
    if elapsed_ds >= orders.latest_release_ds - orders.shed_ds - sleep.LATEST_LEAD_DS:
        facts |= table.LATEST
    if elapsed_ds >= orders.settle_latest_ds:
        facts |= table.SETTLE_LATE
    if mission.time_unknown and mission.sure:
        facts |= table.TIME_UNKNOWN
    if mission.power_gap:
        facts |= table.POWER_GAP
    return facts
