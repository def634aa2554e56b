"""Every row of the table is taken by a dive that can be told in a line: a row that no dive takes is no row."""

import pytest
from lander_story import Story

from lander import orders, table


def sunk(**numbers) -> Story:
    """Armed, thrown in, both signs wet, still sinking."""
    return Story(**numbers).arm().after(60).move_to(20000, 100).until("descend").after(8)


def broken(told: Story) -> Story:
    told.mission.bug = True
    return told.after(15)


def with_damaged_record(told: Story) -> Story:
    told.mission_record = bytes(orders.RECORD_BYTES)
    return told.reset().after(15)


def timeless(told: Story) -> Story:
    return told.lose_clock().reset(cause=0).after(15)


def dry(told: Story) -> Story:
    """The contact reads air, as a broken wire does; the magnet is then believed."""
    return told.show(contact_wet=0).after(8)


def firing(**numbers) -> Story:
    return Story(**numbers).jammed().on_the_bottom().until("release").after(5)


def second(**numbers) -> Story:
    return Story(**numbers).jammed().on_the_bottom().until("backup").after(5)


def risen() -> Story:
    """Rising, and no release was ever commanded."""
    return Story().on_the_bottom().move_to(2000, 50).until("ascend")


def low(told: Story) -> Story:
    told.supply_mv = 12000
    return told.after(90)


def afloat() -> Story:
    return Story().on_the_bottom().rise_to(0.25, 0.3).after(30)


def after_release() -> Story:
    return Story().on_the_bottom().until("surface").after(60)


def unarmed() -> Story:
    return Story().arm().hold_magnet().after(40)


DIVES = {
    "safe-arm": lambda: Story().arm(),
    "safe-lost": lambda: Story().sink_to(40).after(20),
    "safe-splash": lambda: unarmed().sink_to(40),
    "safe-alone": lambda: unarmed().dead_contact().sink_to(40).after(1000),
    "armed-disarm": lambda: Story().arm().after(9).hold_magnet(),
    "armed-splash": lambda: sunk(),
    "descend-disarm": lambda: Story().arm().after(9).show(contact_wet=1).after(8).hold_magnet(),
    "descend-dry": lambda: Story().arm().after(60).show(contact_wet=1).after(9).show(contact_wet=None).after(9),
    "descend-afloat": lambda: sunk().after(20).surface().after(60),
    "descend-bug": lambda: broken(sunk()),
    "descend-time": lambda: timeless(sunk()),
    "descend-latest": lambda: sunk(timed_release_ds=53900, settle_latest_ds=60000).dead_pressure().after(6000),
    "descend-leak": lambda: sunk().wet_inside().after(8),
    "descend-plan": lambda: with_damaged_record(sunk()),
    "descend-gap": lambda: sunk().reset(cause=0, away_s=400).after(8),
    "descend-deep": lambda: sunk(too_deep_cm=9000).after(200),
    "descend-low": lambda: low(sunk()),
    "descend-due": lambda: sunk(timed_release_ds=1200).after(120),
    "descend-settled": lambda: Story().on_the_bottom(),
    "descend-assumed": lambda: sunk().dead_pressure().after(1300),
    "record-bug": lambda: broken(Story().on_the_bottom()),
    "record-time": lambda: timeless(Story().on_the_bottom()),
    "record-latest": lambda: Story(timed_release_ds=53900).on_the_bottom().after(6000),
    "record-leak": lambda: Story().on_the_bottom().wet_inside().after(8),
    "record-plan": lambda: with_damaged_record(Story().on_the_bottom()),
    "record-gap": lambda: Story().on_the_bottom().reset(cause=0, away_s=400).after(8),
    "record-deep": lambda: Story(too_deep_cm=4200).on_the_bottom().move_to(5000, 50).after(60),
    "record-low": lambda: low(Story().on_the_bottom()),
    "record-due": lambda: firing(),
    "record-rising": risen,
    "record-afloat": lambda: Story(rise_cm=5000).on_the_bottom().surface().after(60),
    "release-hauled": lambda: afloat().jammed().until("release").haul().after(60),
    "release-rising": lambda: Story().on_the_bottom().until("ascend"),
    "release-disarm": lambda: dry(firing()).hold_magnet(),
    "release-tried": lambda: second(),
    "backup-hauled": lambda: afloat().jammed().until("backup").haul().after(60),
    "backup-rising": lambda: second().surface(),
    "backup-disarm": lambda: dry(second()).hold_magnet(),
    "backup-tried": lambda: firing().after(1500),
    "ascend-surface": lambda: after_release(),
    "ascend-disarm": lambda: dry(risen()).hold_magnet(),
    "ascend-due": lambda: Story(slowest_ascent_ds=200000).on_the_bottom().move_to(2000, 50).until(
        "ascend").dead_pressure().after(20000),
    "ascend-first": lambda: risen().after(200),
    "ascend-stalled": lambda: Story().on_the_bottom().until("ascend").move_to(1500, 80).after(300),
    "ascend-late": lambda: Story().on_the_bottom().until("ascend").move_to(2500, 30).dead_pressure().after(2000),
    "surface-disarm": lambda: after_release().haul().after(60).hold_magnet(),
    "surface-time": lambda: timeless(afloat()),
    "surface-due": lambda: afloat().after(6000),
    "surface-sank": lambda: after_release().move_to(3000, 50).after(300),
    "surface-again": lambda: afloat().move_to(3000, 50).after(300),
}
# The hold of air is longer than that of the surface, so that another row is taken first unless both come at once.
AT_ONCE = {"descend-hauled": "descend-afloat", "record-hauled": "record-afloat", "ascend-hauled": "ascend-surface"}
LABELS = [table.label(number) for number in range(len(table.ROWS))]


@pytest.mark.parametrize("label", LABELS)
def test_a_dive_takes_the_row(label):
    if label in AT_ONCE:
        number = LABELS.index(label)
        later = LABELS.index(AT_ONCE[label])
        both = table.ROWS[number][table.WHEN] | table.ROWS[later][table.WHEN]
        assert table.row_taken(table.ROWS[number][table.FROM], both) == number
        return
    assert label in DIVES, "a new row wants a dive that takes it"
    assert label in DIVES[label]().rows


def test_no_dive_is_told_for_a_row_that_is_gone():
    assert set(DIVES) <= set(LABELS)
