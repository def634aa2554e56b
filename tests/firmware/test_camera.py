"""The camera through its two buttons: every feedback with every supply, and what may go wrong with a press."""

import pytest
from lander_story import Story

from lander import camera, orders

FEEDBACKS = {"none": orders.NONE, "lamp": orders.LAMP, "current": orders.CURRENT}
SUPPLIES = {"switched": orders.SWITCHED, "own_pack": orders.OWN_PACK}
EVERY = [pytest.param(feedback, supply, id=f"{word}-{name}")
         for word, feedback in FEEDBACKS.items() for name, supply in SUPPLIES.items()]
SEEING = [row for row in EVERY if row.values[0] != orders.NONE]


def filming(feedback: int, supply: int, before=lambda told: None, **numbers) -> Story:
    """On the bottom for five minutes; `before` prepares the camera on deck."""
    told = Story(camera_feedback=feedback, camera_supply=supply, **numbers)
    before(told)
    return told.on_the_bottom().after(300)


def stops(told: Story) -> list:
    return [at_ds for at_ds, stopped in told.camera.presses if stopped]


@pytest.mark.parametrize("feedback, supply", EVERY)
def test_the_camera_records_after_one_press(feedback, supply):
    told = filming(feedback, supply)
    assert told.camera.recording
    assert len(told.camera.presses) == 1
    assert told.mission.camera.step == camera.RECORDING


@pytest.mark.parametrize("feedback, supply", EVERY)
def test_the_file_is_closed_by_a_press_before_the_supply_goes(feedback, supply):
    told = filming(feedback, supply).wet_inside().after(60)
    assert len(stops(told)) == 1
    assert not told.camera.on
    closed_ds = stops(told)[0]
    off_ds = next(step.at_ds for step in told.trace if step.at_ds > closed_ds and not step.outputs["camera_supply"])
    if supply == orders.SWITCHED:
        assert off_ds - closed_ds >= told.orders.camera_stop_ds


@pytest.mark.parametrize("feedback, supply", SEEING)
@pytest.mark.parametrize("misses", [1, 2])
def test_a_missed_press_is_pressed_again(feedback, supply, misses):
    told = filming(feedback, supply, lambda told: setattr(told.camera, "misses", misses))
    assert told.camera.recording
    assert len(told.camera.presses) == misses + 1


@pytest.mark.parametrize("supply", list(SUPPLIES.values()), ids=list(SUPPLIES))
def test_a_press_for_power_that_was_not_felt_is_made_again_before_any_for_the_recording(supply):
    told = filming(orders.CURRENT, supply, lambda told: setattr(told.camera, "power_misses", 2))
    assert told.events.count(camera.journal.E_POWER) == 3
    assert told.camera.recording
    assert len(told.camera.presses) == 1


@pytest.mark.parametrize("feedback, supply", SEEING)
def test_after_three_missed_presses_the_camera_is_started_anew(feedback, supply):
    told = filming(feedback, supply, lambda told: setattr(told.camera, "misses", 3))
    assert told.camera.recording
    assert camera.journal.E_NO_ANSWER in told.events


def test_the_wait_before_a_new_start_doubles_and_is_short_again_once_it_has_recorded():
    told = Story(film_descent=0)
    told.camera.misses = 9  # three presses a start
    told.on_the_bottom()
    waits = set()
    while not told.camera.recording:
        waits.add(told.mission.camera.wait_ds)
        told.after(10)
    assert waits == {camera.WAIT_DS, 2 * camera.WAIT_DS, 4 * camera.WAIT_DS, 8 * camera.WAIT_DS}
    assert told.after(10).mission.camera.wait_ds == camera.WAIT_DS


@pytest.mark.parametrize("supply", list(SUPPLIES.values()), ids=list(SUPPLIES))
def test_without_feedback_the_toggle_is_pressed_exactly_once(supply):
    told = filming(orders.NONE, supply).after(2500)
    assert told.state == "record"
    assert len(told.camera.presses) == 1


@pytest.mark.parametrize("supply", list(SUPPLIES.values()), ids=list(SUPPLIES))
def test_feedback_that_is_lost_while_recording_brings_no_press(supply):
    told = filming(orders.CURRENT, supply).show(camera_feedback_ok=0).after(2500)
    assert told.camera.recording
    assert len(told.camera.presses) == 1


def already_recording(told: Story) -> None:
    told.camera.on = told.camera.recording = True


@pytest.mark.parametrize("feedback", [orders.LAMP, orders.CURRENT])
def test_a_camera_on_its_own_pack_that_records_already_is_not_pressed(feedback):
    told = filming(feedback, orders.OWN_PACK, already_recording)
    assert told.camera.recording
    assert stops(told) == []


def test_a_camera_that_starts_recording_by_itself_is_not_pressed():
    told = Story(film_descent=0)
    told.on_the_bottom().after(5)
    told.camera.on = told.camera.recording = True
    told.after(60)
    assert told.camera.recording
    assert stops(told) == []


