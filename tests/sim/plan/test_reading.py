"""From a file or a text to a plan: files and their form, and whatever a person types."""

import pickle

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lander import orders as lander_orders
from seatrial import plan as plans
from seatrial.plan import PlanError

from .editing import NUMERIC_KEYS, SAMPLE, edited, header_of, put, refusal, said_of, without_section


def test_the_sample_loads_and_needs_no_caution():
    assert plans.load_sample().cautions() == []


def test_the_plan_keeps_the_text_it_was_read_from():
    assert plans.load_sample().source_text == SAMPLE


def test_local_time_with_its_offset_becomes_utc():
    plan = plans.parse(edited(dive__splash_utc="2027-05-18T08:30:00+02:00"))
    assert plan.dive.splash_utc == plans.load_sample().dive.splash_utc
    assert plan.dive.splash_utc.utcoffset().total_seconds() == 0


def test_a_plan_cannot_be_changed_after_reading():
    with pytest.raises(Exception, match="frozen"):
        plans.load_sample().site.depth_m = 100


@pytest.mark.parametrize(("line", "parts"), [
    ("depth_m = 4,3", ["line 3", '"depth_m = 4,3"', "decimals with a point"]),
    ("depth_m = 430 m", ["line 3", "one key = value on a line"]),
    ("depth_m 430", ["line 3", "write key = value"]),
    ("kind = wire", ["line 3", "words in \"quotes\""]),
    ("name = \"open", ["line 3", "quote"]),
    ("longitude_deg = 2\nlongitude_deg = 3", ["line 4", "twice"]),
    ("= 3", ["line 3", "begin the line with a key"]),
])
def test_a_slip_in_the_form_is_told_with_its_line(line, parts):
    sentences = refusal(f"[site]\nlatitude_deg = 1\n{line}\nswell_height_m = 1\n")
    assert len(sentences) == 1
    assert sentences[0].startswith("plan, line")
    assert [part for part in parts if part not in sentences[0]] == []


@pytest.mark.parametrize("text", [
    "x = " + "1" * 5000, "x = " + "[" * 100000, "x = {", "[", "\x00", "[[site.water]]\n[[site.water.depth_m]]\n[site]"],
    ids=["digits", "brackets", "brace", "bracket", "null", "tables"])
def test_hostile_text_is_refused_in_one_sentence(text):
    sentences = refusal(text)
    assert "\n" not in sentences[0]
    assert len(sentences) == 1 or "is missing" in sentences[0]


def test_a_plan_file_is_read_with_or_without_the_marks_of_another_editor(tmp_path):
    path = tmp_path / "dive.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SAMPLE.replace("\n", "\r\n").encode())
    assert plans.load(path).model_dump() == plans.load_sample().model_dump()
    assert plans.load(str(path)).mission_record() == plans.load_sample().mission_record()


@pytest.mark.parametrize(("name", "content", "part"), [
    ("none.toml", None, "no such file"),
    ("latin.toml", "[dive]\nname = \"M\xf6we\"\n".encode("latin-1"), "UTF-8"),
    ("form.toml", b"[dive\n", "form.toml, line 1"),
    ("null\x00.toml", None, "cannot be read"),
])
def test_a_file_that_cannot_be_used_is_told_in_one_sentence(tmp_path, name, content, part):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(PlanError) as caught:
        plans.load(tmp_path / name)
    assert len(caught.value.sentences) == 1
    assert part in str(caught.value)


def test_a_folder_is_not_a_plan(tmp_path):
    with pytest.raises(PlanError, match="cannot be read"):
        plans.load(tmp_path)


def test_a_plan_and_its_refusal_cross_a_process_border():
    plan = plans.load_sample()
    copy = pickle.loads(pickle.dumps(plan))
    assert copy == plan
    assert copy.source_text == plan.source_text
    error = pickle.loads(pickle.dumps(PlanError(["one", "two"])))
    assert error.sentences == ["one", "two"]
    assert str(error) == "one\ntwo"


@st.composite
def legal_changes(draw):
    text = SAMPLE
    for path, whole, lowest, highest in draw(st.lists(st.sampled_from(NUMERIC_KEYS), min_size=1, max_size=3)):
        value = draw(st.integers(lowest, highest) if whole else
                     st.floats(lowest, highest) | st.sampled_from([float(lowest), float(highest)]))
        text = put(text, path, repr(value))
    return text


@given(text=legal_changes())
@settings(max_examples=250, deadline=None)
def test_any_value_in_range_gives_good_orders_or_sentences(text):
    try:
        plan = plans.parse(text)
    except PlanError as error:
        assert error.sentences
        assert all(sentence and "\n" not in sentence and ":" in sentence for sentence in error.sentences)
        return
    assert lander_orders.fault(plan.orders()) == ""
    assert lander_orders.unpack(plan.mission_record()).good
    assert all(isinstance(caution, str) for caution in plan.cautions())


ODD_VALUES = st.sampled_from([
    '"x"', "''", "true", "nan", "inf", "-inf", "1e300", "-1e-300", "[]", "[1, [2]]", "{}", "{a = 1}", "2027-01-01",
    "2027-01-01T00:00:00", "9999-12-31T23:59:59-23:00", "0001-01-01T00:00:00+23:59", "07:32:00", "9" * 400, "0x10",
    '"\\u0000\\n"', "[{}]", "[{depth_m = 1}]"])


@given(path=st.sampled_from([key[0] for key in NUMERIC_KEYS] + [
    "lights.ring.bearings_deg", "card.tell", "card.marked", "lander.parts.material", "lander.parts.role",
    "lander.shells.form", "lander.shells.material", "site.cast", "dive.must_leave_utc", "dive.surface_in",
    "dive.name", "dive.splash_utc", "camera.supply", "release.primary.kind", "release.passive.fitted",
    "fan.unheard_of"]), literal=ODD_VALUES)
@settings(max_examples=250, deadline=None)
def test_any_odd_value_anywhere_gives_a_plan_or_sentences(path, literal):
    sentences = said_of(put(SAMPLE, path, literal))
    assert all(sentence and "\n" not in sentence for sentence in sentences)
    assert not any("pydantic" in sentence.lower() or "Input should" in sentence for sentence in sentences)


@given(section=st.sampled_from(["release.primary", "release.passive", "sensors.pressure", "site.water", "site.current"]),
       literal=ODD_VALUES)
@settings(max_examples=100, deadline=None)
def test_any_odd_value_instead_of_a_section_gives_sentences(section, literal):
    header, key = header_of(section)
    own_header = f"[[{section}]]" if section.startswith("site") else f"[{section}]"
    text = without_section(own_header).replace(header, f"{header}\n{key} = {literal}", 1)
    sentences = said_of(text)
    assert sentences
    assert all(sentence.startswith((section, "plan, line", "the section")) for sentence in sentences)


@given(text=st.text(max_size=200))
@settings(max_examples=100, deadline=None)
def test_any_text_gives_sentences_and_never_another_exception(text):
    assert said_of(text)
