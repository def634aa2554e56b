"""The chain of a dive: what happened, in order, with the records it stands on.

Moments are held against the story that the simulator keeps of the same dive, which the chain never sees.
"""

import re
from datetime import UTC, date, datetime, timedelta

import astral
import astral.sun
import pytest

from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plan import Plan, load_sample
from seatrial.plan.changing import changed
from seatrial.result import DiveResult
from seatrial.world import CLOCK_EPOCH
from tumblehome.debrief import log
from tumblehome.debrief.causes import ESTABLISHED, LIKELY, OPEN, Link, chain, untold
from tumblehome.debrief.causes.chain import span

SEED = 8
BRISK = {"times.timed_release_min": 70.0, "times.latest_release_min": 100.0, "dive.watch_after_surfacing_min": 60.0}


def plan() -> Plan:
    return changed(load_sample(), BRISK)


def flown(*faults: str) -> DiveResult:
    return Dive(plan(), [parse(fault) for fault in faults], SEED, keep_series=False).run()


@pytest.fixture(scope="module")
def sound() -> DiveResult:
    return flown()


def links_of(result: DiveResult) -> list[Link]:
    return chain(log.parse(result.journal, "here"), plan())


def said(links: list[Link]) -> str:
    return "\n".join("%s %s (%s; %s)" % (link.when, link.said, link.expected, link.seen) for link in links)


def one_that_says(links: list[Link], words: str) -> Link:
    found = [link for link in links if words in link.said]
    assert found, said(links)
    return found[0]


def test_a_sound_dive_is_told_from_the_arming_to_the_beacon_in_order(sound):
    links = links_of(sound)
    order = ["Armed", "Water: a sign of water held", "The camera recorded", "On the bottom: depth stands still",
             "Release commanded: timed release due", "Attempt 1, primary (wire)", "Rise confirmed", "Beacon on",
             "At the surface", "The journal ends"]
    places = [links.index(one_that_says(links, words)) for words in order]
    assert places == sorted(places)
    times = [link.at_s for link in links if link.at_s is not None]
    assert times == sorted(times)
    assert all(link.records for link in links if link.certainty != OPEN)


def test_the_moments_are_those_of_the_sea(sound):
    links, evidence = links_of(sound), sound.evidence
    start = plan().dive.splash_utc - timedelta(minutes=plan().dive.on_deck_min)
    for words, at_s, room_s in (("Water:", evidence.splash_s, 10.0), ("Release commanded", evidence.command_s, 2.0),
                                ("Attempt 1", evidence.attempts[0].from_s, 2.0),
                                ("On the bottom", evidence.touchdown_s, 60.0),
                                ("At the surface", evidence.surfaced_s, 60.0)):
        link = one_that_says(links, words)
        told = (start + timedelta(seconds=at_s))
        assert abs(link.at_s - at_s) <= room_s
        assert link.when[:13] == told.strftime("%Y-%m-%d %H") and link.when.endswith(" UTC")
    assert start > CLOCK_EPOCH


def test_each_link_has_what_was_expected_beside_what_was_seen(sound):
    bottom = one_that_says(links_of(sound), "On the bottom")
    assert "430 m" in bottom.expected and "430." in bottom.seen and bottom.certainty == ESTABLISHED
    attempt = one_that_says(links_of(sound), "Attempt 1")
    assert "1000 mA" in attempt.expected and "rise confirmed" in attempt.seen
    filming = one_that_says(links_of(sound), "Filming of the bottom ended")
    assert "95 %" in filming.expected and filming.certainty == LIKELY


def test_a_drive_that_resets_the_controller_is_told_attempt_by_attempt():
    links = links_of(flown("weak-supply:mohm=12000@release"))
    first, second, third = (one_that_says(links, "Attempt %d," % number) for number in (1, 2, 3))
    assert "reset of the controller" in first.seen and "backup (latch)" in second.said
    assert "at 50 % drive" in third.said and "rise confirmed" in third.seen
    again = one_that_says(links, "The controller started anew, in attempt 1 on the primary: power came")
    assert "by the clock" in again.seen and "above 6.5 V" in first.expected


