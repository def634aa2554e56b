"""Each item of the check on deck, judged from what was read of a lander that is made up by hand.

What is held here are statements of this project, except where an outside rule is named beside the check.
"""

from datetime import UTC, datetime, timedelta

import pytest

from lander import VERSION, journal, orders, signals
from seatrial.plan import load_sample
from tumblehome.deck import checks
from tumblehome.deck.asking import BY_ITEM, Asking
from tumblehome.deck.checks import ITEMS, KEYS, splashed_at
from tumblehome.deck.judging import is_go, judged, reasons
from tumblehome.deck.reading import ClockLook, Read, is_of_a_dive, states_in

PLAN = load_sample()
NOW = datetime(2027, 5, 18, 6, 20, tzinfo=UTC)
EPOCH = datetime(2020, 1, 1, tzinfo=UTC)  # of the controller's clock, as DEVELOPERS.md has it
REST_MV = 16690  # 4 cells at 98 %, and 38 mA through 168 mOhm
ANSWERED = dict.fromkeys(BY_ITEM, True)


def seen(number, **changes):
    """Readings of one step on deck, of a lander that is sound."""
    found = {row[0]: 0 for row in (*signals.INPUTS, *signals.OUTPUTS)}
    found.update({name: 1 for name in found if name.endswith("_ok")})
    found.update(uptime_ds=10 * number, pressure_mbar=1010 + 3 * (number % 3), supply_mv=REST_MV, supply_ma=38,
                 camera_centi_c=1600, housing_centi_c=1600, water_centi_c=1590, faults=0)
    found.update(changes)
    return found


def clock(after_s, off_s=0.0, is_ok=True):
    at = NOW + timedelta(seconds=after_s)
    return ClockLook(at, int((at - EPOCH).total_seconds() + off_s), is_ok, 0.02)


def sound(**changes):
    """What is read of a sound lander that has been armed."""
    read = Read(PLAN, PLAN.dive.splash_utc, NOW)
    read.greeting = {"lander": VERSION, "board": "pico", "id": "e660583883533500"}
    read.status = {"state": "safe"}
    read.record, read.plan_copies = PLAN.mission_record(), 2
    read.firmware_digest = read.firmware_expected = "ab" * 8
    read.journal = {"slots": 16384, "next": 2, "free": 16318, "bad": 0, "newest": 1}
    read.journal_states = frozenset({0, 1})
    read.rest = [seen(number) for number in range(12)]
    read.clocks = [clock(0), clock(15)]
    read.circuits = {"primary": 1, "backup": 1, "primary_mv": 1650, "backup_mv": 2240}
    read.lights_pct = 70
    read.lights = {"level": 70, "left_ms": 0, "supply_mv": REST_MV - 141, "supply_ma": 878, "peak_ma": 880,
                   "rest_ma": 38, "camera_ma": 0}
    read.answers = dict(ANSWERED)
    read.armed = {"state": "armed", "refusal": 0, "passed": 31, "anyway": False, "said": "", "status_code": 2,
                  "utc": "2027-05-18T06:21:00.000Z"}
    for name, value in changes.items():
        setattr(read, name, value)
    return read


def rest(**changes):
    return [seen(number, **changes) for number in range(12)]


def finding(key, read):
    return next(item for item in ITEMS if item.key == key).judge(read)


def wrong(read):
    """The keys of all that is not ok."""
    return {each.item.key for each in judged(read, {}, with_arming=True) if not each.finding.ok}


def test_a_sound_lander_is_go_in_every_item():
    assert wrong(sound()) == set()
    assert is_go(judged(sound(), {}, with_arming=True))


# --- one thing wrong, and it is named -----------------------------------------------------------------------------------

LIT = {"level": 70, "left_ms": 0, "supply_mv": 16480, "supply_ma": 1240, "peak_ma": 1240, "rest_ma": 1235, "camera_ma": 0}
DOUBLED = {"level": 70, "left_ms": 0, "supply_mv": REST_MV - 141, "supply_ma": 1756, "peak_ma": 1760, "rest_ma": 76,
           "camera_ma": 0}
OTHER = {"level": 70, "left_ms": 0, "supply_mv": REST_MV - 141, "supply_ma": 438, "peak_ma": 440, "rest_ma": 38,
         "camera_ma": 0}


