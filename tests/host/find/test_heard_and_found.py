"""From the lander's own line to the search: what a drifting lander says at a port is logged, and the areas hold it."""

import os
import pty
import tty
from datetime import timedelta

import numpy as np
import pytest

from lander import report
from seatrial.world import CLOCK_EPOCH
from tumblehome.find import guesses, listening
from tumblehome.find.drifting import clouds
from tumblehome.find.heard import heard_in
from tumblehome.find.shapes import Plane
from tumblehome.find.sighting import searcher_of
from tumblehome.find.working import Asked, work_out

from .plans_and_clouds import PLAN, SITE, hours

MOMENTS = [hours(5.5) + number * timedelta(minutes=10) for number in range(10)]
SILENT_H = 60


@pytest.fixture(scope="module")
def drifted():
    """Where one lander of the sample was at each moment, and two hours after the last: a particle of another seed."""
    series = list(clouds(PLAN, [*MOMENTS, MOMENTS[-1] + timedelta(hours=2)], 99, particles=1000))
    timed = [way.key for way in series[0].ways].index("timed")
    one = int(np.flatnonzero(series[0].afloat & (series[0].way == timed))[7])
    return [series[0].plane.position(float(cloud.east_m[one]), float(cloud.north_m[one])) for cloud in series]


def sentence(number, at, place, **changes):
    said = {"version": 1, "lander": 0xA5F9, "number": number, "clock_s": int((at - CLOCK_EPOCH).total_seconds()),
            "latitude_deg_e5": round(place.latitude_deg * 1e5), "longitude_deg_e5": round(place.longitude_deg * 1e5), "age_s": 0,
            "supply_mv": 16570, "path": report.TIMED, "flags": report.FIX_KNOWN | report.FIX_NEW | report.CLOCK_SURE,
            "silent_h": SILENT_H, **changes}
    return report.sentence([said[name] for name in report.NAMES]).strip()


@pytest.fixture
def log(tmp_path, drifted):
    """What listening at a pseudo-terminal keeps of all that, noise in between."""
    own, other = pty.openpty()
    tty.setraw(other)
    told, sent = [], []

    def is_over():
        if len(told) == len(sent) < len(MOMENTS):
            number = len(sent)
            sent.append(number)
            os.write(own, ("\xff noise\r\n" + sentence(number, MOMENTS[number], drifted[number]) + "\r\n").encode("latin-1"))
        return len(told) == len(MOMENTS)

    kept = tmp_path / "reports.log"
    listening.listen(os.ttyname(other), None, kept, told.append, now=lambda: MOMENTS[min(len(told), len(MOMENTS) - 1)], until=is_over)
    os.close(own)
    os.close(other)
    return kept


def test_two_hours_after_the_last_report_the_lander_lies_in_the_area(log, drifted):
    now = MOMENTS[-1] + timedelta(hours=2)
    known = heard_in(log, PLAN.dive.splash_utc, now)
    assert [one.position.latitude_deg for one in known] == pytest.approx([place.latitude_deg for place in drifted[:-1]], abs=1e-5)
    assert known[-1].silent_at == MOMENTS[-1] + timedelta(hours=SILENT_H)
    alone, listened = (work_out(Asked(PLAN, now, searcher_of(PLAN, 6.0), guesses.built_in(), hours=2.0, particles=3000, known=what))
                       for what in ((), known))
    truth = drifted[-1]
    away_m = np.hypot(*Plane(listened.sights[0].likely).metres(truth))
    assert away_m < listened.sights[0].radius_m
    assert listened.sights[0].areas[1].area_km2 < 0.2 * alone.sights[0].areas[1].area_km2
    assert listened.patterns[0].pattern.detection > alone.patterns[0].pattern.detection
    assert Plane(SITE).metres(truth)[0] > 1000, "it has drifted far enough for that to mean something"


@pytest.mark.parametrize(("changes", "heard_after_s", "fixed_after_s"), [
    ({}, 40, 0), ({}, -25, -25), ({"clock_s": 0}, 0, 0), ({"clock_s": 0, "age_s": 600}, 0, -600),
    ({"flags": report.FIX_KNOWN, "age_s": 60, "clock_s": 7}, 0, -60), ({"flags": report.FIX_KNOWN, "age_s": 60}, 3600, 3540),
], ids=["a modem that kept it", "the boat's clock is behind", "no clock", "no clock, old fix", "a clock of nonsense",
        "a clock that is not sure and behind"])
def test_a_position_counts_whatever_the_clocks_say(tmp_path, changes, heard_after_s, fixed_after_s):
    said, heard_at = MOMENTS[3], MOMENTS[3] + timedelta(seconds=heard_after_s)
    log = listening.Log(tmp_path / "log")
    listening.Listener(log).take(sentence(1, said, SITE, **changes), heard_at)
    log.close()
    known, = heard_in(tmp_path / "log", PLAN.dive.splash_utc, MOMENTS[-1])
    assert known.position is not None
    assert known.fixed_at == said + timedelta(seconds=fixed_after_s)


@pytest.mark.parametrize(("silent_h", "counted_h"), [(0, 1), (1, 1), (7, 7)])
def test_a_lander_that_calls_though_its_charge_is_spent_counts_as_calling_until_its_next_report(tmp_path, silent_h, counted_h):
    log = listening.Log(tmp_path / "log")
    listening.Listener(log).take(sentence(1, MOMENTS[0], SITE, silent_h=silent_h), MOMENTS[0])
    log.close()
    known, = heard_in(tmp_path / "log", PLAN.dive.splash_utc, MOMENTS[-1])
    assert known.silent_at == MOMENTS[0] + timedelta(hours=counted_h)
    assert report.PACE[-1][1] <= 36000 * counted_h
