"""Causes named from a journal and its plan alone: each rule sees its fault in a flown dive, and none speaks in a sound one.

What is expected stands outside the rules: it is the fault that was put into the dive, and the moment at which it began.
"""

import random
from dataclasses import replace
from datetime import UTC, datetime
from functools import lru_cache

import numpy as np
import pytest

from lander import journal, signals, words
from lander.journal import RECORD_BYTES
from seatrial.dive import Dive
from seatrial.faults import KINDS, parse
from seatrial.plan import Plan, load_sample
from seatrial.plan.changing import changed
from tumblehome.debrief import log
from tumblehome.debrief.causes import ESTABLISHED, LIKELY, Finding, alike, findings, records, untold
from tumblehome.debrief.causes.weighing import RULES

SEED = 21
BLANK = b"\xff" * RECORD_BYTES
BRISK = {"times.timed_release_min": 70.0, "times.latest_release_min": 100.0, "dive.watch_after_surfacing_min": 60.0,
         "journal.reading_surface_s": 120.0}
AT_NIGHT = datetime(2027, 5, 18, 22, 0, tzinfo=UTC)
BEFORE_DUSK = datetime(2027, 5, 18, 18, 0, tzinfo=UTC)


@lru_cache
def plan() -> Plan:
    return changed(load_sample(), BRISK)


@lru_cache(maxsize=64)
def image(*faults: str, seed: int = SEED) -> bytes:
    return Dive(plan(), [parse(fault) for fault in faults], seed, keep_series=False).run().journal


def named(*faults: str) -> list[Finding]:
    return findings(log.parse(image(*faults), "here"), plan())


# The fault as it is put in, and what the first finding names, in any order: one kind, or all that look alike.
NAMED = (
    # supply
    ("weak-supply@bottom", {"weak-supply"}),
    ("supply-unread@record", {"supply-unread"}),
    ("supply-unread", {"supply-unread"}),
    ("current-unread@record", {"current-unread"}),
    ("lamp-shorted@record+5min", {"lamp-shorted"}),
    ("cell-gone@record+5min", {"cell-gone"}),
    ("cell-gone@freed", {"cell-gone"}),
    ("weak-supply@freed", {"weak-supply"}),
    ("old-battery:left=0.3@splash", {"old-battery"}),
    ("weak-supply:for_s=12@record+9min", set(alike.SUPPLY_BLINKED)),
    ("strobe-dead@splash", {"strobe-dead"}),
    ("battery-misread@splash", {"battery-misread"}),
    # controller and journal
    ("hang@record+9min", set(alike.BITTEN)),
    ("power-gone:for_s=300@record+9min", {"power-gone", "main-dead"}),
    ("power-gone@record+9min", set(alike.SILENCE)),
    ("torn-record@record+9min", {"torn-record"}),
    ("torn-record", {"torn-record"}),
    ("half-loaded@record+9min", {"half-loaded"}),
    ("half-loaded@attempt+30s", {"half-loaded"}),
    ("reset@record+9min", set(alike.POWER_BLINKED)),
    ("load-resets@splash", {"load-resets"}),
    ("records-damaged@record+9min", {"records-damaged"}),
    ("flash-refuses:for_s=120@record+9min", {"flash-refuses"}),
    ("flash-full@record+9min", {"flash-full"}),
    # pressure
    ("pressure-gone@record+9min", {"pressure-gone"}),
    ("pressure-frozen:for_s=900@record+9min", {"pressure-frozen"}),
    ("pressure-saturated@splash", {"pressure-saturated"}),
    ("pressure-offset:mbar=500@record+9min", {"pressure-offset"}),
    ("pressure-noisy@record+9min", {"pressure-noisy"}),
    ("pressure-noisy:spikes=0,for_s=300@record+9min", {"pressure-noisy"}),
    ("pressure-offset:mbar=800,for_s=12@record+9min", set(alike.PRESSURE_BLINKED)),
    ("pressure-creeps:mbar_h=-600@record+9min", {"pressure-creeps"}),
    ("heavy-swell@freed", {"heavy-swell"}),
    ("pressure-noisy:spikes=0@afloat", {"pressure-noisy"}),
    ("pressure-offset@afloat", {"pressure-offset"}),
    ("pressure-offset@attempt", {"pressure-offset"}),
    ("pressure-frozen@215m", {"pressure-frozen"}),
    ("pressure-creeps@surface+15min", {"pressure-creeps"}),
    ("pressure-drifts-warm@record+9min", {"pressure-drifts-warm", "pressure-offset"}),
    # signs
    ("leak@record+9min", {"leak", "leak-false"}),
    ("leak-false@record+9min", {"leak", "leak-false"}),
    ("contact-dead@splash", {"contact-dead"}),
    ("temperature-unread@record+9min", {"temperature-unread"}),
    ("temperature-misread@record+9min", {"temperature-misread"}),
    # camera
    ("records-early@start", {"records-early"}),
    ("card-full@record+9min", {"card-full"}),
    ("camera-crashed@record+9min", {"camera-crashed"}),
    ("press-missed@splash", {"press-missed"}),
    # release
    ("bad-circuit@splash", {"bad-circuit"}),
    ("bad-circuit:how=shorted@splash", {"bad-circuit"}),
    ("bad-circuit@attempt+80s", {*alike.STUCK, "bad-circuit"}),
    ("jammed@splash", set(alike.NOT_OPENED)),
    ("ballast-hangs@splash", set(alike.STUCK)),
    ("attempt-resets@splash", {"attempt-resets"}),
    ("link-early:after_min=30@splash", {"link-early", "second-reset", "second-dead"}),
    ("second-reset@attempt", {"link-early", "second-reset", "second-dead"}),
    # site, people and time
    ("deeper", {"deeper"}),
    ("colder", {"colder"}),
    ("deep-thermocline", {"deep-thermocline"}),
    ("temperature-misread:which=water,by_c=-8@splash", {"temperature-misread"}),
    ("load-resets:load=beacon@splash", {"load-resets", "weak-supply"}),
    ("never-sinks", {"never-sinks", "caught", "shallower", *alike.LET_GO_BY_OTHERS}),
    ("slow-release:rate=0.5@splash", {"slow-release"}),
    ("shallower", {"shallower"}),
    ("caught@215m", {"caught"}),
    ("hauled-back@record+9min", {"hauled-back"}),
    ("magnet-brushed@record+9min", {"magnet-brushed"}),
    ("clock-drifts:ppm=-20000@splash", {"clock-drifts"}),
    ("clock-lost@record+9min", {"clock-lost"}),
    ("clock-never-set", set(alike.CLOCK_LOST)),
    ("clock-never-set:says=set", {"clock-never-set"}),
    ("clock-jumps@record+9min", {"clock-jumps"}),
    ("clock-jumps:by_s=-20@record+9min", set(alike.CLOCK_APART)),
    ("clock-drifts@record+9min", {"clock-drifts"}),
)


