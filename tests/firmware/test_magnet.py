"""Gestures through the closed housing, and the checks before arming."""

import pytest
from lander_story import Story

from lander import journal, signals


@pytest.mark.parametrize("seconds, state", [(0.2, "safe"), (4.9, "safe"), (5, "armed"), (15, "armed"), (15.1, "safe"),
                                            (600, "safe")])
def test_a_gesture_arms_and_a_brush_or_a_stuck_magnet_does_not(seconds, state):
    assert Story().hold_magnet(seconds).state == state


def test_a_second_gesture_disarms():
    assert Story().arm().after(20).hold_magnet().state == "safe"


REFUSALS = {
    "water inside": ({"leak_wet": 1}, signals.WATER_INSIDE),
    "no leak probe": ({"leak_ok": 0}, signals.NO_LEAK_PROBE),
    "battery low": ({"supply_mv": 12599}, signals.NO_BATTERY),
    "battery unread": ({"supply_ok": 0}, signals.NO_BATTERY),
    "pressure unread": ({"pressure_ok": 0}, signals.NO_PRESSURE),
    "pressure of water": ({"pressure_mbar": 1101}, signals.NO_PRESSURE),
    "pressure of no deck": ({"pressure_mbar": 300}, signals.NO_PRESSURE),
    "contact wet": ({"contact_wet": 1}, signals.NO_CONTACT),
    "contact unread": ({"contact_ok": 0}, signals.NO_CONTACT),
    "journal full": ({"store_free": 100}, signals.NO_ROOM),
}


@pytest.mark.parametrize("shown, refusal", REFUSALS.values(), ids=REFUSALS)
def test_a_failed_check_refuses_to_arm_and_says_why_for_half_a_minute(shown, refusal):
    told = Story().show(**shown).step().hold_magnet()
    assert told.state == "safe"
    assert told.outputs.refused == refusal
    assert journal.E_ARM_REFUSED in told.events
    assert told.after(31).outputs.refused == signals.FINE


def test_a_damaged_mission_record_refuses_to_arm():
    told = Story()
    told.mission_record = None
    told.reset().hold_magnet()
    assert (told.state, told.outputs.refused) == ("safe", signals.BAD_PLAN)


def test_arming_takes_the_air_pressure_of_the_day():
    told = Story().show(pressure_mbar=987).arm()
    assert told.mission.depth.surface_mbar == 987


@pytest.mark.parametrize("state", ["safe", "armed"])
def test_a_reset_with_the_magnet_in_place_is_no_gesture_by_itself(state):
    told = Story()
    if state == "armed":
        told.arm().after(5)
    told.magnet = 1
    told.reset(away_s=60).after(1)
    told.magnet = 0
    assert told.step().state == state


def test_the_bench_line_arms_and_disarms_on_deck():
    told = Story().say(signals.ASK_ARM)
    assert told.state == "armed"
    assert told.say(signals.ASK_DISARM).state == "safe"


def test_the_bench_line_ends_the_dive_of_a_lander_that_was_recovered_and_not_of_one_afloat():
    told = Story().on_the_bottom().until("surface").after(60).say(signals.ASK_DISARM)
    assert (told.state, told.outputs.refused) == ("surface", signals.SIGN_OF_WATER)
    assert told.haul().after(60).say(signals.ASK_DISARM).state == "safe"


@pytest.mark.parametrize("command", [signals.ASK_DISARM, 0])
def test_a_command_that_fits_no_state_changes_none(command):
    assert Story().say(command).state == "safe"


def test_a_gesture_ends_the_dive_on_deck():
    told = Story().on_the_bottom().until("surface").haul().after(60).hold_magnet()
    assert told.state == "safe"
    assert told.arm().state == "armed"
    assert told.mission.dive == 2


def test_a_second_dive_after_the_first_is_released_like_the_first():
    told = Story().on_the_bottom().until("surface").haul().after(60).hold_magnet()
    told.freed, told.driven_s = False, [0.0, 0.0]
    told.on_the_bottom().until("surface")
    assert told.states.count("release") == 2