@pytest.mark.parametrize("feedback, supply", SEEING)
def test_a_crashed_camera_records_again_within_two_minutes(feedback, supply):
    told = filming(feedback, supply)
    told.camera.crash()
    told.after(120)
    assert told.camera.recording


@pytest.mark.parametrize("feedback, supply", SEEING)
def test_a_recording_that_stops_by_itself_is_pressed_for_again(feedback, supply):
    told = filming(feedback, supply)
    told.camera.recording = False
    told.after(30)
    assert told.camera.recording
    assert stops(told) == []


@pytest.mark.parametrize("feedback, supply", EVERY)
def test_an_overheated_camera_rests_until_it_is_cool(feedback, supply):
    told = filming(feedback, supply).show(camera_centi_c=5900).after(120)
    assert not told.camera.on
    told.show(camera_centi_c=5000).after(120)
    assert not told.camera.on
    told.show(camera_centi_c=4400).after(120)
    assert told.camera.recording
    assert told.state == "record"


def test_an_invalid_temperature_leaves_the_camera_alone_and_runs_the_fan():
    told = filming(orders.CURRENT, orders.SWITCHED).show(camera_temp_ok=0, camera_centi_c=20000).after(60)
    assert told.camera.recording
    assert told.outputs.fan


def test_the_fan_has_its_hysteresis():
    told = filming(orders.CURRENT, orders.SWITCHED)
    shown = []
    for centi_c in (3399, 3400, 3000, 2901, 2900, 3399):
        shown.append(told.show(camera_centi_c=centi_c).after(20).outputs.fan)
    assert shown == [0, 1, 1, 1, 0, 0]


@pytest.mark.parametrize("feedback, supply", EVERY)
def test_after_a_reset_the_camera_records_again_and_no_recording_is_stopped(feedback, supply):
    told = filming(feedback, supply).reset(away_s=3).after(120)
    assert told.camera.recording
    assert stops(told) == []


@pytest.mark.parametrize("feedback, supply", EVERY)
@pytest.mark.parametrize("wait_s", [0.1, 0.3, 2, 4, 8, 14.6, 15, 17])
def test_filming_called_off_at_any_moment_of_the_start_leaves_the_camera_off(feedback, supply, wait_s):
    told = Story(camera_feedback=feedback, camera_supply=supply, film_descent=0, leak_hold_ds=5)
    told.arm().after(60).sink_to(40).until("record", at_most_s=200)
    told.after(wait_s).wet_inside().after(90)
    assert told.attempts
    assert not told.camera.on


@pytest.mark.parametrize("feedback, supply", EVERY)
def test_the_lights_follow_the_recording(feedback, supply):
    told = filming(feedback, supply)
    for step in told.trace:
        assert not step.outputs["lights_pct"] or (step.recording and step.state == 3)
    assert told.outputs.lights_pct == told.orders.lights_pct


def test_the_lights_go_out_when_nothing_is_left_that_says_water():
    told = Story(one_sign_wait_ds=600).arm().dead_contact().sink_to(40).until("record", at_most_s=200).after(120)
    assert told.outputs.lights_pct, "the depth alone is enough"
    told.dead_pressure().after(20)
    assert (told.state, told.camera.recording, told.outputs.lights_pct) == ("record", True, 0)


def test_lights_in_turns_are_on_and_off_for_their_times():
    told = Story(lights_on_ds=600, lights_off_ds=1200, reading_bottom_ds=50).on_the_bottom().after(2000)
    lit = [step.outputs["lights_pct"] > 0 for step in told.trace if step.state == 3 and step.recording]
    assert 0.25 < sum(lit) / len(lit) < 0.42


def test_no_press_is_shorter_or_longer_than_ordered():
    told = filming(orders.CURRENT, orders.OWN_PACK).wet_inside().after(60)
    lengths = {"power_button": told.orders.power_press_ds, "record_button": told.orders.record_press_ds}
    for name, length_ds in lengths.items():
        began_ds = None
        for step in told.trace:
            if step.outputs[name] and began_ds is None:
                began_ds = step.at_ds
            elif not step.outputs[name] and began_ds is not None:
                assert step.at_ds - began_ds == length_ds
                began_ds = None


def test_what_the_feedback_shows_is_read_at_its_thresholds():
    given, shown = orders.Orders(), Story().inputs
    given.camera_feedback = orders.CURRENT
    for milliampere, seen in ((79, camera.SEEN_OFF), (80, camera.SEEN_IDLE), (369, camera.SEEN_IDLE),
                              (370, camera.SEEN_RECORDING)):
        shown.camera_ma = milliampere
        assert camera.see(given, shown) == seen
    given.camera_feedback = orders.LAMP
    for permille, seen in ((399, camera.SEEN_NOT_RECORDING), (400, camera.SEEN_RECORDING)):
        shown.camera_lamp_permille = permille
        assert camera.see(given, shown) == seen
    shown.camera_feedback_ok = 0
    assert camera.see(given, shown) == camera.UNSEEN