def phase(text: str) -> str:
    return text.replace("@bottom", "@record+20min")


@pytest.mark.parametrize(("fault", "kinds"), NAMED, ids=[fault for fault, _kinds in NAMED])
def test_the_first_finding_names_the_fault_or_all_that_look_like_it(fault, kinds):
    found = named(phase(fault))
    assert found and set(found[0].kinds) == kinds, found
    assert found[0].sentence and found[0].settle and found[0].records
    assert all(parse(fault).name in one.kinds for one in found if one.certainty == ESTABLISHED)


@pytest.mark.parametrize("seed", [1, 4, 77])
def test_a_sound_dive_has_no_finding(seed):
    assert findings(log.parse(image(seed=seed), "here"), plan()) == []


SOUND_PLANS = (
    {"camera.feedback": "none"}, {"camera.feedback": "lamp", "camera.film_descent": False},
    {"camera.supply": "own_pack", "camera.pack_mah": 9000.0}, {"second.fitted": False, "release.passive.fitted": False},
    {"site.depth_m": 120.0, "site.swell_height_m": 3.0}, {"lights.on_s": 60.0, "lights.off_s": 240.0},
    {"sensors.pressure.noise_mbar": 12.0, "sensors.supply.noise_ma": 10.0}, {"sensors.pressure.noise_mbar": 0.0},
    {"site.mud_hold_s": 80.0, "release.primary": load_sample().release.backup.model_dump()},
    {"dive.splash_utc": AT_NIGHT}, {"dive.splash_utc": BEFORE_DUSK, "dive.watch_after_surfacing_min": 1200.0},
    {"site.latitude_deg": 68.0},  # no night in May: the lamp always has its full rhythm
)


