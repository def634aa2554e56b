"""Faults: how they are written, when they begin and end, and what the lander makes of each alone."""

import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from lander.table import STATES
from seatrial.account import is_home, outcome
from seatrial.faults import EVENTS, KINDS, Fault, FaultError, When, parse, parse_when

from .flying import SAMPLE, broken, dive, fly, verdict
from .single_faults import SCENARIOS

GROUPS = {"release", "power", "controller", "time", "sensors", "camera", "surface", "site and people",
          "second board"}
WORDS = EVENTS + STATES


def short(number: float) -> float:
    """The number as six digits tell it."""
    return float("%g" % number)


@st.composite
def faults(draw, numbers=short) -> Fault:
    kind = draw(st.sampled_from(sorted(KINDS.values(), key=lambda one: one.name)))
    values = {}
    for key, parameter in kind.parameters.items():
        values[key] = draw(st.sampled_from(parameter.choices) if parameter.choices
                           else st.floats(parameter.lowest, parameter.highest).map(numbers))
        assume(parameter.choices or parameter.lowest <= values[key] <= parameter.highest)
    return Fault(kind, values, draw(onsets()))


def onsets():
    at_depth = st.floats(0.1, 11_000.0).map(lambda metres: When("depth", depth_m=float("%.1f" % metres)))
    later = st.builds(When, st.sampled_from(WORDS), st.just(0.0), st.integers(0, 900_000).map(float))
    return at_depth.filter(lambda when: "%g" % when.depth_m == str(when.depth_m).removesuffix(".0")) | later


# --- how they are written ------------------------------------------------------------------------------------------


@given(faults())
def test_a_fault_is_read_as_it_was_written(fault):
    assert parse(str(fault)) == fault


@pytest.mark.parametrize("text", [
    pytest.param("clock-jumps:by_s=-1234567@record", id="a jump of a fortnight"),
    pytest.param("pressure-offset:mbar=12345.67@record", id="an offset with two decimals"),
    pytest.param("reset@1000000s", id="twelve days after the splash"),
    pytest.param("reset@0m", id="the surface"),
])
def test_numbers_of_many_digits_survive_being_written(text):
    fault = parse(text)
    assert parse(str(fault)) == fault


@pytest.mark.parametrize("text", sorted(KINDS))
def test_a_bare_name_is_the_fault_at_its_defaults_from_the_start(text):
    fault = parse(text)
    assert fault.values == {key: one.default for key, one in KINDS[text].parameters.items()}
    assert fault.when == When()
    assert str(fault) == text


def test_minutes_and_hours_are_seconds():
    assert parse_when("45min") == parse_when("2700s") == When("splash", after_s=2700.0)
    assert parse_when("record+1.5h") == When("record", after_s=5400.0)


@pytest.mark.parametrize(("text", "said"), [
    ("jamed", ["fault 'jamed' is not known", "did you mean jammed"]),
    ("qqq", ["fault 'qqq' is not known", "`tumblehome faults` lists"]),
    ("", ["fault '' is not known", "`tumblehome faults` lists"]),
    ("jammed@", ["ends in @ with no onset", "jammed@record"]),
    ("jammed:canal=both", ["fault jammed has no parameter 'canal'", "channel (which release channel)", "for_s"]),
    ("jammed:", ["fault jammed has no parameter ''", "channel"]),
    ("jammed:channel", ["fault jammed has no parameter 'channel'"]),
    ("jammed:channel=third", ["jammed: channel=third", "allowed is primary, backup, both"]),
    ("weak-supply:mohm=lots", ["weak-supply: mohm=lots is no number"]),
    ("weak-supply:mohm=0.5", ["weak-supply: mohm=0.5", "allowed is 1 to 1e+06"]),
    ("weak-supply:mohm=nan", ["weak-supply: mohm=nan", "allowed is 1 to 1e+06"]),
    ("weak-supply:mohm=inf", ["weak-supply: mohm=inf", "allowed is 1 to 1e+06"]),
    ("jammed:for_s=-1", ["jammed: for_s=-1", "allowed is 0 to 1e+07"]),
    ("reset:for_s=60", ["reset takes no for_s", "over at once", "leave for_s out"]),
    ("deeper:for_s=60", ["deeper takes no for_s", "is so before the dive"]),
    ("reset:by_s=5", ["reset has no parameter 'by_s'; it has none"]),
    ("reset@recording", ["onset 'recording' is not understood", "record", "200m", "45min", "record+10min"]),
    ("reset@record+", ["onset 'record+' is not understood"]),
    ("reset@record+10", ["onset 'record+10' is not understood", "record+10min"]),
    ("reset@-5min", ["onset '-5min' is not understood", "45min"]),
    ("reset@200", ["onset '200' is not understood", "200m"]),
    ("reset@200m+5min", ["onset '200m+5min' is not understood"]),
])
def test_a_wrong_spelling_is_one_sentence_with_the_part_and_what_is_allowed(text, said):
    with pytest.raises(FaultError) as caught:
        parse(text)
    sentence = str(caught.value)
    assert "\n" not in sentence
    for part in said:
        assert part in sentence