def test_an_open_circuit_and_a_short_are_told_by_their_current():
    assert "no circuit" in one_that_says(links_of(flown("bad-circuit@splash")), "Attempt 1").seen
    assert "a short" in one_that_says(links_of(flown("bad-circuit:how=shorted@splash")), "Attempt 1").seen


def test_without_a_trusted_clock_time_is_told_from_the_splash():
    links = links_of(flown("clock-lost"))
    command = one_that_says(links, "Release commanded")
    assert re.fullmatch("1:(09|10):.. after the splash", command.when)
    assert "before the splash" in one_that_says(links, "Arming refused").when
    assert not any("UTC" in link.when for link in links)


def test_the_rhythm_of_the_beacon_lamp_is_told_where_day_and_night_change_it():
    dusk = changed(plan(), {"dive.splash_utc": datetime(2027, 5, 18, 18, 30, tzinfo=UTC),
                            "dive.watch_after_surfacing_min": 900.0})
    links = chain(log.parse(Dive(dusk, (), SEED, keep_series=False).run().journal, "here"), dusk)
    told = [link for link in links if link.said.startswith("The beacon lamp flashed")]
    assert ["seldom" in link.said for link in told] == [True, False, True]
    night = astral.sun.sun(astral.Observer(dusk.site.latitude_deg, dusk.site.longitude_deg), date(2027, 5, 18))
    morning = astral.sun.sun(astral.Observer(dusk.site.latitude_deg, dusk.site.longitude_deg), date(2027, 5, 19))
    for link, sun in ((told[1], night["sunset"]), (told[2], morning["sunrise"])):
        at = datetime.strptime(link.when, "%Y-%m-%d %H:%M:%S UTC").replace(tzinfo=UTC)
        assert abs(at - sun) < timedelta(minutes=30)  # a quarter of an hour of dusk, three days in one, and a reading
    assert all(link.certainty == LIKELY and "mA are planned" in link.seen for link in told)


def test_refusals_water_and_resets_are_told():
    links = links_of(flown("leak-false@record+9min", "reset@record+5min"))
    assert "Water was felt" in said(links) and "water inside" in one_that_says(links, "Release commanded").said
    assert "power came" in one_that_says(links, "The controller started anew").said
    assert any("water that the probe felt was real" in link.said for link in links if link.certainty == OPEN)


def test_missing_records_are_told_where_they_are_missing():
    links = links_of(flown("flash-refuses:for_s=200@record+9min"))
    gap = one_that_says(links, "records are missing before this one")
    assert gap.certainty == ESTABLISHED and "could not be stored" in said(links)


def test_the_end_says_what_the_journal_cannot_tell(sound):
    links = links_of(sound)
    open_ones = [link for link in links if link.certainty == OPEN]
    assert links[-len(open_ones):] == open_ones
    told = [link.said for link in open_ones]
    # every kind that leaves no trace by its nature is named there, but for what this dive gave no reason to ask
    for one in untold.UNTOLD:
        assert (one.said in told) or one.kinds == ("leak", "leak-false")
    assert {"radio-dead", "no-fix", "antenna-awash", "link-never", "second-dead"} <= set(untold.NO_TRACE)


def test_a_torn_journal_says_what_could_not_be_read(sound):
    slots = bytearray(sound.journal)
    slots[64 * 40 + 10] ^= 0xFF
    links = chain(log.parse(bytes(slots), "here"), plan())
    assert any("no whole record in 1 slot " in link.said for link in links)
    assert "1 record missing" in said(links)


def test_a_journal_that_begins_in_the_middle_is_told_from_there(sound):
    links = chain(log.parse(sound.journal[64 * 600:64 * 620], "here"), plan())
    assert links and one_that_says(links, "The journal ends")


@pytest.mark.parametrize(("seconds", "words"), [(45.2, "45 s"), (725.0, "12 min 5 s"), (12000.0, "3 h 20 min")])
def test_spans_are_told_in_words(seconds, words):
    assert span(seconds) == words
