"""The card page: one sheet of paper that reads on deck, on a telephone and from a bad copy.

Outside sources are named beside the checks that use them; the others are checks of the page against its own input.
"""

import re
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime, timedelta

import pytest

from seatrial.plan import draft_sample
from seatrial.workings.card import Card, Moment, Spot, Way, Weight, card
from tumblehome.page.card import card_page

from .pages_for_tests import NASTY, Reader

SPLASH = datetime(2027, 5, 18, 6, 30, tzinfo=UTC)
HERE = Spot(46.1007, -28.3977, "46°06.04′N 028°23.86′W", 67.0, 0.106, 0.016)


# ---------------------------------------------------------------------------------------------- made-up cards

def moment(words, minutes, offset_h=-2.0, note=""):
    """So long after the splash; None: never."""
    if minutes is None:
        return Moment(words, None, None, note)
    utc = SPLASH + timedelta(minutes=minutes)
    return Moment(words, utc, utc.replace(tzinfo=None) + timedelta(hours=offset_h), note)


def way(words, command, early, likely, late, spot=HERE, offset_h=-2.0):
    named = zip(("command", "early", "likely", "late"), (command, early, likely, late), strict=True)
    return Way(words.replace(" ", "_"), words, *(moment(name, minutes, offset_h) for name, minutes in named),
               None if likely is None else "daylight", spot)


def made_up(**changes):
    """A card by hand."""
    made = Card(
        name="Half-Moon Shelf, first light (invented)", place="46°06.00′N 028°24.00′W, 430 m deep", mark="B76B 73BF",
        zone="UTC-2",
        search_from=moment("search from", 301, note="earliest surfacing less 10 min"), search_at=HERE,
        times=(moment("splash", 0), moment("timed release", 300, note="300 min after the splash")),
        ways=(way("timed release", 300, 311, 313, 317), way("corroding link, latest", None, 4330, 4331, 4333)),
        release_order=("Timed: burn wire, 240 s.", "Latest: the same."),
        give_up=moment("give up waiting", 750, note="the boat must leave"),
        still_true=("The pack is empty on 20 May.",), adrift=replace(HERE, range_nm=6.28, bearing_deg=70.9),
        beacon=("One flash every two seconds.",), status_lamp=("two blinks: ARMED",),
        weights=(Weight("to lift into the water, in air", 53.04),), tell=("shore contact",),
        looks_like="four orange floats", marked="please call", cautions=("Stand clear of the ballast.",))
    return replace(made, **changes)


def hostile(value):
    """The same card with a hostile string in place of every text."""
    if isinstance(value, str):
        return NASTY
    if isinstance(value, tuple):
        return tuple(hostile(each) for each in value)
    if is_dataclass(value):
        return replace(value, **{field.name: hostile(getattr(value, field.name)) for field in fields(value)})
    return value


def defaced():
    """The sample's card with a hostile string wherever the plan has a text."""
    return replace(card(draft_sample()), name=NASTY, looks_like=NASTY, marked=NASTY, tell=(NASTY,) * 9)


def crowded():
    """The sample's card with every text of the plan as long as it may be, more to tell than fits, and local time
    half a day ahead."""
    def ahead(each):
        return each if each.utc is None else replace(each, local=each.utc.replace(tzinfo=None) + timedelta(hours=13.75))

    real = card(draft_sample())
    ways = tuple(replace(each, light="nautical twilight", **{
        name: ahead(getattr(each, name)) for name in ("command", "early", "likely", "late")}) for each in real.ways)
    return replace(
        real, name="WIDE " * 16, zone="UTC+13:45", looks_like="WHITE MAST, " * 13, marked="NUMBERS, " * 17,
        times=tuple(map(ahead, real.times)), search_from=ahead(real.search_from), give_up=ahead(real.give_up), ways=ways,
        tell=("A harbour office with a long name, which wants a call an hour before the splash and one when it is in",
              "W" * 120) * 6)