@given(faults(), st.data())
def test_a_number_out_of_bounds_names_its_bounds(fault, data):
    numbers = [key for key, one in fault.kind.parameters.items() if not one.choices]
    assume(numbers)
    key = data.draw(st.sampled_from(numbers))
    parameter = fault.kind.parameters[key]
    value = parameter.highest * 2.0 + 1.0
    with pytest.raises(FaultError, match=re.escape("%g to %g" % (parameter.lowest, parameter.highest))):
        parse("%s:%s=%g" % (fault.name, key, value))


# --- the table -----------------------------------------------------------------------------------------------------


def test_every_group_of_the_design_has_its_faults_and_no_other_group_exists():
    assert {kind.group for kind in KINDS.values()} == GROUPS


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_every_default_is_within_its_own_bounds_and_says_what_it_means(kind):
    for key, parameter in kind.parameters.items():
        assert parameter.meaning, key
        if parameter.choices:
            assert parameter.default in parameter.choices
        else:
            assert parameter.lowest <= parameter.default <= parameter.highest


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_every_fault_is_told_in_words_with_its_numbers(kind):
    sentence = parse(kind.name).sentence()
    assert sentence.startswith(kind.what)
    assert all(key in sentence for key in kind.parameters if key != "for_s")
    assert kind.to_the_lander


# --- when they begin and end ---------------------------------------------------------------------------------------

HARMLESS = "strobe-dead"


def state_began(evidence, name: str) -> float:
    return next(span.from_s for span in evidence.spans if span.name == name)


BEGINNINGS = {
    "start": lambda evidence: 0.0,
    "splash": lambda evidence: evidence.splash_s,
    "touchdown": lambda evidence: evidence.touchdown_s,
    "attempt": lambda evidence: evidence.attempts[0].from_s,
    "freed": lambda evidence: evidence.freed_s,
    "afloat": lambda evidence: evidence.surfaced_s,
    "45min": lambda evidence: evidence.splash_s + 2700.0,
    "90s": lambda evidence: evidence.splash_s + 90.0,
    "0.5h": lambda evidence: evidence.splash_s + 1800.0,
    "record+10min": lambda evidence: state_began(evidence, "record") + 600.0,
    "touchdown+30s": lambda evidence: evidence.touchdown_s + 30.0,
    **{state: lambda evidence, state=state: state_began(evidence, state)
       for state in ("armed", "descend", "record", "release", "ascend", "surface")},
}


@pytest.mark.parametrize("onset", BEGINNINGS)
def test_a_fault_begins_at_its_onset(onset):
    result = fly("%s@%s" % (HARMLESS, onset))
    _fault, from_s, to_s = result.faults[0]
    assert from_s == pytest.approx(BEGINNINGS[onset](result.evidence), abs=1e-6)
    assert to_s is None


def test_a_fault_that_waits_for_the_backup_begins_with_it():
    result = fly("jammed", "%s@backup" % HARMLESS)
    assert result.faults[1][1] == pytest.approx(state_began(result.evidence, "backup"))


