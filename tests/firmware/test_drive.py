"""Outputs that a state drives, where no law is broken by too much of them."""

from lander_story import Story

from lander import drive, lamps, report


def test_the_beacon_of_a_lander_that_stays_down_is_dark_until_the_slowest_ascent_is_over():
    told = Story(slowest_ascent_ds=3000, surface_margin_ds=600, reading_bottom_ds=50).jammed().on_the_bottom()
    told.until("release")
    command_ds = told.mission.command_ds
    told.after(400)
    lit = {step.mission_ds - command_ds >= 3600: set() for step in told.trace}
    for step in told.trace:
        lit[step.mission_ds - command_ds >= 3600].add(step.outputs["beacon_code"])
    assert lit == {False: {lamps.NO_BEACON}, True: {lamps.FLASH}}


def test_the_seldom_rhythm_is_counted_at_the_charge_that_its_flashes_take():
    lit_share = {code: lamps.BEACON[code][0] / sum(lamps.BEACON[code]) for code in (lamps.FLASH, lamps.SPARSE)}
    assert lit_share[lamps.FLASH] / lit_share[lamps.SPARSE] == drive.SPARSE_PART


def test_a_pack_whose_voltage_falls_away_spares_the_lamp_though_the_count_says_plenty():
    told = Story(beacon_ds=720000, beacon_ma=100, reserve_mv=14000, reserve_mah=3000, capacity_mah=10000)
    told.on_the_bottom().until("surface").after(200)
    assert told.outputs.beacon_code == lamps.FLASH
    assert told.show(supply_mv=13000).after(300).outputs.beacon_code == lamps.SPARSE
    assert told.show(supply_mv=14100).after(300).outputs.beacon_code == lamps.FLASH


def test_the_count_knows_of_the_beacon_where_the_current_cannot_be_read():
    told = Story(beacon_ds=720000, beacon_ma=400, controller_ma=40).on_the_bottom().until("surface")
    told.show(supply_ma=0, current_ok=0).after(60)
    before_mah = told.mission.energy.used_mah
    drawn_mah = told.after(10 * 3600).mission.energy.used_mah - before_mah
    assert 0.74 * 400 * 10 <= drawn_mah <= 400 * 10


def test_reports_begin_and_end_with_the_beacon():
    told = Story(beacon_ds=600).on_the_bottom().until("surface").after(100).haul().after(60).hold_magnet().after(5)
    assert told.state == "safe"
    assert {(bool(step.outputs["beacon_code"]), step.outputs["report"]) for step in told.trace} == {(False, 0), (True, 1)}
    assert report.path_of(told.mission) == report.TIMED


def test_a_contact_that_never_felt_water_darkens_the_lights_in_shallow_water_only():
    for metres, lit in ((40, True), (15, False)):
        told = Story(one_sign_wait_ds=600).arm().show(contact_wet=0).after(60).sink_to(metres)
        told.until("record", at_most_s=200).after(120)
        assert told.camera.recording
        assert bool(told.outputs.lights_pct) == lit, metres


def test_a_contact_that_falls_dry_stops_no_clock_once_the_pressure_was_more_than_the_air():
    told = Story().arm().show(contact_wet=1).after(10)
    assert told.state == "descend"
    told.sink_to(1.2, 0.1).rise_to(0.5, 0.1).show(contact_wet=0).after(30)
    assert told.state == "descend"


def test_a_contact_that_has_felt_water_darkens_the_lights_at_any_depth_when_it_is_dry():
    told = Story().on_the_bottom().after(60)
    assert told.outputs.lights_pct
    assert not told.show(contact_wet=0).after(10).outputs.lights_pct