def pages_of(paper):
    """The number of pages of a PDF: its objects of /Type /Page (ISO 32000-1, 7.7.3.3)."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", paper))


# ---------------------------------------------------------------------------------------------- what it says

def test_the_first_thing_after_the_name_is_when_and_where_to_look():
    words = Reader(card_page(made_up())).text
    assert "430 m deep Look from 11:31Z (09:31 local), Tue 18 May 2027 at 46°06.04′N 028°23.86′W" in words
    assert "067° true, 200 m from the splash, give or take 30 m" in words
    assert words.index("Look from") < words.index("When it comes up") < words.index("Give up waiting")


def test_every_text_of_the_card_is_on_the_page():
    made, words = made_up(), Reader(card_page(made_up())).text
    lines = [made.name, made.place, made.looks_like, made.marked, made.give_up.note, *made.release_order,
             *made.still_true, *made.beacon, *made.status_lamp, *made.tell, *made.cautions,
             *(each.words for each in (*made.times, *made.ways, *made.weights))]
    assert [line for line in lines if line not in words] == []
    assert "to lift into the water, in air 53.0 kg" in words


def test_a_way_home_has_its_day_and_its_times_in_utc_and_on_board():
    words = Reader(card_page(made_up())).text
    assert "timed release 18 May 11:30Z (09:30) 11:41Z (09:41) 11:43Z (09:43) 11:47Z (09:47) daylight" in words
    assert "corroding link, latest 21 May by itself 06:40Z (04:40) 06:41Z (04:41) 06:43Z (04:43) daylight" in words


def test_a_time_of_another_day_than_the_row_says_so():
    late = way("timed release", 1040, 1045, 1055, 1060)  # commanded 23:50Z, early 23:55Z, likely 00:05Z
    words = Reader(card_page(made_up(ways=(late,)))).text
    assert "timed release 19 May 18 May 23:50Z (21:50) 18 May 23:55Z (21:55) 00:05Z (22:05 -1 d)" in words
    assert "-1 d: there it is the next day, the day before" in words


def test_a_boat_that_keeps_utc_has_no_second_time():
    made = made_up(zone="UTC")
    words = Reader(card_page(made)).text
    assert "All times UTC (Z)" in words and "local" not in words
    assert "timed release 18 May 11:30Z 11:41Z 11:43Z 11:47Z daylight" in words


def test_a_lander_that_never_comes_up_has_never_and_no_place():
    lost = made_up(search_from=moment("search from", None), search_at=None, adrift=None,
                   ways=(way("timed release", 300, None, None, None, None),), give_up=moment("give up waiting", None))
    words = Reader(card_page(lost)).text
    assert "Nothing to look for: by this plan the timed release does not bring it up." in words
    assert "timed release – 18 May 11:30Z (09:30) never never never –" in words
    assert "Not reckoned: no release brings it up." in words


def test_a_way_that_comes_up_elsewhere_names_its_place():
    elsewhere = replace(HERE, words="46°09.00′N 028°20.00′W")
    one, other = way("timed release", 300, 311, 313, 317), way("latest release", 360, 371, 373, 377, elsewhere)
    words = Reader(card_page(made_up(ways=(one, other)))).text
    assert "daylight 46°09.00′N 028°20.00′W" in words and "always at the place above" not in words
    assert "always at the place above" in Reader(card_page(made_up())).text


def test_where_it_has_drifted_to_when_waiting_ends_is_in_miles():
    assert "Up on time and not seen: by then near 46°06.04′N 028°23.86′W, 071° true, 6.3 NM from the splash" in Reader(
        card_page(made_up())).text


def test_a_plan_that_names_nobody_is_told_that_somebody_should_know():
    assert "Nobody is named in the plan ([card] tell)" in Reader(card_page(made_up(tell=()))).text


def test_more_to_tell_than_fits_the_paper_is_counted_there_and_whole_on_a_screen():
    made = made_up(tell=tuple(f"office {number}" for number in range(7)))
    page = Reader(card_page(made))
    assert all(line in page.text for line in made.tell)
    assert "and 3 more: see the plan, [card] tell" in page.text
    assert len([tag for tag in page.named("li") if "beyond" in tag.get("class", "")]) == 3


def test_there_is_room_to_write_down_the_splash_as_it_was():
    page = Reader(card_page(made_up()))
    assert "Splash in fact" in page.text
    assert len([tag for tag in page.named("span") if tag.get("class") == "blank"]) == 4


# ---------------------------------------------------------------------------------------------- one sheet, for everybody

def test_the_card_has_no_script_and_forbids_itself_any():
    # Source: W3C Content Security Policy Level 3: without script-src, default-src 'none' stands for scripts too.
    page = Reader(card_page(made_up()))
    assert page.named("script") == []
    policy = next(meta["content"] for meta in page.named("meta") if "http-equiv" in meta)
    assert policy == "default-src 'none'; style-src 'unsafe-inline'"


def test_the_card_asks_for_nothing_from_outside():
    page = Reader(card_page(made_up()))
    asking = {"src", "href", "srcset", "action", "data", "poster"}
    assert [tag for tag, attributes in page.tags if asking & set(attributes)] == []
    assert "url(" not in page.styles[0] and "@import" not in page.styles[0]


def test_a_hostile_string_anywhere_stays_text():
    plain, nasty = Reader(card_page(made_up())), Reader(card_page(hostile(made_up())))
    assert [tag for tag, _ in plain.tags if tag not in ("div",)] == [tag for tag, _ in nasty.tags if tag not in ("div",)]
    assert nasty.text.count('<script>alert("x")</script>') > 20
    assert not any(name.startswith("on") for _tag, attributes in nasty.tags for name in attributes)


def test_black_and_greys_are_all_its_colours():
    look = Reader(card_page(made_up())).styles[0]
    colours = re.findall(r"#[0-9a-f]{3,6}", look)
    assert colours and all(len(set(colour[1:])) == 1 for colour in colours), "a grey has three equal channels"
    assert not re.search(r"rgb|hsl|\b(red|green|blue|orange|yellow)\b", look)


def test_headings_go_down_one_level_at_a_time():
    # Source: WCAG 2.2 technique G141, organizing a page using headings.
    levels = [int(tag[1]) for tag, _attributes in Reader(card_page(made_up())).tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in zip(levels, levels[1:], strict=False))


@pytest.mark.parametrize("made", [
    pytest.param(lambda: card(draft_sample()), id="sample"), pytest.param(crowded, id="crowded"),
    pytest.param(defaced, id="defaced"), pytest.param(made_up, id="short")])
def test_it_prints_to_exactly_one_page_of_a4(made, browser):
    # Source: ISO 216, A4 is 210 mm by 297 mm; a point is 1/72 inch (ISO 32000-1, 8.3.2.3), so 595 by 842 points.
    paper = browser.printed(card_page(made()))
    assert pages_of(paper) == 1
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", paper)
    assert [float(side) for side in box.groups()] == pytest.approx([210 / 25.4 * 72, 297 / 25.4 * 72], abs=1.0)


def test_a_card_too_long_for_a_page_is_told_apart_by_that_count(browser):
    # The check above must be able to fail: cautions without end need more than a page.
    assert pages_of(browser.printed(card_page(made_up(cautions=("Stand clear of the ballast. " * 8,) * 40)))) > 1


@pytest.mark.parametrize("made", [lambda: card(draft_sample()), crowded, defaced, lambda: hostile(made_up())])
def test_on_a_telephone_nothing_stands_beyond_the_edge(made, browser):
    wide, window = browser.width_on_a_phone(card_page(made()))
    assert wide <= window
