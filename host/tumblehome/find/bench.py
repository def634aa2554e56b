"""How long the search takes to work out, one core, processor time; `python -m tumblehome.benchmarks` prints it."""

from collections.abc import Callable
from datetime import timedelta
from time import process_time
from typing import TypeVar

import numpy as np

from seatrial.plan import Plan, load_sample
from tumblehome.find import exports
from tumblehome.find.areas import areas
from tumblehome.find.drifting import clouds
from tumblehome.find.guesses import built_in
from tumblehome.find.shapes import Cloud, Plane, Position
from tumblehome.find.sighting import searcher_of
from tumblehome.find.tracks import Segment, Track
from tumblehome.find.unseen import chance_unseen, moments_for
from tumblehome.find.working import Asked, work_out
from tumblehome.page.search import search_page

Found = TypeVar("Found")
SEED = 1
LEG_M, APART_M, SPEED_M_S = 8000.0, 600.0, 6 * 1852 / 3600
POINT_S = 10  # between points of the track


def track_of(plan: Plan, from_h: float, hours: float) -> Track:
    """Parallel tracks north and south at 6 kn, a point every ten seconds."""
    plane = Plane(Position(plan.site.latitude_deg, plan.site.longitude_deg))
    seconds = range(0, int(hours * 3600), POINT_S)
    places = [(at_s * SPEED_M_S // LEG_M, at_s * SPEED_M_S % LEG_M) for at_s in seconds]
    positions = tuple(plane.position(leg * APART_M, along if leg % 2 == 0 else LEG_M - along) for leg, along in places)
    begin = plan.dive.splash_utc + timedelta(hours=from_h)
    return Track("bench", (Segment(tuple(begin + timedelta(seconds=at_s) for at_s in seconds), positions),))


def rows(particles: int) -> list[tuple[str, float]]:
    """What was worked out, and the seconds of processor time it took."""
    plan, told = load_sample(), []

    def timed(words: str, work: Callable[[], Found]) -> Found:
        begun_s = process_time()
        found = work()
        told.append((words, process_time() - begun_s))
        return found

    def at(*hours: float) -> list[Cloud]:
        moments = [plan.dive.splash_utc + timedelta(hours=hour) for hour in hours]
        return list(clouds(plan, moments, SEED, particles=particles))

    at(7)  # the passages of the plan are worked out once
    last = timed("drift, 48 h after the timed release, nine moments", lambda: at(*np.linspace(5.2, 53.2, 9)))[-1]
    timed("drift, 48 h after the latest letting go of the link", lambda: at(120))
    timed("three areas of one moment", lambda: areas(last))
    track = track_of(plan, from_h=6, hours=12)
    series = timed("drift, 12 h every ten minutes",
                   lambda: list(clouds(plan, moments_for([track]), SEED, particles=particles)))
    timed("12 h of track not seen, by the pass",
          lambda: chance_unseen(series, [track], a_pass=lambda distance_m: np.exp(-(distance_m / 500) ** 2)))
    timed("the same by the second",
          lambda: chance_unseen(series, [track], a_second=lambda distance_m: 1e4 / np.maximum(distance_m, 10) ** 3))
    now = plan.dive.splash_utc + timedelta(hours=6)
    asked = Asked(plan, now, searcher_of(plan, 6.0), built_in(), particles=particles)
    whole = timed("the whole of `tumblehome find`, but for its files", lambda: work_out(asked))
    timed("its page and its files", lambda: (search_page(whole), exports.contents(whole)))
    return told