def test_a_fault_that_waits_for_a_depth_begins_there_on_the_way_down():
    one = dive("%s@200m" % HARMLESS)
    told = []
    one.story.tell = lambda kind, what, reason, state="": told.append((kind, one.world.hull.depth_m))
    result = one.run()
    assert result.faults[0][1] < result.evidence.touchdown_s
    assert [depth_m for kind, depth_m in told if kind == "fault"] == [pytest.approx(200.0, abs=0.01)]


@pytest.mark.parametrize("onset", ["backup", "1000m"])
def test_a_fault_whose_onset_never_comes_never_begins(onset):
    assert fly("%s@%s" % (HARMLESS, onset)).faults[0][1:] == (None, None)


def test_a_fault_begins_so_long_after_the_start_as_written():
    assert fly("%s@start+5min" % HARMLESS).faults[0][1] == pytest.approx(300.0)


@pytest.mark.parametrize("onset", ["1.5m", "200m"])  # 1.5 m: the submerged threshold of the sample
def test_faults_that_wait_for_one_depth_all_begin_there_on_the_way_down(onset):
    result = fly("%s@%s" % (HARMLESS, onset), "no-fix@%s" % onset)
    assert result.faults[0][1] == result.faults[1][1] < result.evidence.touchdown_s


def test_a_fault_that_waits_for_the_depth_of_the_seabed_begins_as_it_touches():
    result = fly("%s@430m" % HARMLESS)
    assert result.faults[0][1] == result.evidence.touchdown_s


def test_a_fault_that_waits_for_no_depth_begins_with_the_splash():
    assert fly("%s@0m" % HARMLESS).faults[0][1] == pytest.approx(600.0)


def test_a_fault_ends_after_its_time():
    result = fly("pressure-gone:for_s=600@record+10min")
    _fault, from_s, to_s = result.faults[0]
    assert to_s - from_s == pytest.approx(600.0)
    for time_s, mbar in zip(result.series.time_s, result.series.pressure_mbar, strict=True):
        if min(abs(time_s - from_s), abs(time_s - to_s)) > 1e-3:
            assert (mbar is None) == (from_s < time_s < to_s)
    assert any(item.what == "pressure-gone ends" for item in result.evidence.timeline)


def condition(one) -> dict[str, object]:
    """All of the world that a fault may change."""
    world = one.world
    parts = {"dive": one, "world": world, "hull": world.hull, "battery": world.battery, "pressure": world.pressure,
             "supply": world.supply, "clock": world.clock, "camera": world.camera, "primary": world.primary,
             "camera temperature": world.camera_temperature, "housing temperature": world.housing_temperature,
             "backup": world.backup, "link": world.link, "store": one.world_store, "second": one.second,
             "second pressure": one.second.pressure}
    seen = {}
    for part, thing in parts.items():
        names = [name for kind in type(thing).__mro__ for name in getattr(kind, "__slots__", ())]
        for name in names or vars(thing):
            value = getattr(thing, name)
            if isinstance(value, int | float | str | tuple) or value is None:
                seen["%s.%s" % (part, name)] = value
    return seen


CAN_END = [name for name, kind in KINDS.items() if kind.can_end]
SO_BEFORE = {name for name, kind in KINDS.items() if kind.prepare}  # in the plan before the dive is built


@pytest.mark.parametrize("name", CAN_END)
def test_a_fault_that_ends_leaves_the_world_as_it_was(name):
    one = dive()
    before = condition(one)
    fault = parse(name)
    end = fault.kind.begin(one, fault.values)
    assert condition(one) != before, "it must have done something"
    end()
    assert condition(one) == before


@pytest.mark.parametrize("name", CAN_END)
def test_of_two_faults_of_a_kind_each_acts_for_as_long_as_it_lasts(name):
    one, other = dive(), dive()
    fault = parse(name)
    end_first, end_second = (fault.kind.begin(one, fault.values) for _ in range(2))
    fault.kind.begin(other, fault.values)
    untouched = condition(dive())
    end_first()
    assert condition(one) == condition(other)
    end_second()
    assert condition(one) == untouched