@pytest.mark.parametrize("changes", SOUND_PLANS, ids=[" ".join(changes) for changes in SOUND_PLANS])
def test_a_sound_dive_of_another_plan_has_no_finding(changes):
    other = changed(plan(), changes)
    flown = Dive(other, (), SEED, keep_series=False).run().journal
    assert findings(log.parse(flown, "here"), other) == []


@pytest.mark.parametrize("splash_utc", [load_sample().dive.splash_utc, AT_NIGHT, BEFORE_DUSK],
                         ids=["by day", "by night", "before dusk"])
def test_a_dead_beacon_lamp_is_named_whatever_rhythm_it_was_to_flash(splash_utc):
    other = changed(plan(), {"dive.splash_utc": splash_utc})
    flown = Dive(other, [parse("strobe-dead@splash")], SEED, keep_series=False).run().journal
    assert [one.kinds for one in findings(log.parse(flown, "here"), other)] == [("strobe-dead",)]


def test_faults_that_leave_no_trace_are_not_made_up():
    for kind in ("radio-dead", "no-fix", "fast-current", "line-noise", "leak-dead"):
        assert kind in untold.NO_TRACE and named(kind) == []


def test_every_kind_that_a_rule_or_a_table_names_is_in_the_catalogue():
    groups = [value for value in vars(alike).values() if isinstance(value, tuple)]
    named_kinds = {kind for group in groups for kind in group} | set(untold.NO_TRACE)
    named_kinds |= {kind for kinds in records.REFUSED_BY.values() for kind in kinds}
    assert named_kinds <= set(KINDS)


def test_every_rule_tells_what_the_sound_dive_looks_like():
    assert all("Sound: " in (rule.__doc__ or "") for rule in RULES)
    assert len(set(RULES)) == len(RULES) > 30


LIKELIEST = (
    ("deep-mud", "deep-mud"),  # mud lets go after minutes
    ("old-battery:left=0.3@freed", "old-battery"),
    ("hang@record+9min", "hang"),
    ("pressure-drifts-warm@record+9min", "pressure-drifts-warm"),  # nothing leapt
    ("pressure-offset", "pressure-offset"),  # as far off on deck as afloat
    ("pressure-offset@splash", "pressure-offset"),  # a leap, and the temperature leapt with it
    ("reset@record+9min", "reset"),
    ("second-pressure-gone", "second-pressure-gone"),  # it rose after the wait for one sign
    ("reset@attempt+60s", "reset"),  # long after the step of the current
    ("reset@attempt", "attempt-resets"),  # with it: chance seldom strikes then
    ("card-full@start+300s", "card-full"),
)


@pytest.mark.parametrize(("fault", "likeliest"), LIKELIEST, ids=[fault for fault, _likeliest in LIKELIEST])
def test_of_several_that_look_alike_the_likeliest_is_named_first(fault, likeliest):
    found = named(fault)[0]
    assert found.kinds[0] == likeliest and len(found.kinds) > 1 and parse(fault).name in found.kinds


def test_one_cause_that_explains_two_signs_is_told_before_two_that_explain_one_each():
    found = named("caught@215m")[0]
    assert found.kinds == ("caught",) and found.certainty == LIKELY
    assert found.sentence.endswith("Of what does that, caught would explain other signs of this dive as well.")


def test_a_lander_without_a_second_board_that_rose_unasked_was_let_go_by_its_link():
    other = changed(plan(), {"second.fitted": False})
    flown = Dive(other, [parse("link-early:after_min=30@splash")], SEED, keep_series=False).run().journal
    assert findings(log.parse(flown, "here"), other)[0].kinds == ("link-early",)


def test_a_camera_on_its_own_pack_is_not_said_to_have_been_woken_by_its_switch():
    other = changed(plan(), {"camera.supply": "own_pack", "camera.pack_mah": 9000.0, "camera.feedback": "lamp"})
    flown = Dive(other, [parse("card-full@record+9min")], SEED, keep_series=False).run().journal
    assert set(findings(log.parse(flown, "here"), other)[0].kinds) == set(alike.CAMERA_DEAF)


def test_a_load_counts_as_the_cause_of_a_reset_only_where_it_had_just_come_on():
    assert "load-resets" in named("reset@splash+12s")[0].kinds  # the camera has
    assert "load-resets" not in named("reset@record+9min")[0].kinds


def test_a_pack_that_carries_its_loads_after_a_reset_is_not_to_blame_for_it():
    assert not {"weak-supply", "cell-gone", "old-battery"} & set(named("reset@record+9min")[0].kinds)
    assert {"weak-supply", "cell-gone"} <= set(named("power-gone@record+9min")[0].kinds), "nothing came after it"


