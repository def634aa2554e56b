"""The laws at the level of the core: each a named check of one step, with the truth of the sea beside it.

A check answers True when its law is broken. What no controller could know is no breach, and each check says where it
draws that line: a sign lies, nothing honest ever said water, the person never armed. Law 6 is judged by the voltage
and law 9 by the presses; charge and footage need a battery and a camera with a history, which the rehearsal has.
"""

from collections.abc import Callable
from dataclasses import dataclass
from operator import attrgetter

from lander import journal, signals, table
from lander.mission import Mission
from lander.orders import NONE, Orders
from lander.table import ARMED, ASCEND, BACKUP, DESCEND, RECORD, RELEASE, SAFE, SURFACE
from seatrial.exploration.sea import AFLOAT, AIR, BOTTOM, DRY, FROZEN, FULL, REST, TRUE, Sea
from seatrial.exploration.snapshot import LEAP_DS

SUBMERGED = (DESCEND, RECORD, RELEASE, BACKUP, ASCEND)
POWER_DS = 100
SLACK_DS = 60  # the longest routine wake of these orders, and a step
LAG_DS = 200  # a pressure that is judged by the middle of three readings, across a jump or a gap
HAULED_DS = 600  # so long after it is out of the water nothing may be energised any more
BEACON_DS = 600
LAMP_TEST_DS = 100
WHOLE_WAY_DS = 3 * LEAP_DS  # from the bottom to the surface
BENCH_READY_DS = 100
BENCH_FIRE_DS = 50
NEVER = -1
WET_MBAR = 1013 + 40
AWASH_CM = 25
DOWN_CM = 1500  # the beacon may wait while it is known to be deeper
SETTLED_ROWS = tuple(number for number, row in enumerate(table.ROWS) if row[table.WHEN] == table.SETTLED)


@dataclass(slots=True)
class Watch:
    """What the checks must remember. All attributes are plain, so that `take` and `put` copy them."""

    under_ds: int = NEVER  # under water since
    deck_ds: int = NEVER  # back on deck since
    deck_seen: int = 0  # and both signs have told the truth of it all the way
    up_ds: int = NEVER  # back afloat since
    up_seen: int = 0  # and pressure has told the truth of it all the way
    honest_ds: int = 0  # both signs true since
    pressure_true_ds: int = 0
    rest_ds: int = NEVER  # lying still under water since
    moving_ds: int = NEVER  # on its way up or down since
    lie_ds: int = NEVER  # pressure says something else than the truth since
    been_under: int = 0  # since arming
    floated: int = 0  # since arming it has been in the water at least
    water_said: int = 0  # since arming: 1 by the contact, 2 by pressure, or pressure could not be read
    unarmed: int = 0  # this dive began without arming
    driven: int = 0  # in the outputs of the last step
    loaded: int = 0
    refused: int = 0
    last: int = NEVER  # the last attempt: channel and drive
    open: int = 0  # it runs
    cut: int = 0  # a reset ended it
    rose: int = 0  # the states of release were left since
    drove: int = 0  # a release was energised in this dive
    quiet_ds: int = NEVER  # in the states of release and not energised since
    idle_ds: int = NEVER  # a release behind it, lying still under water with true pressure, not energised since
    driven_ds: int = NEVER  # a release is energised since
    released_ds: int = NEVER  # a release is commanded since
    leak_ds: int = NEVER
    low_ds: int = NEVER
    lit_ds: int = NEVER
    mission_ds: int = NEVER  # mission time at the last step
    ready_ds: int = NEVER  # on the bench
    fire_ds: int = NEVER


MOMENTS = tuple(name for name in Watch.__slots__ if name.endswith("_ds") and name != "mission_ds")
FLAGS = tuple(name for name in Watch.__slots__ if not name.endswith("_ds"))
_READ = attrgetter(*Watch.__slots__)
_READ_MOMENTS = attrgetter(*MOMENTS)
_READ_FLAGS = attrgetter(*FLAGS)


def take(watch: Watch) -> tuple:
    return _READ(watch)


def put(watch: Watch, copy: tuple) -> None:
    for name, value in zip(Watch.__slots__, copy, strict=True):
        setattr(watch, name, value)


