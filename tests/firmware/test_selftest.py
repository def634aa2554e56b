"""The self-test between the gesture and armed: what it tests, what it refuses, and what nobody arms past."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lander_story import Story

from lander import camera, journal, lamps, orders, selftest, signals, words

SENSORS, CIRCUITS, STORE, CAMERA, LIGHTS = (
    orders.TEST_SENSORS, orders.TEST_CIRCUITS, orders.TEST_STORE, orders.TEST_CAMERA, orders.TEST_LIGHTS)
ALL = orders.TEST_ALL
LONGEST_S = 90


def lander(parts: int = ALL, **numbers) -> Story:
    return Story(self_test=parts, **numbers)


def try_to_arm(told: Story) -> Story:
    """The gesture, and time for the whole test."""
    return told.hold_magnet().after(LONGEST_S)


def passed(told: Story) -> list:
    """Bits of the parts that passed, of each test that ended."""
    return [record["detail"] for step in told.trace for record in step.records
            if record["kind"] == journal.EVENT and record["code"] == journal.E_SELF_TEST]


def details(told: Story, event: int) -> list:
    return [record["detail"] for step in told.trace for record in step.records
            if record["kind"] == journal.EVENT and record["code"] == event]


def in_the_test(part: int, **numbers) -> Story:
    """A lander whose self-test has come to this part."""
    told = lander(**numbers).after(40).hold_magnet()
    for _ in range(600):
        if told.mission.self_test.part == part:
            return told
        told.after(0.1)
    raise AssertionError("the test never came to part %d" % part)


PARTS = pytest.mark.parametrize(
    "part", [selftest.ASKING, selftest.FILMING, selftest.STOPPING, selftest.SHINING],
    ids=["circuits and store", "filming", "stopping", "lights"])


def all_off(told: Story) -> bool:
    return not any(getattr(told.outputs, name) for name in (
        "release_primary_pct", "release_backup_pct", "camera_supply", "power_button", "record_button", "lights_pct",
        "fan", "self_test"))


# --- it passes -----------------------------------------------------------------------------------------------------


def test_a_sound_lander_is_armed_by_one_gesture_once_every_part_has_passed():
    told = try_to_arm(lander())
    assert told.state == "armed"
    assert told.rows == ["safe-arm"]
    assert passed(told) == [ALL]
    assert journal.E_ARM_REFUSED not in told.events


def test_it_stays_safe_while_it_tests_and_shows_it_by_its_lamp():
    told = lander().hold_magnet()
    seen = []
    while told.state == "safe":
        seen.append((told.outputs.status_code, told.outputs.refused))
        told.after(0.5)
    assert set(seen) == {(lamps.TESTING, signals.FINE)}
    assert told.outputs.status_code == lamps.ARMED_ON_DECK


def test_it_takes_less_than_a_minute():
    told = lander().hold_magnet()
    assert told.after(60).state == "armed"


@pytest.mark.parametrize("feedback", [orders.NONE, orders.LAMP, orders.CURRENT], ids=["none", "lamp", "current"])
@pytest.mark.parametrize("supply", [orders.SWITCHED, orders.OWN_PACK], ids=["switched", "own pack"])
def test_the_camera_records_and_is_off_again_however_it_is_fed_and_seen(feedback, supply):
    told = lander(camera_feedback=feedback, camera_supply=supply)
    try_to_arm(told)
    assert told.state == "armed"
    assert any(step.recording for step in told.trace)
    assert not told.camera.on and not told.camera.recording


def test_no_more_than_one_load_is_on_at_a_time_and_no_release_ever():
    told = try_to_arm(lander())
    for step in told.trace:
        on = [name for name in ("self_test", "camera_supply", "lights_pct", "fan") if step.outputs[name]]
        assert len(on) <= 1, on
        assert not step.driven


def test_the_lights_blink_dimly_for_a_second_or_two():
    told = try_to_arm(lander())
    lit = [(step.at_ds, step.outputs["lights_pct"]) for step in told.trace if step.outputs["lights_pct"]]
    dark_ds = next(step.at_ds for step in told.trace if step.at_ds > lit[-1][0])
    assert {pct for _at, pct in lit} == {selftest.SHINE_PCT}
    assert 5 <= dark_ds - lit[0][0] <= 20


def test_lamps_that_the_plan_keeps_dimmer_are_no_brighter_in_the_test():
    told = try_to_arm(lander(lights_pct=4))
    assert max(step.outputs["lights_pct"] for step in told.trace) == 4
    assert try_to_arm(lander(lights_pct=0)).state == "armed"


@pytest.mark.parametrize("parts, asks, films, shines", [
    (0, 0, 0, 0), (SENSORS, 0, 0, 0), (CIRCUITS, 1, 0, 0), (STORE, 1, 0, 0), (CAMERA, 0, 1, 0), (LIGHTS, 0, 0, 1),
    (CIRCUITS | LIGHTS, 1, 0, 1)])
def test_the_plan_says_which_parts_are_made(parts, asks, films, shines):
    told = try_to_arm(lander(parts))
    assert told.state == "armed"
    assert any(step.outputs["self_test"] for step in told.trace) == bool(asks)
    assert any(step.outputs["camera_supply"] for step in told.trace) == bool(films)
    assert any(step.outputs["lights_pct"] for step in told.trace) == bool(shines)
    assert passed(told) == ([parts] if asks or films or shines else [])


def test_a_test_whose_only_part_has_nothing_to_do_passes_at_the_next_step():
    told = lander(LIGHTS, lights_pct=0).hold_magnet()
    assert told.state == "safe"
    assert told.after(1).state == "armed"


def test_without_parts_to_wait_for_the_gesture_arms_at_once():
    assert lander(SENSORS).hold_magnet().state == "armed"


def test_the_dive_after_a_test_films_and_comes_home_like_any_other():
    told = try_to_arm(lander()).sink_to(40).until("record", at_most_s=200)
    told.until("surface")
    assert told.attempts[0] == (0, 100)
    assert sum(step.recording and step.state == 3 for step in told.trace) > 10


# --- it refuses ----------------------------------------------------------------------------------------------------

UNREADABLE = {
    "clock never set": ({"clock_ok": 0}, SENSORS, signals.NO_CLOCK),
    "no camera temperature": ({"camera_temp_ok": 0}, SENSORS, signals.NO_TEMPERATURE),
    "no housing temperature": ({"housing_temp_ok": 0}, SENSORS, signals.NO_TEMPERATURE),
    "no water temperature": ({"water_temp_ok": 0}, SENSORS, signals.NO_TEMPERATURE),
    "no battery current": ({"current_ok": 0}, SENSORS, signals.NO_CURRENT),
    "no release current": ({"release_ok": 0}, SENSORS, signals.NO_RELEASE_CURRENT),
    "no camera feedback": ({"camera_feedback_ok": 0}, SENSORS, signals.NO_FEEDBACK),
    "one copy of the plan": ({"plan_copies": 1}, STORE, signals.PLAN_COPIES),
}


@pytest.mark.parametrize("shown, part, refusal", UNREADABLE.values(), ids=UNREADABLE)
def test_what_cannot_be_read_refuses_at_once_where_the_plan_orders_it(shown, part, refusal):
    told = lander().show(**shown).hold_magnet()
    assert (told.state, told.outputs.refused) == ("safe", refusal)
    assert details(told, journal.E_ARM_REFUSED) == [refusal]
    assert not any(step.outputs["self_test"] for step in told.trace)
    if refusal not in (signals.NO_CURRENT, signals.NO_FEEDBACK):
        assert try_to_arm(lander(ALL & ~part).show(**shown)).state == "armed"


def test_a_camera_whose_doings_the_plan_does_not_see_needs_no_feedback():
    assert try_to_arm(lander(camera_feedback=orders.NONE).show(camera_feedback_ok=0)).state == "armed"


FOUND = {
    "primary open": ({"primary_circuit": 2}, signals.PRIMARY_OPEN, SENSORS, "primary release circuit is open"),
    "primary shorted": ({"primary_circuit": 3}, signals.PRIMARY_SHORTED, SENSORS, "primary release circuit is shorted"),
    "backup open": ({"backup_circuit": 2}, signals.BACKUP_OPEN, SENSORS, "backup release circuit is open"),
    "backup shorted": ({"backup_circuit": 3}, signals.BACKUP_SHORTED, SENSORS, "backup release circuit is shorted"),
    "primary untested": ({"primary_circuit": 0}, signals.CIRCUITS_UNTESTED, SENSORS | STORE,
                         "release circuits could not be tested"),
    "backup untested": ({"backup_circuit": 0}, signals.CIRCUITS_UNTESTED, SENSORS | STORE,
                        "release circuits could not be tested"),
    "store failed": ({"store_test": 2}, signals.STORE_FAILED, SENSORS | CIRCUITS,
                     "journal memory could not be written and read back"),
    "store silent": ({"store_test": 0}, signals.STORE_FAILED, SENSORS | CIRCUITS,
                     "journal memory could not be written and read back"),
}


@pytest.mark.parametrize("found, refusal, good, sentence", FOUND.values(), ids=FOUND)
def test_what_the_board_finds_wrong_refuses_to_arm_with_its_own_number_and_sentence(found, refusal, good, sentence):
    told = lander()
    told.found.update(found)
    told.hold_magnet()
    while told.mission.self_test.part:
        told.after(0.5)
    assert (told.state, told.outputs.refused) == ("safe", refusal)
    assert words.REFUSALS[refusal] == sentence
    assert details(told, journal.E_ARM_REFUSED) == [refusal]
    assert passed(told) == [good]
    assert all_off(told)
    assert not told.camera.presses
    assert told.at_ds < 300


def test_an_answer_from_before_the_board_was_asked_does_not_count():
    told = lander(CIRCUITS)
    told.found = dict.fromkeys(told.found, 0)
    told.show(primary_circuit=lambda story: 0 if story.outputs.self_test else 1,
              backup_circuit=lambda story: 0 if story.outputs.self_test else 1)
    assert details(try_to_arm(told), journal.E_ARM_REFUSED) == [signals.CIRCUITS_UNTESTED]


def test_a_camera_that_does_not_record_refuses_and_is_off_again():
    told = lander()
    told.camera.misses = 99
    try_to_arm(told)
    assert told.state == "safe"
    assert details(told, journal.E_ARM_REFUSED) == [signals.NO_RECORDING]
    assert passed(told) == [SENSORS | CIRCUITS | STORE]
    assert all_off(told) and not told.camera.on


def test_a_failed_test_of_the_camera_lengthens_no_wait_of_the_dive():
    told = lander()
    told.camera.misses = 99
    for _ in range(4):
        try_to_arm(told)
    assert told.mission.camera.wait_ds == camera.WAIT_DS


def test_a_recording_that_is_only_assumed_since_the_feedback_failed_does_not_pass():
    told = in_the_test(selftest.FILMING).show(camera_feedback_ok=0).after(LONGEST_S)
    assert details(told, journal.E_ARM_REFUSED) == [signals.NO_RECORDING]


def test_a_camera_that_never_goes_off_refuses():
    told = lander().hold_magnet().show(camera_ma=520).after(LONGEST_S)
    assert details(told, journal.E_ARM_REFUSED) == [signals.CAMERA_STAYS_ON]
    assert all_off(told)


def test_a_camera_left_in_the_sun_refuses():
    told = try_to_arm(lander().show(camera_centi_c=6000))
    assert details(told, journal.E_ARM_REFUSED) == [signals.CAMERA_HOT]


@pytest.mark.parametrize("extra_ma", [-100, 700], ids=["no current", "seven times the current"])
def test_lamps_whose_current_is_not_the_plans_refuse(extra_ma):
    told = lander().show(supply_ma=lambda story: 40 + (100 + extra_ma) * bool(story.outputs.lights_pct))
    try_to_arm(told)
    assert details(told, journal.E_ARM_REFUSED) == [signals.LIGHTS_WRONG]
    assert all_off(told)


def test_lamps_are_not_judged_where_their_current_cannot_be_told_from_others():
    assert try_to_arm(lander(lights_ma=400).show(supply_ma=40)).state == "armed"
    assert try_to_arm(lander(ALL & ~SENSORS).show(supply_ma=0, current_ok=0)).state == "armed"


def test_a_check_that_fails_while_the_test_runs_refuses_at_its_end():
    told = in_the_test(selftest.FILMING)
    told.supply_mv = 12000
    told.after(LONGEST_S)
    assert details(told, journal.E_ARM_REFUSED) == [signals.NO_BATTERY]
    assert passed(told) == [ALL]


def test_a_second_gesture_tests_again_once_the_fault_is_mended():
    told = lander()
    told.found["backup_circuit"] = 2
    assert try_to_arm(told).state == "safe"
    told.found["backup_circuit"] = 1
    assert try_to_arm(told).state == "armed"


# --- the lamp ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("refusal", [number for number in words.REFUSALS if number], ids=words.REFUSALS.get)
def test_a_refusal_is_one_long_flash_and_as_many_short_ones_as_its_group(refusal):
    group = lamps.GROUPS[refusal]
    pattern = lamps.STATUS[lamps.REFUSED + group]
    flashes, pauses = pattern[::2], pattern[1::2]
    assert flashes[0] >= 1000
    assert list(flashes[1:]) == [250] * group
    assert pauses[-1] > 2 * max(pauses[:-1], default=0)
    assert (group == 0) == (refusal in (
        signals.DEAF, signals.WRONG_STATE, signals.NOT_READY, signals.NOT_TESTED, signals.CALLED_OFF))
    said = words.STATUS_LAMP[lamps.REFUSED + group]
    assert said.startswith("one long flash, %d short: not armed" % group if group else "one long flash: ")


def test_the_lamp_shows_the_refusal_long_enough_to_count_it_three_times():
    told = lander()
    told.found["primary_circuit"] = 2
    told.hold_magnet().after(3)
    code = told.outputs.status_code
    assert code == lamps.REFUSED + lamps.CIRCUITS
    shown_s = 0
    while told.outputs.status_code == code:
        told.after(1)
        shown_s += 1
    assert shown_s * 1000 >= 3 * sum(lamps.STATUS[code])


# --- called off, water, resets -------------------------------------------------------------------------------------


@PARTS
@pytest.mark.parametrize("how", ["gesture", "bench line"])
def test_a_gesture_or_the_bench_line_calls_it_off(part, how):
    told = in_the_test(part).show(supply_ma=140)
    if how == "gesture":
        told.magnet = 1
        told.mission.magnet.since_ds = told.mission.mission_ds - 60  # held since six seconds: as long as a gesture
        told.magnet = 0
        told.step()
    else:
        told.say(signals.ASK_DISARM)
    assert (told.state, told.outputs.refused) == ("safe", signals.CALLED_OFF)
    assert (told.outputs.lights_pct, told.outputs.self_test) == (0, 0)
    assert passed(told)[0] != ALL
    told.after(15)
    assert told.state == "safe" and all_off(told)
    assert not told.camera.on


def test_a_test_that_begins_in_the_very_step_in_which_water_is_believed_ends_in_it():
    # Little water over a low threshold still reads like air, and a contact that fell dry is believed wet for a while.
    told = lander(CIRCUITS, submerged_cm=50, surface_cm=30).after(40).show(contact_wet=1).after(1)
    told.magnet = 1
    told.step().after(4.5).show(pressure_mbar=1090).step()
    while told.mission.depth.deep.turning_ds < 0 or told.at_ds + 10 < told.mission.depth.deep.turning_ds + 50:
        told.after(1)
    told.magnet = 0
    told.show(contact_wet=0).after(1)
    assert told.rows == ["safe-splash"]
    assert journal.E_GESTURE in told.events
    assert passed(told) == [0]
    assert told.mission.self_test.failed == signals.SIGN_OF_WATER
    assert not any(step.outputs["self_test"] for step in told.trace)


def test_a_real_gesture_while_the_camera_starts_calls_it_off():
    told = lander().hold_magnet().after(3).hold_magnet(6)
    assert (told.state, told.outputs.refused) == ("safe", signals.CALLED_OFF)
    assert told.after(LONGEST_S).state == "safe"


def test_a_test_begun_while_the_camera_of_the_last_is_still_going_off_passes():
    told = in_the_test(selftest.STOPPING, camera_supply=orders.OWN_PACK).say(signals.ASK_DISARM)
    assert told.say(signals.ASK_ARM).after(LONGEST_S).state == "armed"


@pytest.mark.parametrize("command", [
    signals.ASK_ARM, signals.READY_PRIMARY, signals.READY_BACKUP, signals.FIRE, signals.ASK_ARM_ANYWAY])
@PARTS
def test_no_other_command_is_obeyed_while_it_runs(part, command):
    told = in_the_test(part).say(command)
    assert told.outputs.refused == signals.WRONG_STATE
    assert told.state == "safe"
    assert not told.say(signals.FIRE).trace[-1].driven


def test_a_channel_made_ready_before_the_test_cannot_be_fired_after_it():
    told = lander(CIRCUITS).say(signals.READY_PRIMARY).say(signals.ASK_ARM)
    told.say(signals.ASK_DISARM).say(signals.FIRE)
    assert told.outputs.refused == signals.NOT_READY
    assert not any(step.driven for step in told.trace)


def test_it_does_not_begin_while_a_channel_is_fired_on_the_bench():
    told = lander().say(signals.READY_PRIMARY).say(signals.FIRE).say(signals.ASK_ARM)
    assert told.outputs.refused == signals.WRONG_STATE
    assert not told.mission.self_test.part
    assert try_to_arm(told.after(10)).state == "armed"


@PARTS
def test_a_release_output_beside_the_test_is_an_invariant_broken(part):
    told = in_the_test(part)
    told.mission.bench_channel, told.mission.bench_ds = 0, told.mission.mission_ds
    told.step()
    assert journal.E_BUG in told.events
    assert not told.trace[-1].driven


@PARTS
def test_spray_on_the_contact_ends_it_unarmed(part):
    told = in_the_test(part).show(contact_wet=1, supply_ma=140).step()
    assert (told.state, told.outputs.refused) == ("safe", signals.SIGN_OF_WATER)
    assert (told.outputs.lights_pct, told.outputs.self_test) == (0, 0)
    assert all_off(told.after(15))


@PARTS
def test_water_inside_ends_it_unarmed(part):
    told = in_the_test(part).show(supply_ma=140).wet_inside()
    assert (told.state, told.outputs.refused) == ("safe", signals.WATER_INSIDE)
    assert told.outputs.lights_pct == 0


@PARTS
def test_a_lander_dropped_in_the_middle_of_it_descends_unarmed_and_comes_home(part):
    told = in_the_test(part).sink_to(40).until("descend", at_most_s=60)
    assert told.rows == ["safe-splash"]
    assert not told.mission.self_test.part
    assert passed(told)[0] != ALL
    told.until("surface")
    assert told.freed


def test_both_signs_that_hold_in_the_step_that_ends_it_lead_to_the_descent():
    """Signs that were seen while nobody looked at their raw readings: the row still ends the test."""
    told = in_the_test(selftest.SHINING)
    told.mission.depth.deep.on = told.mission.contact.on = True
    told.show(pressure_mbar=2000, contact_wet=1).step()
    assert told.state == "descend"
    assert not told.mission.self_test.part and told.outputs.lights_pct == 0


@PARTS
@pytest.mark.parametrize("cause", [0, 1, 2], ids=["power", "watchdog", "asked for"])
@pytest.mark.parametrize("supply", [orders.SWITCHED, orders.OWN_PACK], ids=["switched", "own pack"])
def test_a_reset_in_the_middle_comes_back_safe_and_not_testing(part, cause, supply):
    told = in_the_test(part, camera_supply=supply).reset(cause)
    assert (told.state, told.mission.self_test.part) == ("safe", selftest.IDLE)
    told.after(LONGEST_S)
    assert told.state == "safe" and all_off(told)
    assert try_to_arm(told).state == "armed"


# --- the override --------------------------------------------------------------------------------------------------


def test_a_failed_self_test_is_armed_past_over_the_bench_line_only_and_the_journal_says_what_was_passed_over():
    told = lander()
    told.found["primary_circuit"] = 2
    assert try_to_arm(told).state == "safe"
    assert try_to_arm(told).state == "safe"
    assert told.say(signals.ASK_ARM).after(5).state == "safe"
    assert told.say(signals.ASK_ARM_ANYWAY).state == "armed"
    assert details(told, journal.E_ARMED_ANYWAY) == [signals.PRIMARY_OPEN]
    assert told.rows == ["safe-arm"]


@pytest.mark.parametrize("shown, refusal", [
    ({"supply_mv": 12000}, signals.NO_BATTERY), ({"pressure_ok": 0}, signals.NO_PRESSURE),
    ({"contact_ok": 0}, signals.NO_CONTACT), ({"leak_ok": 0}, signals.NO_LEAK_PROBE),
    ({"store_free": 0}, signals.NO_ROOM), ({"clock_ok": 0}, signals.NO_CLOCK), ({"plan_copies": 1}, signals.PLAN_COPIES),
])
def test_a_failed_check_is_armed_past_in_the_same_way(shown, refusal):
    told = lander().show(**shown).after(8).say(signals.ASK_ARM_ANYWAY)
    assert told.state == "armed"
    assert details(told, journal.E_ARMED_ANYWAY) == [refusal]


def test_a_test_that_was_never_made_or_was_called_off_is_told_as_such():
    assert details(lander().say(signals.ASK_ARM_ANYWAY), journal.E_ARMED_ANYWAY) == [signals.NOT_TESTED]
    told = lander().say(signals.ASK_ARM).say(signals.ASK_DISARM).say(signals.ASK_ARM_ANYWAY)
    assert details(told, journal.E_ARMED_ANYWAY) == [signals.CALLED_OFF]
    assert details(lander(0).say(signals.ASK_ARM_ANYWAY), journal.E_ARMED_ANYWAY) == [signals.FINE]


@pytest.mark.parametrize("shown, refusal", [
    ({"leak_wet": 1}, signals.WATER_INSIDE), ({"contact_wet": 1}, signals.SIGN_OF_WATER),
    ({"pressure_mbar": 1300}, signals.SIGN_OF_WATER), ({"plan_copies": 0}, signals.BAD_PLAN),
    ({"contact_ok": 0, "pressure_ok": 0}, signals.SIGN_OF_WATER),
])
def test_nobody_arms_past_water_or_past_a_plan_that_is_gone(shown, refusal):
    told = lander(0).show(**shown).after(2).say(signals.ASK_ARM_ANYWAY)
    assert (told.state, told.outputs.refused) == ("safe", refusal)
    assert journal.E_ARMED_ANYWAY not in told.events


def test_nobody_arms_past_a_damaged_plan():
    told = lander()
    told.mission_record = None
    assert told.reset().say(signals.ASK_ARM_ANYWAY).outputs.refused == signals.BAD_PLAN


@pytest.mark.parametrize("state", ["armed", "surface"])
def test_the_override_arms_from_safe_only(state):
    told = Story().arm() if state == "armed" else Story().on_the_bottom().until("surface")
    told.say(signals.ASK_ARM_ANYWAY)
    assert told.state == state
    assert journal.E_ARMED_ANYWAY not in told.events


def test_the_override_at_sea_is_not_heard():
    told = Story().on_the_bottom().say(signals.ASK_ARM_ANYWAY)
    assert (told.state, told.outputs.refused) == ("record", signals.FINE)


def test_a_pressure_that_is_no_atmosphere_is_not_taken_for_the_surface_by_the_override():
    told = lander().show(pressure_mbar=300).after(2).say(signals.ASK_ARM_ANYWAY)
    assert told.state == "armed"
    assert told.mission.depth.surface_mbar == 1013


# --- whatever is done ----------------------------------------------------------------------------------------------

ACTS = st.lists(st.one_of(
    st.tuples(st.just("after"), st.integers(1, 300)), st.tuples(st.just("say"), st.integers(0, 6)),
    st.tuples(st.just("magnet"), st.integers(10, 90)), st.tuples(st.just("reset"), st.integers(0, 2)),
    st.tuples(st.just("contact"), st.integers(0, 1)), st.tuples(st.just("primary"), st.integers(0, 3)),
    st.tuples(st.just("misses"), st.integers(0, 9))), max_size=12)


@given(ACTS)
def test_whatever_is_done_on_deck_nothing_is_armed_untested_and_the_lights_never_stay_on(acts):
    told = lander()
    for act, value in acts:
        if act == "after":
            told.after(value / 10)
        elif act == "say":
            told.say(value)
        elif act == "magnet":
            told.hold_magnet(value / 10)
        elif act == "reset":
            told.reset(value)
        elif act == "contact":
            told.show(contact_wet=value)
        elif act == "primary":
            told.found["primary_circuit"] = value
        else:
            told.camera.misses = value
    lit_ds = 0
    before = told.trace[0]
    for step in told.trace[1:]:
        lit_ds = lit_ds + step.at_ds - before.at_ds if before.outputs["lights_pct"] and step.started < 0 else 0
        assert lit_ds <= 50
        assert step.outputs["lights_pct"] <= selftest.SHINE_PCT
        if step.before == 0 and step.state == 1:
            codes = {record["code"]: record["detail"] for record in step.records if record["kind"] == journal.EVENT}
            assert codes.get(journal.E_SELF_TEST) == ALL or journal.E_ARMED_ANYWAY in codes
        assert not (step.driven and step.outputs["status_code"] == lamps.TESTING)
        before = step
    assert journal.E_BUG not in told.events
