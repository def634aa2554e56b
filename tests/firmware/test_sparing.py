"""A supply that falls under load: what it does not carry is left off, step by step, and tried again after a while."""

import pytest

from lander import journal
from lander.drive import NO_CAMERA, NO_LIGHTS, SPARING_DS


def seen(story, output) -> int:
    """The most that this output drove since the last start."""
    return max(step.outputs[output] for step in story.trace if step.boot == story.boots)


def filming(story):
    """On the bottom, with camera and lights on."""
    told = story().on_the_bottom().after(60)
    assert told.outputs.camera_supply and told.outputs.lights_pct
    return told


def test_after_one_loss_of_power_everything_comes_on_again(story):
    told = filming(story).reset(cause=0).after(60)
    assert told.outputs.camera_supply and told.outputs.lights_pct


def test_after_the_second_one_lights_and_fan_stay_off_and_it_films_on(story):
    told = filming(story).reset(cause=0).after(60).reset(cause=0).show(camera_centi_c=5500).after(60)
    assert told.outputs.camera_supply and not seen(told, "lights_pct") and not seen(told, "fan")
    assert told.mission.sparing == NO_LIGHTS


def test_after_the_third_one_the_camera_stays_off_too(story):
    told = filming(story)
    for _ in range(3):
        told.reset(cause=0).after(60)
    assert not seen(told, "camera_supply") and told.mission.sparing == NO_CAMERA


def test_a_reset_that_was_no_loss_of_power_leaves_nothing_off(story):
    told = filming(story)
    for _ in range(4):
        told.reset(cause=1).after(60)
    assert told.mission.sparing == 0 and told.outputs.lights_pct


def test_a_loss_of_power_with_nothing_on_is_not_the_load_s(story):
    told = story().arm().after(30)
    for _ in range(4):
        told.reset(cause=0).after(30)
    assert told.mission.sparing == 0


def test_what_was_left_off_is_tried_again_one_step_at_a_time(story):
    told = filming(story)
    for _ in range(3):
        told.reset(cause=0).after(60)
    told.after(SPARING_DS // 10)
    assert told.outputs.camera_supply and not told.outputs.lights_pct
    told.after(SPARING_DS // 10)
    assert told.outputs.camera_supply and told.outputs.lights_pct
    told.after(SPARING_DS // 10)
    assert told.mission.sparing == 0


def test_every_step_of_it_is_in_the_journal(story):
    told = filming(story).reset(cause=0).after(60).reset(cause=0).after(60 + 2 * SPARING_DS // 10)
    assert [record["detail"] for step in told.trace for record in step.records
            if record["kind"] == journal.EVENT and record["code"] == journal.E_SPARING] == [1, 2, 1, 0]


@pytest.mark.parametrize("resets", [2, 3])
def test_it_releases_in_time_whatever_is_left_off(story, resets):
    told = filming(story)
    for _ in range(resets):
        told.reset(cause=0).after(60)
    told.until("release")
    assert told.at_ds <= told.trace[-1].descent_ds + told.orders.timed_release_ds + 100


def test_a_new_dive_begins_with_everything(story):
    told = story(timed_release_ds=3600, latest_release_ds=54000).on_the_bottom().after(60)
    for _ in range(3):
        told.reset(cause=0).after(10)
    told.until("surface").haul().after(40).hold_magnet()
    assert (told.state, told.mission.sparing) == ("safe", NO_CAMERA), "sooner than it is tried again by itself"
    assert told.arm().mission.sparing == 0