@pytest.mark.parametrize("name", [name for name in KINDS if name not in CAN_END])
def test_a_fault_that_cannot_end_returns_nothing_that_could_end_it(name):
    one = dive(*([name] if name in SO_BEFORE else []))
    one._prepare()
    assert parse(name).kind.begin(one, parse(name).values) is None


@pytest.mark.parametrize("name", sorted(SO_BEFORE))
def test_a_fault_that_is_so_before_the_dive_is_in_the_world_and_not_in_the_plan_of_the_controller(name):
    one = dive(name)
    assert one.plan != one.given_plan
    assert one.given_plan.mission_record() == dive().given_plan.mission_record()


def test_the_end_of_one_fault_leaves_another_of_the_same_kind_standing():
    result = fly("pressure-gone:for_s=100@splash", "pressure-gone@splash+50s")
    assert result.series.pressure_mbar[-1] is None


# --- what comes of each --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda one: one.name)
def test_a_single_fault_ends_as_the_table_says(scenario):
    result = fly(*scenario.faults)
    told = outcome(result)
    assert broken(result) == {}
    assert told["path"] == scenario.path
    assert scenario.said in told["sentence"]
    assert result.evidence.command_reason == scenario.because
    assert tuple(one.number for one in result.verdicts if one.verdict == "excused") == scenario.excused
    assert told["home"] == (scenario.path != "none" or scenario.said in ("Hauled back on deck", "never went under"))


def test_the_table_has_a_fault_of_every_group_and_a_dozen_for_both_bodies():
    assert {scenario.group for scenario in SCENARIOS} == GROUPS
    assert {scenario.group for scenario in SCENARIOS if scenario.both_bodies} >= GROUPS - {
        "site and people", "second board"}
    assert sum(scenario.both_bodies for scenario in SCENARIOS) >= 12


def test_a_drive_that_browns_the_controller_out_is_tried_the_other_way_and_then_weaker():
    attempts = fly("weak-supply:mohm=10000@release").evidence.attempts
    assert [(one.channel, one.drive_pct, one.end) for one in attempts] == [
        ("primary", 100, "reset"), ("backup", 100, "reset"), ("primary", 50, "rise confirmed")]


def test_a_reset_in_every_attempt_never_repeats_the_way_before():
    attempts = fly("attempt-resets").evidence.attempts
    assert all(one.end == "reset" for one in attempts[:-1])
    assert all((one.channel, one.drive_pct) != (after.channel, after.drive_pct)
               for one, after in zip(attempts, attempts[1:], strict=False))


@pytest.mark.parametrize(("name", "onset"), [
    (name, onset) for name in sorted(KINDS) for onset in ("start", "record+10min", "attempt")])
def test_no_single_fault_breaks_a_law_and_who_stays_down_has_a_reason(name, onset):
    result = fly("%s@%s" % (name, onset))
    assert broken(result) == {}
    if not is_home(result.evidence):
        assert re.search("hangs on|caught at|jammed|circuit|no power|corroding link", outcome(result)["sentence"])


@pytest.mark.parametrize("onset", ["start", "start+5min", "start+599s"])
def test_who_is_to_be_hauled_back_before_the_splash_is_not_thrown_in(onset):
    evidence = fly("hauled-back@%s" % onset).evidence
    assert (evidence.hauled_s, evidence.wet_s, evidence.under_s) == (None, None, None)
    assert any(item.what == "kept on deck" for item in evidence.timeline)
    assert evidence.attempts == []


def test_who_is_hauled_back_twice_at_once_is_hauled_as_fast_as_by_one():
    twice = fly("hauled-back@record", "hauled-back@record+10s").evidence
    assert twice.hauled_s == fly("hauled-back@record").evidence.hauled_s


@pytest.mark.parametrize("name", ["weak-supply:mohm=9000@record+10min", "load-resets:load=lights",
                                  "load-resets:load=fan"])