@pytest.mark.parametrize(("named", "words", "changes"), [
    ({"state"}, "armed", {"status": {"state": "armed"}}),
    ({"plan"}, "damaged", {"record": None}),
    ({"plan"}, "timed_release_ds", {"record": orders.pack(load_sample().model_copy(update={
        "times": PLAN.times.model_copy(update={"timed_release_min": 200})}).orders())}),
    ({"plan-copies"}, "1 of 2", {"plan_copies": 1}),
    ({"firmware"}, "0.0.1", {"greeting": {"lander": "0.0.1"}}),
    ({"firmware"}, "lander/table.mpy", {"firmware_digest": "cd" * 8, "firmware_differs": ("lander/table.mpy",)}),
    ({"firmware"}, "no mpy-cross", {"firmware_expected": None, "firmware_unknown": "no mpy-cross"}),
    ({"pins"}, "2 outputs", {"rest": rest(faults=2)}),
    ({"leak"}, "water inside", {"rest": rest(leak_wet=1)}),
    ({"leak"}, "cannot be read", {"rest": rest(leak_ok=0)}),
    ({"contact"}, "says water", {"rest": rest(contact_wet=1)}),
    ({"contact"}, "cannot be read", {"rest": rest(contact_ok=0)}),
    ({"pressure"}, "cannot be read", {"rest": [seen(n, pressure_ok=0) for n in range(12)]}),
    ({"pressure"}, "930 mbar", {"rest": [seen(n, pressure_mbar=929 + n % 3) for n in range(12)]}),
    ({"pressure"}, "says water", {"rest": [seen(n, pressure_mbar=1300 + n % 3) for n in range(12)]}),
    ({"pressure-moves"}, "frozen", {"rest": rest(pressure_mbar=1013)}),
    ({"thermometers"}, "water", {"rest": rest(water_temp_ok=0)}),
    ({"clock"}, "never set, or its crystal", {"clocks": [clock(0, is_ok=False), clock(15, is_ok=False)]}),
    ({"clock"}, "went on by", {"clocks": [clock(0), clock(15, off_s=-15)]}),
    ({"clock"}, "is off: +10 s", {"clocks": [clock(0, off_s=9), clock(15, off_s=9)]}),
    ({"battery"}, "15.90 V", {"rest": rest(supply_mv=15900), "lights": {**sound().lights, "supply_mv": 15759}}),
    ({"battery"}, "more than 4 full cells", {"rest": rest(supply_mv=20000), "lights": {**sound().lights, "supply_mv": 19859}}),
    ({"resistance"}, "sags", {"lights": {**sound().lights, "supply_mv": REST_MV - 420}}),
    ({"lamp-off", "lights", "resistance"}, "a lamp is lit", {"rest": rest(supply_ma=1238), "lights": LIT}),
    ({"current", "lights", "resistance"}, "shunt", {"rest": rest(supply_ma=76), "lights": DOUBLED}),
    ({"lights", "resistance"}, "the lamps drew 400 mA", {"lights": OTHER}),
    ({"release-primary"}, "swapped", {"circuits": {"primary": 3, "backup": 1, "primary_mv": 150, "backup_mv": 2240}}),
    ({"release-primary"}, "shorted, about 0 Ohm", {
        "circuits": {"primary": 3, "backup": 1, "primary_mv": 2, "backup_mv": 2240}}),
    ({"release-primary"}, "test plug", {"circuits": {"primary": 2, "backup": 1, "primary_mv": 3200, "backup_mv": 2240}}),
    ({"release-backup"}, "backup release circuit is open", {
        "circuits": {"primary": 1, "backup": 2, "primary_mv": 1650, "backup_mv": 3200}}),
    ({"journal-room"}, "8000 slots", {"journal": {**sound().journal, "free": 8000}}),
    ({"journal-empty"}, "has a dive in it", {"journal_states": frozenset({0, 1, 2, 3})}),
    ({"journal-empty"}, "3000 records", {"journal": {**sound().journal, "next": 3000}, "journal_states": None}),
    ({"journal-writes"}, "takes no write", {"rest": rest(store_lost=1)}),
    ({"camera"}, "not seen to record", {"armed": {**sound().armed, "refusal": signals.NO_RECORDING, "passed": 7,
                                                  "anyway": True}}),
    ({"arming"}, "lamp pattern 3", {"armed": {**sound().armed, "status_code": 3}}),
])
def test_one_thing_wrong_is_named_and_nothing_else(named, words, changes):
    read = sound(**changes)
    assert wrong(read) == named
    assert words in " ".join(reasons(judged(read, {}, with_arming=True)))


@pytest.mark.parametrize("item", sorted(set(BY_ITEM) - {"pressure-moves", "camera"}))
@pytest.mark.parametrize("answer", [False, None])
def test_a_question_that_was_answered_with_no_or_not_at_all_is_no_go(item, answer):
    read = sound(answers={**ANSWERED, item: answer})
    assert wrong(read) == {item}
    assert ("Not answered" if answer is None else "No") in finding(item, read).found


def test_resistance_is_that_of_ohms_law():
    # 141 mV less under 840 mA is 168 mOhm, by hand.
    assert "168 mΩ" in finding("resistance", sound()).found


def test_what_a_shorted_primary_conducts_is_told_by_ohms_law():
    # 16 Ohm behind 330 Ohm from 3.05 V (3.3 V less a Schottky diode): 141 mV, by hand.
    found = finding("release-primary", sound(circuits={"primary": 3, "backup": 1, "primary_mv": 141, "backup_mv": 2240}))
    assert "about 16 Ohm" in found.found


