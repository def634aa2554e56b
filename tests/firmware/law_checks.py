"""The twelve laws as checks of a recorded trace: each takes (trace, orders) and returns a list of breaches.

The same check is run on the core and on cores that were broken on purpose: a check that
no broken core fails proves nothing. The truth of an instant (depth, recording, charge used) comes with each step.
"""

from itertools import groupby, pairwise

from lander import journal, signals, table
from lander import orders as order_list
from lander.table import ARMED, ASCEND, BACKUP, DESCEND, RECORD, RELEASE, SAFE, SURFACE

SLACK_DS = 30  # a wake on deck, and the step that takes note
POWERED_DS = 100  # law 1: power for 10 s
AIR_S = 10  # law 10: a few seconds, the hold of a sign among them
AFLOAT_CM = 25
SUBMERGED = (DESCEND, RECORD, RELEASE, BACKUP, ASCEND)


def under_water(trace):
    """Runs of steps in which the lander truly was under water: from the depth that counts until it is in the air."""
    for wet_ds, run in groupby(trace, key=lambda step: step.wet_ds):
        if wet_ds is not None:
            yield wet_ds, list(run)


def home(trace, orders) -> list:
    """Law 1: a release is energised by the latest release, or within 10 s of power after it."""
    breaches = []
    for wet_ds, run in under_water(trace):
        deadline_ds = wet_ds + orders.latest_release_ds
        fired_ds = min((step.at_ds for step in run if step.driven), default=None)
        powered = {}
        for step in run:
            if step.at_ds >= deadline_ds:
                powered.setdefault(step.boot, [step.at_ds, step.at_ds])[1] = step.at_ds
        first = [span for span in powered.values() if span[1] - span[0] >= POWERED_DS]
        due_ds = max(deadline_ds, first[0][0]) + POWERED_DS if first else None
        if due_ds is not None and (fired_ds is None or fired_ds > due_ds):
            breaches.append("under water since %d, no release by %d" % (wet_ds, due_ds))
    return breaches


def time_goes_on(trace, orders) -> list:
    """Law 2: until a release is commanded, the clock of the descent never shows less than truly passed."""
    breaches = []
    for wet_ds, run in under_water(trace):
        for step in run:
            true_ds = step.at_ds - wet_ds
            if step.state == SURFACE or step.command_ds >= 0:
                break
            if step.time_unknown:
                continue
            shown_ds = step.mission_ds - step.descent_ds if step.descent_ds >= 0 else 0
            if shown_ds < true_ds - orders.sign_hold_ds - SLACK_DS:
                breaches.append("at %d the clock shows %d of %d" % (step.at_ds, shown_ds, true_ds))
                break
    breaches.extend("at %d unknown time under water brought no release" % step.at_ds for step in trace
                    if step.time_unknown and step.sure and step.state in (DESCEND, RECORD))
    breaches.extend("mission time fell back at %d" % after.at_ds for before, after in pairwise(trace)
                    if after.mission_ds < before.mission_ds)
    return breaches


def not_on_deck(trace, orders) -> list:
    """Law 3: nothing is energised before a submersion since arming, nor on deck again; the bench asks twice."""
    breaches = []
    wet = False
    air_since_ds = trace[0].at_ds
    ready_ds = fire_ds = -10**6
    for step in trace:
        if step.depth_cm > orders.submerged_cm:
            wet = True
        if step.depth_cm > 0:
            air_since_ds = None
        elif air_since_ds is None:
            air_since_ds = step.at_ds
        if step.before == SAFE and step.state == ARMED:
            wet = step.depth_cm > 0
        command = step.inputs["command"]
        if step.before == SAFE and command in (signals.READY_PRIMARY, signals.READY_BACKUP):
            ready_ds = step.at_ds
        if step.before == SAFE and command == signals.FIRE and step.at_ds - ready_ds <= 100:
            fire_ds, ready_ds = step.at_ds, -10**6
        if not step.driven:
            continue
        if step.state == SAFE:
            if step.at_ds - fire_ds >= 50:
                breaches.append("bench: energised at %d without two steps of confirmation" % step.at_ds)
        elif not wet:
            breaches.append("energised at %d, never under water" % step.at_ds)
        elif air_since_ds is not None and step.at_ds - air_since_ds > 600:
            breaches.append("energised at %d on deck" % step.at_ds)
    return breaches