def test_a_supply_too_weak_for_the_lights_or_the_fan_still_films(name):
    result = fly(name)
    assert broken(result) == {} and len(result.evidence.resets_s) < 40


# --- what some of them are made of ---------------------------------------------------------------------------------


def test_a_position_is_heard_a_minute_after_the_lander_is_up_and_later_with_waves_over_the_antenna():
    up_s = fly().evidence.surfaced_s
    assert fly().evidence.heard_s == pytest.approx(up_s + 60.0)
    assert fly("antenna-awash:part=0.9").evidence.heard_s == pytest.approx(up_s + 600.0)


@pytest.mark.parametrize("name", ["no-fix", "radio-dead", "antenna-awash:part=1"])
def test_without_radio_or_fix_nobody_hears_where_it_is_until_that_is_over(name):
    assert fly(name).evidence.heard_s is None
    head, colon, rest = name.partition(":")
    evidence = fly("%s:%s%sfor_s=3600@afloat" % (head, rest, "," if rest else "")).evidence
    assert evidence.heard_s == pytest.approx(evidence.surfaced_s + 3660.0)


def test_a_program_that_comes_up_at_the_sixth_start_is_away_for_five_watchdogs_and_six_boots():
    evidence = fly("half-loaded:starts=5,each_s=8@record+10min").evidence
    away_s = evidence.powered[1].from_s - evidence.powered[0].to_s
    assert away_s == pytest.approx(6 * SAMPLE.power.boot_s + 5 * 8.0)


def test_a_count_of_time_that_falls_back_makes_no_release_later():
    assert abs(fly("counter-wraps@record+2h").evidence.command_s - fly().evidence.command_s) <= 10.0


def test_a_full_journal_keeps_the_newest_records_by_going_over_old_ones():
    result = fly("jammed:channel=both", "flash-full:slots=0@release")
    assert result.evidence.journal_overwritten > 64
    assert verdict(result, 12).verdict == "excused"
    assert broken(result) == {}


def test_damaged_records_are_passed_over_after_a_reset():
    result = fly("records-damaged:records=40@record+10min")
    assert result.evidence.journal_damaged == 40
    assert result.evidence.command_s <= fly().evidence.command_s


@pytest.mark.parametrize(("load", "onset"), [
    ("camera", "splash"), ("lights", "touchdown"), ("primary", "release"), ("backup", "release"), ("beacon", "freed"),
    ("report", "freed")])
def test_each_step_of_a_load_resets_the_controller(load, onset):
    evidence = fly("load-resets:load=%s,for_s=900@%s" % (load, onset), "jammed").evidence
    assert evidence.resets_s


@pytest.mark.parametrize(("fault", "cut_after_s"), [
    ("attempt-resets:channel=primary@attempt", 0.2), ("load-resets:load=primary@attempt", 0.2),
    ("attempt-resets:after_s=30@attempt+10s", 30.0)])
def test_a_step_of_a_load_that_is_named_at_an_attempt_cuts_that_very_attempt(fault, cut_after_s):
    first = fly(fault).evidence.attempts[0]
    assert (first.channel, first.end) == ("primary", "reset")
    assert first.to_s - first.from_s == pytest.approx(cut_after_s)


def test_a_step_of_a_load_that_is_over_when_its_fault_begins_does_nothing_more():
    assert fly("attempt-resets:after_s=30@attempt+31s").evidence.resets_s == []


def test_a_camera_whose_fan_stands_still_gets_hot_and_is_put_off():
    assert max(fly("fan-dead@splash").series.camera_c) > max(fly().series.camera_c) + 5.0


def test_colder_water_is_heavier_and_a_deeper_thermocline_lighter():
    down_s = fly().evidence.touchdown_s
    assert fly("colder").evidence.touchdown_s > down_s > fly("deep-thermocline").evidence.touchdown_s


def test_a_faster_current_carries_it_further():
    there, further = (result.surfaced_at for result in (fly(), fly("fast-current:times=3")))
    assert further[0] == pytest.approx(3 * there[0], rel=1e-3)