def test_a_jammed_primary_is_told_from_a_cut_wire_by_the_current_that_flowed():
    assert "bad-circuit" not in named("jammed@splash")[0].kinds
    open_one = named("bad-circuit@splash")[0]
    assert open_one.certainty == ESTABLISHED and "its circuit is open" in open_one.sentence


def test_thermometers_that_have_no_answer_yet_as_the_controller_starts_are_not_unread():
    journal_log = log.parse(image(), "here")
    rows, ok = journal_log.records.copy(), sum(1 << words.SIGNS.index(name + "_temp_ok")
                                               for name in ("camera", "housing", "water"))
    rows["signs"][:2] &= ~np.uint16(ok)  # the start and what was written in the same step
    assert findings(replace(journal_log, records=rows), plan()) == []
    rows["signs"][40] &= ~np.uint16(ok)
    assert findings(replace(journal_log, records=rows), plan())[0].kinds == ("temperature-unread",)


def test_the_magnet_that_ends_the_dive_on_deck_is_no_brush_and_one_at_sea_is():
    assert not any("magnet-brushed" in one.kinds for one in named("hauled-back@afloat+5min", "magnet-brushed@afloat+15min"))
    assert named("magnet-brushed@afloat+15min")[0].kinds == ("magnet-brushed",)


def test_a_drive_that_resets_it_again_and_again_is_established_and_one_reset_in_an_attempt_is_not():
    assert named("attempt-resets@splash")[0].certainty == ESTABLISHED
    once = named("attempt-resets:channel=primary@attempt")[0]
    assert once.certainty == LIKELY and "attempt-resets" in once.kinds and "once" in once.sentence


def test_a_file_that_was_cut_off_is_not_taken_for_a_controller_that_fell_silent():
    at = len(image()) // 128 * RECORD_BYTES
    assert findings(log.parse(image()[:at], "here"), plan())[0].kinds == alike.SILENCE
    assert findings(log.parse(image()[:at + 20], "here"), plan()) == []


def test_a_refusal_on_deck_names_what_the_self_test_found():
    found = named("bad-circuit:channel=backup,how=shorted")
    assert found[0].kinds == ("bad-circuit",) and "backup release circuit is shorted" in found[0].sentence
    assert records.REFUSED_BY[signals.BACKUP_SHORTED] == found[0].kinds


def test_findings_stand_on_records_that_are_there():
    for fault in ("jammed@splash", "hang@record+9min", "pressure-noisy@splash"):
        journal_log = log.parse(image(fault), "here")
        numbers = set(journal_log.records["sequence"].tolist())
        assert all(number in numbers for one in findings(journal_log, plan()) for number in one.records)


def test_the_same_journal_gives_the_same_findings():
    assert named("weak-supply@splash") == findings(log.parse(image("weak-supply@splash"), "here"), plan())


@pytest.mark.parametrize("fault", ["", "jammed@splash", "clock-lost@splash", "hang@record+9min", "power-gone:for_s=900@attempt"])
def test_a_torn_journal_is_judged_by_what_is_left_of_it(fault):
    whole = image(*([fault] if fault else []))
    dice = random.Random(fault)
    slots = [whole[at:at + RECORD_BYTES] for at in range(0, len(whole), RECORD_BYTES) if whole[at] != 0xFF]
    for share in (0.02, 0.3, 0.8):
        torn = [slot if dice.random() > share else slot[:20] + BLANK[20:] for slot in slots]
        cut = b"".join(torn[:dice.randrange(1, len(torn))] + slots[:1])
        for one in findings(log.parse(cut, "here"), plan()):
            assert one.sentence and set(one.kinds) <= set(KINDS)


def test_a_journal_of_one_record_and_one_of_the_deck_alone_are_judged():
    first = image()[:RECORD_BYTES]
    assert isinstance(findings(log.parse(first, "here"), plan()), list)
    safe = [log_slot for log_slot in (image()[at:at + RECORD_BYTES] for at in range(0, 4000, RECORD_BYTES))
            if journal.fields(log_slot)["descent_ds"] < 0]
    assert isinstance(findings(log.parse(b"".join(safe), "here"), plan()), list)


def test_what_follows_from_the_main_cause_is_not_told_beside_it():
    kinds = {kind for one in named("pressure-gone@record+9min") for kind in one.kinds}
    assert not kinds & set(alike.STUCK)