def never_gives_up(trace, orders) -> list:
    """Law 4: attempts go on until a rise, alternate, pause longer, and change after one that reset the controller."""
    breaches = []
    last = None  # (time, channel, drive)
    open_cut = cut = rise = False
    longest_gap_ds = (orders.pause_max_ds + orders.shed_ds + max(orders.fire_primary_ds, orders.fire_backup_ds)
                      + SLACK_DS)
    waiting_since_ds = None
    for step in trace:
        if step.before in (RELEASE, BACKUP) and step.state not in (RELEASE, BACKUP):
            why = [table.label(r["code"]) for r in step.records if r["kind"] == journal.ROW]
            if not why or why[-1].split("-")[1] not in ("rising", "hauled", "disarm"):
                breaches.append("left the release at %d without a rise" % step.at_ds)
        if step.state not in (RELEASE, BACKUP):
            waiting_since_ds, rise = None, True
            last = None if step.state in (SAFE, ARMED) else last
            if step.state != ASCEND:
                open_cut = cut = False
            continue
        if step.started >= 0 and open_cut:
            cut = True
        waiting_since_ds = step.at_ds if waiting_since_ds is None or step.driven else waiting_since_ds
        if step.at_ds - waiting_since_ds > longest_gap_ds:
            breaches.append("no attempt from %d to %d" % (waiting_since_ds, step.at_ds))
            waiting_since_ds = step.at_ds
        for record in step.records:
            if record["kind"] == journal.ATTEMPT_END:
                open_cut = False
            if record["kind"] != journal.ATTEMPT:
                continue
            this = (record["code"], record["detail"])
            if last is not None and cut and this == last:
                breaches.append("the attempt that reset the controller is repeated at %d" % step.at_ds)
            if last is not None and not rise and this[0] == last[0]:
                breaches.append("channel %d twice in a row at %d" % (this[0], step.at_ds))
            last, open_cut, cut, rise = this, True, False, False
    return breaches + _pauses_shrink(trace)


def _pauses_shrink(trace) -> list:
    """Pauses between attempts, watched without a reset or a rise, never become shorter."""
    breaches = []
    ended_ds, pause_ds, boot = None, 0, None
    for step in trace:
        if step.boot != boot or step.state not in (RELEASE, BACKUP):
            ended_ds, pause_ds, boot = None, 0, step.boot
        for record in step.records:
            if record["kind"] == journal.ATTEMPT_END:
                ended_ds = step.at_ds
            elif record["kind"] == journal.ATTEMPT and ended_ds is not None:
                if step.at_ds - ended_ds < pause_ds - SLACK_DS:
                    breaches.append("the pause before %d is shorter than the one before" % step.at_ds)
                pause_ds, ended_ds = step.at_ds - ended_ds, None
    return breaches


def sheds_first(trace, orders) -> list:
    """Law 5: camera, lights and fan were off before and are off while energised; one channel at a time."""
    breaches = []
    before = None
    for step in trace:
        told = (step,) if before is None or before.boot != step.boot else (before, step)
        if step.driven and any(s.outputs["camera_supply"] or s.outputs["lights_pct"] or s.outputs["fan"] for s in told):
            breaches.append("energised at %d beside camera, lights or fan" % step.at_ds)
        if step.outputs["release_primary_pct"] and step.outputs["release_backup_pct"]:
            breaches.append("both channels at %d" % step.at_ds)
        before = step
    return breaches


def enough_left(trace, orders) -> list:
    """Law 6: under water for sure, the release begins before charge or voltage is below the reserve."""
    breaches = []
    low_ds = None
    for step in trace:
        low = step.inputs["supply_ok"] and step.inputs["supply_mv"] < orders.reserve_mv
        low_ds = (low_ds if low_ds is not None else step.at_ds) if low and step.sure else None
        if step.command_ds >= 0 or not step.sure or step.state not in (DESCEND, RECORD):
            continue
        if low_ds is not None and step.at_ds - low_ds > orders.low_hold_ds + orders.reading_bottom_ds + SLACK_DS:
            breaches.append("no release at %d though the supply is low since %d" % (step.at_ds, low_ds))
        if orders.capacity_mah - step.used_mah < orders.reserve_mah - 5:
            breaches.append("no release at %d with %d mAh left" % (step.at_ds, orders.capacity_mah - step.used_mah))
    return breaches


def water_inside(trace, orders) -> list:
    """Law 7: water inside brings a release within its hold, under water."""
    breaches = []
    since_ds = None
    for step in trace:
        wet = step.inputs["leak_ok"] and step.inputs["leak_wet"] and step.sure
        since_ds = (since_ds if since_ds is not None and step.started < 0 else step.at_ds) if wet else None
        if since_ds is None or step.state not in (DESCEND, RECORD):
            continue
        if step.at_ds - since_ds > orders.leak_hold_ds + SLACK_DS:
            breaches.append("no release at %d with water inside since %d" % (step.at_ds, since_ds))
    return breaches