def caps(orders) -> tuple:
    """For each moment the age in leaps from which on it makes no difference to any check."""
    longest = {"under_ds": orders.latest_release_ds + POWER_DS + LEAP_DS, "deck_ds": HAULED_DS + LEAP_DS,
               "up_ds": BEACON_DS + LEAP_DS, "honest_ds": HAULED_DS + LEAP_DS,
               "pressure_true_ds": orders.stalled_ds + LAG_DS + LEAP_DS,
               "rest_ds": orders.stalled_ds + LAG_DS + LEAP_DS, "moving_ds": orders.settled_ds + LEAP_DS,
               "driven_ds": max(orders.fire_primary_ds, orders.fire_backup_ds) + SLACK_DS + LEAP_DS,
               "lie_ds": WHOLE_WAY_DS, "quiet_ds": _silence_ds(orders), "idle_ds": _stuck_ds(orders),
               "released_ds": orders.slowest_ascent_ds + orders.surface_margin_ds + 2 * LEAP_DS,
               "leak_ds": 3 * LEAP_DS, "low_ds": 3 * LEAP_DS}
    return tuple(longest.get(name, LEAP_DS) // LEAP_DS + 1 for name in MOMENTS)


def key(watch: Watch, now_ds: int, limits: tuple) -> tuple:
    ages = tuple(None if moment < 0 else min((now_ds - moment) // LEAP_DS, limit)
                 for moment, limit in zip(_READ_MOMENTS(watch), limits, strict=True))
    return _READ_FLAGS(watch) + ages


def _silence_ds(orders) -> int:
    return orders.pause_max_ds + orders.shed_ds + max(orders.fire_primary_ds, orders.fire_backup_ds) + SLACK_DS


def _stuck_ds(orders) -> int:
    """A lander that lies still after a release was begun gets its next attempt within this."""
    return orders.slowest_ascent_ds + orders.surface_margin_ds + _silence_ds(orders) + 2 * LEAP_DS


@dataclass
class Moment:
    """One step, for the checks."""

    mission: Mission
    orders: Orders
    sea: Sea
    watch: Watch
    inputs: signals.Inputs
    outputs: signals.Outputs
    depth_cm: int
    before: int  # state before the step
    first: bool  # the first step after a start
    records: list  # (kind, code, detail, state) of each
    stopped: bool = False  # a press stopped a recording


def look(watch: Watch, sea, depth_cm: int, orders) -> None:
    """The truth of this instant, before the controller steps."""
    now_ds = sea.now_ds
    under = depth_cm > orders.submerged_cm
    unspiked = sea.spike_mbar < 0
    pressure_true = sea.pressure == TRUE and unspiked
    watch.pressure_true_ds = _since(watch.pressure_true_ds, now_ds, pressure_true)
    watch.honest_ds = _since(watch.honest_ds, now_ds, pressure_true and sea.contact == TRUE)
    still = under and sea.motion == REST and sea.from_cm == sea.to_cm
    watch.rest_ds = _since(watch.rest_ds, now_ds, still)
    watch.moving_ds = _since(watch.moving_ds, now_ds, sea.from_cm != sea.to_cm)
    watch.lie_ds = _since(watch.lie_ds, now_ds, sea.pressure != TRUE)
    watch.idle_ds = _since(watch.idle_ds, now_ds, watch.drove and still and pressure_true)
    if depth_cm > 0:
        watch.floated = 1
    if under:
        watch.been_under = 1
        watch.under_ds = now_ds if watch.under_ds < 0 else watch.under_ds
    whole_way_ds = now_ds - WHOLE_WAY_DS
    on_all_the_way = sea.started_ds <= whole_way_ds
    if under or not watch.been_under or sea.place > AFLOAT:
        watch.up_ds, watch.up_seen = NEVER, 0
    elif watch.up_ds < 0 and sea.motion == REST:
        watch.up_ds = now_ds
        watch.up_seen = 1 if on_all_the_way and 0 <= watch.pressure_true_ds <= whole_way_ds else 0
    elif not pressure_true:
        watch.up_seen = 0
    if depth_cm > 0 or not watch.been_under:
        watch.deck_ds, watch.deck_seen = NEVER, 0
    elif watch.deck_ds < 0:
        watch.deck_ds = now_ds
        watch.deck_seen = 1 if on_all_the_way and 0 <= watch.honest_ds <= whole_way_ds else 0
    elif watch.honest_ds < 0:
        watch.deck_seen = 0
    if depth_cm <= 0:
        watch.under_ds = NEVER


def _since(since_ds: int, now_ds: int, holds) -> int:
    if not holds:
        return NEVER
    return since_ds if since_ds >= 0 else now_ds


def remember(moment: Moment) -> None:
    """After the step, before the checks."""
    watch, inputs, mission = moment.watch, moment.inputs, moment.mission
    now_ds = moment.sea.now_ds
    state = mission.state
    under = moment.depth_cm > moment.orders.submerged_cm
    if moment.before == SAFE and state != SAFE:
        _new_dive(watch, moment)
    elif moment.before != SAFE and state == SAFE and not under:
        watch.under_ds = NEVER  # fetched, or disarmed from a boat
    if inputs.contact_ok and inputs.contact_wet:
        watch.water_said |= 1
    if not inputs.pressure_ok or inputs.pressure_mbar > WET_MBAR:
        watch.water_said |= 2
    driven = _driven(moment.outputs)
    watch.quiet_ds = _since(watch.quiet_ds, now_ds, state in (RELEASE, BACKUP) and not driven)
    watch.driven_ds = _since(watch.driven_ds, now_ds, driven)
    if driven:
        watch.idle_ds = NEVER
    if state not in (RELEASE, BACKUP):
        watch.rose = 1
    watch.released_ds = _since(watch.released_ds, now_ds, mission.command_ds >= 0 and state not in (SAFE, ARMED))
    if moment.first:
        watch.leak_ds = watch.low_ds = NEVER
    watch.leak_ds = _since(watch.leak_ds, now_ds, inputs.leak_ok and inputs.leak_wet)
    watch.low_ds = _since(watch.low_ds, now_ds, inputs.supply_ok and inputs.supply_mv < moment.orders.reserve_mv)
    watch.lit_ds = _since(watch.lit_ds, now_ds, moment.outputs.lights_pct and moment.sea.place <= AFLOAT
                          and moment.depth_cm <= AWASH_CM)
    if moment.before == SAFE:
        _hear_bench(watch, inputs.command, now_ds)


def _new_dive(watch: Watch, moment: Moment) -> None:
    watch.drove = watch.cut = watch.deck_seen = watch.up_seen = 0
    watch.last = NEVER
    if moment.mission.state != ARMED:
        watch.unarmed = 1
        return
    watch.unarmed = watch.water_said = 0
    watch.been_under = watch.floated = 1 if moment.depth_cm > 0 else 0
    watch.under_ds = watch.up_ds = watch.deck_ds = NEVER


def _hear_bench(watch: Watch, command: int, now_ds: int) -> None:
    if command in (signals.READY_PRIMARY, signals.READY_BACKUP):
        watch.ready_ds = now_ds
    elif command == signals.FIRE and watch.ready_ds >= 0 and now_ds - watch.ready_ds <= BENCH_READY_DS:
        watch.fire_ds, watch.ready_ds = now_ds, NEVER


def settle(moment: Moment) -> None:
    """After the checks: what the next step is compared with."""
    watch, outputs = moment.watch, moment.outputs
    driven = _driven(outputs)
    if driven and moment.mission.state != SAFE:
        watch.drove = 1
    watch.driven = 1 if driven else 0
    watch.loaded = 1 if _loaded(outputs) else 0
    watch.mission_ds = moment.mission.mission_ds
    watch.refused = outputs.refused
    for kind, code, detail, _state in moment.records:
        if kind == journal.ATTEMPT:
            watch.last, watch.open, watch.cut, watch.rose = code << 8 | detail, 1, 0, 0
        elif kind == journal.ATTEMPT_END:
            watch.open = 0


def restarted(watch: Watch) -> None:
    """A reset: the outputs have fallen off, and what was measured since the start begins anew."""
    watch.cut = 1 if watch.open or watch.cut else 0
    watch.open = watch.driven = watch.loaded = watch.refused = 0
    watch.quiet_ds = watch.driven_ds = watch.idle_ds = watch.ready_ds = watch.fire_ds = watch.lit_ds = NEVER
    watch.deck_seen = watch.up_seen = 0


# --- the checks ----------------------------------------------------------------------------------------------------


def _driven(outputs) -> int:
    return outputs.release_primary_pct or outputs.release_backup_pct


def _loaded(outputs) -> int:
    return outputs.camera_supply or outputs.lights_pct or outputs.fan


def _age_ds(moment: Moment, since_ds: int) -> int:
    return moment.sea.now_ds - since_ds if since_ds >= 0 else -1


def no_release_by_the_latest(moment: Moment) -> bool:
    """Under water for longer than the latest release, with power for ten seconds, and none commanded.

    Nobody could know it where it was never armed and one of the signs says air: that is a lander on the bench.
    """
    orders = moment.orders
    if moment.mission.state == SAFE and (moment.sea.contact == DRY or moment.sea.pressure in (AIR, FROZEN)):
        return False
    if moment.mission.command_ds >= 0 or moment.depth_cm <= orders.submerged_cm:
        return False
    late = _age_ds(moment, moment.watch.under_ds) > orders.latest_release_ds + SLACK_DS
    return late and moment.sea.now_ds - moment.sea.started_ds > POWER_DS


def clock_shows_too_little(moment: Moment) -> bool:
    """Before a command, the count since the descent began is less than what truly passed under water.

    A splash without arming is believed later, since one sign may have stood on deck for days.
    """
    mission = moment.mission
    if mission.state not in (DESCEND, RECORD) or mission.time_unknown or mission.command_ds >= 0:
        return False
    passed_ds = _age_ds(moment, moment.watch.under_ds)
    return passed_ds >= 0 and mission.mission_ds - mission.descent_ds < passed_ds - _splash_room_ds(moment)


def no_release_by_the_timed(moment: Moment) -> bool:
    """The timed release has passed, counted from when it went under, and the dive goes on."""
    mission, watch, sea = moment.mission, moment.watch, moment.sea
    if mission.state not in (DESCEND, RECORD) or mission.command_ds >= 0 or sea.now_ds - sea.started_ds <= POWER_DS:
        return False
    if moment.depth_cm <= moment.orders.submerged_cm:
        return False
    late_ds = _age_ds(moment, watch.under_ds) - moment.orders.timed_release_ds
    return late_ds > _splash_room_ds(moment)


def _splash_room_ds(moment: Moment) -> int:
    """How much later than it went under the clock may have begun."""
    orders = moment.orders
    room_ds = orders.sign_hold_ds + SLACK_DS + LAG_DS
    return room_ds + orders.one_sign_wait_ds + LAG_DS if moment.watch.unarmed else room_ds


def mission_time_fell(moment: Moment) -> bool:
    return moment.mission.mission_ds < moment.watch.mission_ds


def unknown_time_is_not_overdue(moment: Moment) -> bool:
    mission = moment.mission
    return bool(mission.time_unknown and mission.sure and mission.state in (DESCEND, RECORD))


def fired_before_water(moment: Moment) -> bool:
    """Energised outside the bench, and since arming neither was there water nor did a sign say so."""
    watch = moment.watch
    return moment.mission.state != SAFE and not watch.been_under and not watch.water_said


def fired_after_spray(moment: Moment) -> bool:
    """Energised on deck, though pressure has said air since arming, and the contact, once wet, has long dried."""
    watch = moment.watch
    dry_for_ds = _age_ds(moment, watch.honest_ds)
    return (moment.mission.state != SAFE and not watch.floated and watch.water_said == 1 and dry_for_ds > HAULED_DS
            and moment.sea.now_ds - moment.sea.started_ds > HAULED_DS)


def fired_on_deck_again(moment: Moment) -> bool:
    """Energised though it was hauled back and both signs have told the truth of it all the way."""
    watch = moment.watch
    return bool(moment.mission.state != SAFE and watch.deck_seen and _age_ds(moment, watch.deck_ds) > HAULED_DS)


def bench_fired_unasked(moment: Moment) -> bool:
    """Energised in the state safe without ready and fire, one after the other, and for no longer than a test takes."""
    if moment.mission.state != SAFE:
        return False
    age_ds = _age_ds(moment, moment.watch.fire_ds)
    return age_ds < 0 or age_ds >= BENCH_FIRE_DS or moment.depth_cm > moment.orders.submerged_cm


def fell_silent(moment: Moment) -> bool:
    """In the states of release for longer than any pause, and nothing energised."""
    return _age_ds(moment, moment.watch.quiet_ds) > _silence_ds(moment.orders)


def stays_down_untried(moment: Moment) -> bool:
    """A release was begun, the lander truly lies still under water, pressure tells the truth, and nothing is tried."""
    return _age_ds(moment, moment.watch.idle_ds) > _stuck_ds(moment.orders) and moment.mission.command_ds >= 0


def stopped_rise_untried(moment: Moment) -> bool:
    """A rise has stopped under water, pressure tells so truly, and the release is not tried again."""
    mission, watch = moment.mission, moment.watch
    if mission.state != ASCEND or moment.depth_cm <= DOWN_CM or mission.command_ds < 0:
        return False
    still_ds = min(_age_ds(moment, watch.rest_ds), _age_ds(moment, watch.pressure_true_ds),
                   mission.mission_ds - mission.ascend_ds, moment.sea.now_ds - moment.sea.started_ds)
    return still_ds > moment.orders.stalled_ds + LAG_DS


def ascent_without_end(moment: Moment) -> bool:
    """In the state ascend for longer than any ascent, whatever sensors say."""
    mission, orders = moment.mission, moment.orders
    if mission.state != ASCEND or moment.before != ASCEND:
        return False
    return mission.mission_ds - mission.ascend_ds > orders.slowest_ascent_ds + orders.surface_margin_ds + SLACK_DS


def stillness_taken_for_a_rise(moment: Moment) -> bool:
    """A release ended as risen while the lander has lain still and pressure has told the truth."""
    if not _risen(moment):
        return False
    watch = moment.watch
    still_ds = min(_age_ds(moment, watch.rest_ds), _age_ds(moment, watch.pressure_true_ds))
    return still_ds > LAG_DS


def jump_taken_for_a_rise(moment: Moment) -> bool:
    """A release ended as risen while the lander lay on the bottom, and pressure had jumped from there to air: no lander
    comes up in an instant."""
    watch = moment.watch
    if not _risen(moment) or moment.sea.pressure != AIR or moment.sea.place < BOTTOM:
        return False
    lie_ds = _age_ds(moment, watch.lie_ds)
    began_at_rest = _age_ds(moment, watch.rest_ds) - lie_ds > LAG_DS and watch.lie_ds > watch.released_ds >= 0
    return began_at_rest and moment.sea.started_ds < watch.lie_ds


def _risen(moment: Moment) -> bool:
    return moment.before in (RELEASE, BACKUP) and moment.mission.state in (ASCEND, SURFACE)


def energised_too_long(moment: Moment) -> bool:
    """One attempt takes longer than ordered, and the other channel waits."""
    orders = moment.orders
    longest_ds = orders.fire_primary_ds if moment.outputs.release_primary_pct else orders.fire_backup_ds
    return _age_ds(moment, moment.watch.driven_ds) > longest_ds + SLACK_DS


def settled_in_motion(moment: Moment) -> bool:
    """The row says that the depth stood still, while the lander moved and pressure told so, or stood at the end of its
    range, where it can tell nothing."""
    if not any(kind == journal.ROW and code in SETTLED_ROWS for kind, code, _detail, _state in moment.records):
        return False
    if _age_ds(moment, moment.watch.moving_ds) <= moment.orders.settled_ds:
        return False
    told_ds = _age_ds(moment, moment.watch.pressure_true_ds)
    return moment.sea.pressure == FULL or told_ds > moment.orders.settled_ds


def repeated_what_was_cut(moment: Moment) -> bool:
    watch = moment.watch
    return any(kind == journal.ATTEMPT and watch.cut and watch.last == code << 8 | detail
               for kind, code, detail, _state in moment.records)


def channel_twice_in_a_row(moment: Moment) -> bool:
    watch = moment.watch
    return any(kind == journal.ATTEMPT and watch.last >= 0 and not watch.rose and watch.last >> 8 == code
               for kind, code, _detail, _state in moment.records)


def fired_with_loads(moment: Moment) -> bool:
    """Camera, lights or fan were on in the outputs before, or are on beside the release."""
    return bool(moment.watch.loaded or _loaded(moment.outputs))


def both_channels(moment: Moment) -> bool:
    return bool(moment.outputs.release_primary_pct and moment.outputs.release_backup_pct)


def _sure_by_right(moment: Moment) -> bool:
    """The controller is sure of water, or has every reason to be."""
    watch = moment.watch
    room_ds = moment.orders.sign_hold_ds + LAG_DS
    seen_ds = moment.sea.now_ds - max(watch.under_ds, watch.honest_ds, moment.sea.started_ds)
    return bool(moment.mission.sure or (watch.under_ds >= 0 and watch.honest_ds >= 0 and seen_ds > room_ds))


def low_and_no_release(moment: Moment) -> bool:
    late = _age_ds(moment, moment.watch.low_ds) > moment.orders.low_hold_ds + LAG_DS
    return late and moment.mission.state in (DESCEND, RECORD) and _sure_by_right(moment)


def leak_and_no_release(moment: Moment) -> bool:
    late = _age_ds(moment, moment.watch.leak_ds) > moment.orders.leak_hold_ds + LAG_DS
    return late and moment.mission.state in (DESCEND, RECORD) and _sure_by_right(moment)


def dark_at_the_surface(moment: Moment) -> bool:
    """Afloat after a release, pressure true since it was in mid-water, and no beacon after a minute."""
    watch, mission = moment.watch, moment.mission
    if mission.command_ds < 0 or not watch.up_seen or mission.state in (SAFE, ARMED) or moment.outputs.beacon_code:
        return False
    return _age_ds(moment, watch.up_ds) > BEACON_DS


def dark_after_the_slowest_ascent(moment: Moment) -> bool:
    """Whatever is seen: the beacon is on once the slowest ascent after the command is over.

    Where no clock tells how long ago that was, a true depth may tell that it is still down.
    """
    orders, mission = moment.orders, moment.mission
    if mission.time_unknown and moment.depth_cm > DOWN_CM and moment.watch.pressure_true_ds >= 0:
        return False
    late_ds = orders.slowest_ascent_ds + orders.surface_margin_ds + SLACK_DS + LEAP_DS
    return (_age_ds(moment, moment.watch.released_ds) > late_ds and mission.state in (RELEASE, BACKUP, ASCEND, SURFACE)
            and not moment.outputs.beacon_code)


def dark_in_surface(moment: Moment) -> bool:
    return moment.mission.state == SURFACE and not moment.outputs.beacon_code


def pressed_on_a_guess(moment: Moment) -> bool:
    """A press stopped a recording that was wanted and could be seen to run."""
    return (moment.stopped and moment.orders.camera_feedback != NONE and moment.mission.state in (DESCEND, RECORD))


def lit_in_air(moment: Moment) -> bool:
    """Lights on in air past a test, while both signs tell the truth."""
    watch = moment.watch
    return _age_ds(moment, watch.lit_ds) > LAMP_TEST_DS and 0 <= watch.honest_ds <= watch.lit_ds


def heard_at_sea(moment: Moment) -> bool:
    """A command changed what is asked for or refused, under water and with no magnet near."""
    if not moment.inputs.command or moment.before not in SUBMERGED or moment.first or moment.inputs.magnet:
        return False
    asked = moment.mission.facts & (table.ARM_ASKED | table.DISARM_ASKED)
    refused = moment.outputs.refused  # that an earlier refusal is no longer shown is no answer
    return bool(asked or (refused and refused != moment.watch.refused))


def disarmed_under_water(moment: Moment) -> bool:
    """A gesture or a command ended the dive while the lander was under water and both signs said so."""
    if moment.before not in SUBMERGED or moment.mission.state != SAFE or moment.depth_cm <= moment.orders.submerged_cm:
        return False
    watch = moment.watch
    seen_ds = min(_age_ds(moment, watch.under_ds), _age_ds(moment, watch.honest_ds))
    return min(seen_ds, moment.sea.now_ds - moment.sea.started_ds) > LAG_DS


def unexplained(moment: Moment) -> bool:
    """Each change of state has its one row in the records of its step, with all of its conditions as evidence."""
    rows = [(code, detail, state) for kind, code, detail, state in moment.records if kind == journal.ROW]
    state = moment.mission.state
    if state == moment.before:
        return bool(rows)
    if len(rows) != 1 or rows[0][0] >= len(table.ROWS):
        return True
    row = table.ROWS[rows[0][0]]
    evidence = rows[0][1] & row[table.WHEN] == row[table.WHEN]
    return (row[table.FROM], row[table.TO]) != (moment.before, state) or not evidence or rows[0][2] != state


def attempt_unwritten(moment: Moment) -> bool:
    """Current flows, or ends, and no record says so."""
    kinds = [kind for kind, _code, _detail, _state in moment.records]
    driven = _driven(moment.outputs)
    if driven and not moment.watch.driven and moment.mission.state != SAFE:
        return journal.ATTEMPT not in kinds
    if moment.watch.driven and not driven and moment.before in (RELEASE, BACKUP):
        return journal.ATTEMPT_END not in kinds
    return moment.first and journal.BOOT not in kinds


def found_itself_wrong(moment: Moment) -> bool:
    return bool(moment.mission.bug)


ALWAYS, DRIVEN, WRITTEN = range(3)  # when a check has anything to look at


@dataclass(frozen=True)
class Check:
    law: int
    sentence: str
    broken: Callable[[Moment], bool]
    when: int = ALWAYS


CHECKS = (
    Check(1, "under water past the latest release, with power, and no release was commanded",
          no_release_by_the_latest),
    Check(2, "the clock of the descent shows less than truly passed", clock_shows_too_little),
    Check(2, "the timed release has passed and the dive goes on", no_release_by_the_timed),
    Check(2, "mission time fell back", mission_time_fell),
    Check(2, "time is unknown under water and that does not count as overdue", unknown_time_is_not_overdue),
    Check(3, "a release was energised and nothing had said water since arming", fired_before_water, DRIVEN),
    Check(3, "a release was energised on deck, long after the spray had dried", fired_after_spray, DRIVEN),
    Check(3, "a release was energised on deck, hauled back in plain sight of both signs", fired_on_deck_again, DRIVEN),
    Check(3, "the bench energised a release without two steps of confirmation", bench_fired_unasked, DRIVEN),
    Check(4, "in a state of release, and silent for longer than any pause", fell_silent),
    Check(4, "it lies still under water after a release was begun, and nothing more is tried", stays_down_untried),
    Check(4, "an ascent is over time, and nothing more is tried", ascent_without_end),
    Check(4, "a rise has stopped in plain sight, and nothing more is tried", stopped_rise_untried),
    Check(4, "a lander that lay still was taken for one that rises", stillness_taken_for_a_rise),
    Check(4, "a pressure that jumped to air was taken for a rise", jump_taken_for_a_rise),
    Check(4, "a release was energised for longer than ordered", energised_too_long, DRIVEN),
    Check(4, "an attempt that a reset ended was repeated in the same way", repeated_what_was_cut, WRITTEN),
    Check(4, "one channel was tried twice in a row", channel_twice_in_a_row, WRITTEN),
    Check(5, "a release was energised beside camera, lights or fan", fired_with_loads, DRIVEN),
    Check(5, "both channels were energised at once", both_channels, DRIVEN),
    Check(6, "the supply is low under water and no release was begun", low_and_no_release),
    Check(7, "water inside under water and no release was begun", leak_and_no_release),
    Check(8, "at the surface after a release, and no beacon for a minute", dark_at_the_surface),
    Check(8, "the slowest ascent is over and the beacon is dark", dark_after_the_slowest_ascent),
    Check(8, "in the state surface and the beacon is dark", dark_in_surface),
    Check(9, "a press stopped a recording that could be seen to run", pressed_on_a_guess),
    Check(10, "the lights are on in air", lit_in_air),
    Check(11, "a command was heard under water", heard_at_sea),
    Check(11, "disarmed under water, in sight of both signs", disarmed_under_water),
    Check(12, "a change of state without its row and its evidence", unexplained),
    Check(12, "a depth that changed, or that could not be read, was taken for the bottom", settled_in_motion, WRITTEN),
    Check(12, "a start, an attempt or the end of one stands in no record", attempt_unwritten),
    Check(12, "the controller found an invariant of its own broken", found_itself_wrong),
)


_BY_WHEN = tuple(tuple(check for check in CHECKS if check.when == when) for when in (ALWAYS, DRIVEN, WRITTEN))


def broken_checks(moment: Moment) -> list[Check]:
    """The checks that this moment breaks."""
    broken = [check for check in _BY_WHEN[ALWAYS] if check.broken(moment)]
    if _driven(moment.outputs):
        broken += [check for check in _BY_WHEN[DRIVEN] if check.broken(moment)]
    if moment.records:
        broken += [check for check in _BY_WHEN[WRITTEN] if check.broken(moment)]
    return broken