def test_a_clock_may_be_off_by_what_the_plan_lets_it_drift_in_a_month():
    quick = PLAN.model_copy(update={"sensors": PLAN.sensors.model_copy(update={
        "clock": PLAN.sensors.clock.model_copy(update={"drift_ppm": -20.0})})})
    off = {"clocks": [clock(0, off_s=40), clock(15, off_s=40)]}
    assert finding("clock", sound(**off)).ok is False
    assert finding("clock", sound(plan=quick, **off)).ok  # 20 ppm of 30 days are 52 s


def test_a_sensor_too_quiet_to_move_in_whole_millibars_is_asked_about():
    quiet = PLAN.model_copy(update={"sensors": PLAN.sensors.model_copy(update={
        "pressure": PLAN.sensors.pressure.model_copy(update={"noise_mbar": 0.2})})})
    still = rest(pressure_mbar=1013)
    assert finding("pressure-moves", sound(plan=quiet, rest=still)).ok
    assert not finding("pressure-moves", sound(plan=quiet, rest=still, answers={**ANSWERED, "pressure-moves": None})).ok


def test_a_splash_that_was_put_off_into_the_dark_is_told_with_the_new_window_of_the_link():
    late = sound(splash=PLAN.dive.splash_utc + timedelta(hours=10))
    found = finding("splash", late)
    assert found.ok is False and "does not add up any more" in found.found
    assert "2027-05-19 22:30Z" in found.found  # 30 h after 16:30Z: the link's earliest, by hand
    assert splashed_at(PLAN, late).mission_record() == PLAN.mission_record()


# --- what a person may accept -------------------------------------------------------------------------------------------


def test_an_accepted_item_is_go_and_says_why():
    read = sound(clocks=[clock(0, off_s=30), clock(15, off_s=30)])
    items = judged(read, {"clock": "set to the ship's time on purpose"}, with_arming=True)
    assert is_go(items) and not is_go(judged(read, {}, with_arming=True))
    assert [each.accepted for each in items if each.word == "accepted"] == ["set to the ship's time on purpose"]


@pytest.mark.parametrize("changes", [
    {"record": None}, {"record": b"other"}, {"rest": rest(leak_wet=1)}, {"rest": rest(contact_wet=1)},
    {"rest": [seen(n, pressure_mbar=1300 + n % 3) for n in range(12)]}, {"status": {"state": "armed"}},
    {"circuits": {"primary": 2, "backup": 2, "primary_mv": 3200, "backup_mv": 3200}},
    {"circuits": {"primary": 3, "backup": 0, "primary_mv": 0, "backup_mv": 0}},
    {"answers": {**ANSWERED, "clear": False}}, {"answers": {**ANSWERED, "clear": None}},
    {"armed": {**sound().armed, "state": "safe", "refusal": signals.NO_RECORDING}},
])
def test_nobody_can_accept_another_plan_water_two_bad_releases_or_a_lander_that_is_not_armed(changes):
    everything = dict.fromkeys(KEYS, "because I say so")
    assert not is_go(judged(sound(**changes), everything, with_arming=True))


def test_one_bad_release_can_be_accepted_while_the_other_is_sound():
    read = sound(circuits={"primary": 1, "backup": 2, "primary_mv": 1650, "backup_mv": 3200})
    assert is_go(judged(read, {"release-backup": "the latch was left on the quay"}, with_arming=True))


# --- the table ----------------------------------------------------------------------------------------------------------


def test_every_refusal_of_the_mission_that_speaks_of_a_part_has_its_item():
    assert set(checks.ITEM_OF_REFUSAL.values()) <= set(KEYS)
    of_the_command = {signals.FINE, signals.DEAF, signals.WRONG_STATE, signals.NOT_READY, signals.NOT_TESTED,
                      signals.CALLED_OFF, signals.CIRCUITS_UNTESTED}
    from lander.words import REFUSALS
    assert set(REFUSALS) - set(checks.ITEM_OF_REFUSAL) == of_the_command


def test_every_question_is_an_item_and_no_key_stands_twice():
    assert set(BY_ITEM) <= set(KEYS) and len(set(KEYS)) == len(KEYS)


def test_a_question_is_asked_once_and_not_at_all_where_the_answer_was_given():
    asked = []
    asking = Asking(PLAN, {"line": False}, lambda words: asked.append(words) or True)
    assert (asking.about("line"), asking.about("link"), asking.about("link")) == (False, True, True)
    assert len(asked) == 1 and "link" in asked[0]
    asking.stop()
    assert asking.about("second") is None


def test_states_are_told_from_records_and_only_those_beyond_armed_are_of_a_dive():
    record = bytearray(journal.RECORD_BYTES)
    names = [journal.FIELDS[at] for at in range(0, len(journal.FIELDS), 2)]
    assert "state" in names
    journal.seal(record, 0)
    assert states_in(bytes(record)) == {0}
    assert not is_of_a_dive(frozenset({0, 1})) and is_of_a_dive(frozenset({0, 2}))