def seen_at_surface(trace, orders) -> list:
    """Law 8: the beacon is on within 60 s of surfacing, by the slowest ascent at the latest, for the planned hours."""
    breaches = []
    was_deep = False
    up_ds = fired_ds = None
    for step in trace:
        if step.state in (SAFE, ARMED):
            was_deep, up_ds, fired_ds = False, None, None
            continue
        if step.depth_cm > orders.submerged_cm + 200:
            was_deep, up_ds = True, None
        elif was_deep and step.depth_cm <= orders.surface_cm:
            up_ds = step.at_ds if up_ds is None else up_ds
        fired_ds = step.at_ds if fired_ds is None and step.driven else fired_ds
        late_ds = orders.slowest_ascent_ds + orders.surface_margin_ds + orders.reading_bottom_ds + SLACK_DS
        shown = step.inputs["pressure_ok"] and step.inputs["pressure_mbar"] < 1113
        seen = up_ds is not None and shown and 600 < step.at_ds - up_ds <= orders.beacon_ds
        unseen = fired_ds is not None and step.at_ds - fired_ds > late_ds
        if (seen or unseen) and not step.outputs["beacon_code"]:
            breaches.append("no beacon at %d, at the surface since %s" % (step.at_ds, up_ds))
    return breaches


def footage(trace, orders) -> list:
    """Law 9: 95 % of the bottom time is recorded, and with feedback no press stops a recording on the bottom."""
    bottom_ds = filmed_ds = 0
    for step, after in pairwise(trace):
        if step.state == RECORD and after.boot == step.boot:
            bottom_ds += after.at_ds - step.at_ds
            filmed_ds += (after.at_ds - step.at_ds) * step.recording
    breaches = []
    if filmed_ds < bottom_ds * 95 // 100:
        breaches.append("filmed %d of %d" % (filmed_ds, bottom_ds))
    if orders.camera_feedback != order_list.NONE:
        for before, step in pairwise(trace):
            pressed = step.outputs["record_button"] and not before.outputs["record_button"]
            if pressed and step.recording and step.state in (DESCEND, RECORD):
                breaches.append("a press at %d stops a recording that runs" % step.at_ds)
    return breaches


def dark_in_air(trace, orders) -> list:
    """Law 10: no light in the air, past a few seconds."""
    since_ds = None
    breaches = []
    for step in trace:
        lit = step.outputs["lights_pct"] and step.depth_cm <= AFLOAT_CM
        since_ds = (since_ds if since_ds is not None else step.at_ds) if lit else None
        if lit and step.at_ds - since_ds > AIR_S * 10:
            breaches.append("lights on in air at %d" % step.at_ds)
    return breaches


def deaf_at_sea(trace, orders) -> list:
    """Law 11: under water a command changes nothing: no fact, no output that tells of it, no record."""
    breaches = []
    for before, step in pairwise(trace):
        if not step.inputs["command"] or step.before not in SUBMERGED or step.started >= 0:
            continue
        asked = step.facts & (table.ARM_ASKED | table.DISARM_ASKED) and before.inputs["magnet"] == 0
        if asked or step.outputs["refused"] != before.outputs["refused"]:
            breaches.append("heard a command at %d" % step.at_ds)
    return breaches


def nothing_unexplained(trace, orders) -> list:
    """Law 12: each change of state and each attempt is in the records of its step, with its reason and evidence."""
    breaches = []
    before = None
    for step in trace:
        same_run = before is not None and before.boot == step.boot
        rows = [r for r in step.records if r["kind"] == journal.ROW]
        if step.state != step.before:
            row = table.ROWS[rows[0]["code"]] if len(rows) == 1 and rows[0]["code"] < len(table.ROWS) else None
            if row is None or (row[table.FROM], row[table.TO]) != (step.before, step.state):
                breaches.append("a change of state at %d without its row" % step.at_ds)
            elif rows[0]["detail"] & row[table.WHEN] != row[table.WHEN] or rows[0]["state"] != step.state:
                breaches.append("a row at %d without its evidence" % step.at_ds)
        elif rows:
            breaches.append("a row at %d and no change of state" % step.at_ds)
        driven_before = same_run and before.driven
        attempts = [r for r in step.records if r["kind"] == journal.ATTEMPT]
        bench = [r for r in step.records if r["kind"] == journal.EVENT and r["code"] == journal.E_BENCH_ON]
        if step.driven and not driven_before and not attempts and not bench:
            breaches.append("energised at %d without a record" % step.at_ds)
        if driven_before and not step.driven and before.state in (RELEASE, BACKUP) and not any(
                r["kind"] == journal.ATTEMPT_END for r in step.records):
            breaches.append("an attempt ends at %d without a record" % step.at_ds)
        if step.started >= 0 and not any(r["kind"] == journal.BOOT for r in step.records):
            breaches.append("a start at %d without a record" % step.at_ds)
        before = step
    return breaches


LAWS = {1: home, 2: time_goes_on, 3: not_on_deck, 4: never_gives_up, 5: sheds_first, 6: enough_left, 7: water_inside,
        8: seen_at_surface, 9: footage, 10: dark_in_air, 11: deaf_at_sea, 12: nothing_unexplained}


def breaches(story, *laws: int) -> list:
    """What the story breaks of these laws, or of all of them."""
    return ["law %d: %s" % (law, breach) for law in laws or LAWS for breach in LAWS[law](story.trace, story.orders)]
