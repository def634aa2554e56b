"""What is said to other vessels: everything they need, in 600 letters, and no word that calls for help."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatrial.plan import draft_sample
from tumblehome.find.message import LETTERS_MAX, lamp_told, message, moment_told

from .searches_for_tests import AT_THE_DATE_LINE, HERE, made_up

# The signals of the radiotelephone procedures (ITU Radio Regulations, articles 32 and 33), and plain words for them.
CALLS_FOR_HELP = ("mayday", "pan-pan", "pan pan", "securite", "sécurité", "sos", "distress", "urgen", "emergenc", "help",
                  "rescue")
TEXTS = st.text(st.characters(min_codepoint=32, max_codepoint=0x2fff, exclude_categories=("Cs",)), max_size=160)


def plan_that_says(looks_like="", marked="", tell=()):
    plan = draft_sample()
    return plan.model_copy(update={"card": plan.card.model_copy(update={
        "looks_like": looks_like, "marked": marked, "tell": tell})})


def test_the_sample_is_told_with_place_doubt_time_look_lamp_mark_and_whom_to_call():
    told = made_up()
    assert message(draft_sample(), told.splash, told.sights[1]) == (
        "For information, nobody is in danger: an unmanned seabed camera may be afloat, low in the water."
        " At 12:45 UTC on 18 May 2027 near 46°06.3′N 028°22.9′W (WGS 84), within 1.1 NM (9 chances in 10), drifting toward"
        " 070° true at 0.8 knots."
        " Looks like: four orange floats under a white mast with a flashing lamp."
        " Lamp at night: one flash every two seconds."
        " Marked: name and telephone number of the owner; harmless, please call."
        " Harmless; keep clear, note place and time, call this vessel or: shore contact, by telephone."
        " We say when it is found.")


@given(TEXTS, TEXTS, TEXTS.map(lambda words: words[:120]))
def test_it_is_never_longer_than_600_letters_whatever_the_plan_says(looks_like, marked, call):
    plan = plan_that_says(looks_like, marked, (call,) if call else ())
    for place in (HERE, AT_THE_DATE_LINE):
        for sight in made_up(place, size_m=80000.0).sights:
            words = message(plan, place, sight)
            assert len(words) <= LETTERS_MAX and "\n" not in words
            assert "nobody is in danger" in words and "call this vessel" in words


def test_texts_too_long_for_it_are_cut_at_a_word_and_a_short_one_stays_whole():
    words = message(plan_that_says("floats", "M " + "number " * 22, ("office " * 17,)), HERE, made_up().sights[0])
    assert "Looks like: floats." in words
    assert "number ..." in words and "office ..." in words and len(words) > LETTERS_MAX - 20


def test_no_word_in_it_calls_for_help():
    words = message(plan_that_says(), HERE, made_up().sights[0]).lower()
    assert [word for word in CALLS_FOR_HELP if word in words] == []


def test_what_the_plan_does_not_say_is_left_out():
    words = message(plan_that_says(), HERE, made_up().sights[0])
    assert "Looks like" not in words and "Marked" not in words and words.endswith("call this vessel. We say when it is found.")


def test_a_lander_that_is_not_up_yet_has_its_splash_and_no_place_to_look_at():
    early = replace(made_up().sights[0], likely=None)
    words = message(draft_sample(), HERE, early)
    assert "may come up and float low in the water. At 11:45 UTC on 18 May 2027 not up yet; it went in at 46°06.00′N" in words
    assert "028°24.00′W (WGS 84)." in words and "may be afloat" not in words


@pytest.mark.parametrize("speed_kn, said", [(0.04, False), (0.06, True)])
def test_a_drift_too_slow_to_matter_is_not_said(speed_kn, said):
    assert ("drifting" in message(draft_sample(), HERE, replace(made_up().sights[0], speed_kn=speed_kn))) is said


@pytest.mark.parametrize("radius_m, place", [
    (450.0, "46°06.27′N 028°22.95′W"), (2000.0, "46°06.3′N 028°22.9′W")])
def test_a_place_is_told_no_finer_than_it_is_known(radius_m, place):
    # A tenth of a minute of latitude is 185 m: one minute is 1852 m by the definition of the nautical mile, nearly.
    assert " near %s (WGS 84), within" % place in message(
        draft_sample(), HERE, replace(made_up().sights[1], radius_m=radius_m))


@pytest.mark.parametrize("fully, seldom, said", [
    (1.0, 0.0, "Lamp at night: one flash every two seconds."),
    (0.3, 0.2, "Lamp at night, if still lit: one flash every two seconds."),
    (0.1, 0.85, "Lamp at night: one flash every ten seconds."),
    (0.0, 0.05, "Its lamp is probably dark by now.")])
def test_others_are_told_how_the_lamp_flashes_and_of_none_without_charge(fully, seldom, said):
    assert said in message(draft_sample(), HERE, made_up().sights[1], lamp_told(fully, seldom))


def test_others_are_told_of_now_though_the_boat_waits_for_the_dark_and_of_later_where_it_is_hardly_up_yet():
    sights = made_up().sights
    assert moment_told(sights, sights[3]) is sights[0]
    hardly = (replace(sights[0], afloat=0.01), replace(sights[1], likely=None, afloat=0.0), *sights[2:])
    assert moment_told(hardly, hardly[3]) is hardly[2]
    below = [replace(each, likely=None, afloat=0.0) for each in sights]
    assert moment_told(below, below[2]) is below[2]
