"""One way down or up, travelled with the simulator's own hull, and what it passes on its way."""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, inf

from seatrial.hull import MAX_STEP_S, Hull
from seatrial.plan import Plan
from seatrial.plan.reckoning import LONGEST_PASSAGE_S, start_at
from seatrial.workings.doubt import LIKELY, Lean, leaning_hull

POINTS = 200  # of a picture
NEAR_END_M = 0.001  # before the end of the way, where the speed is read: at the end itself the hull stands still
_HALVINGS = 30  # of a stretch of the way: far below a millimetre
ALL, HALF, NONE = 1.0, 0.5, 0.0  # share of the ballast attached


@dataclass(frozen=True)
class Passage:
    """The way from one end of the water to the other, point by point; speeds are positive down.

    `seconds` is the whole way, `end_speed_m_s` the speed a millimetre before its end. `east_m` and `north_m` count
    from the place where the passage began.
    """

    seconds: float
    end_speed_m_s: float
    time_s: tuple[float, ...]
    depth_m: tuple[float, ...]
    speed_m_s: tuple[float, ...]
    east_m: tuple[float, ...]
    north_m: tuple[float, ...]


@lru_cache(maxsize=128)
def descent(plan: Plan, lean: Lean) -> Passage | None:
    """From the splash to the seabed with all ballast; None when the lander never gets there."""
    return _passage(plan, lean, ALL, down=True)


@lru_cache(maxsize=128)
def ascent(plan: Plan, lean: Lean, ballast_left: float = NONE) -> Passage | None:
    """From the seabed, free of the mud, to the surface; None when the lander never gets there."""
    return _passage(plan, lean, ballast_left, down=False)


def hardest_place(plan: Plan, lean: Lean, ballast_left: float, down: bool) -> tuple[float, float]:
    """Where the lander is least willing to go on: (depth in m, weight less buoyancy in N there, positive down)."""
    hull = leaning_hull(plan, lean, ballast_left)
    places = [(depth_m, hull.net_force_n(depth_m)) for depth_m in _depths_m(plan)]
    return (min if down else max)(places, key=lambda place: place[1])


def pull_n(plan: Plan, lean: Lean, ballast_left: float) -> float:
    """The force upward on a lander that rests on the seabed, N; negative when it lies there by its weight."""
    return -leaning_hull(plan, lean, ballast_left).net_force_n(plan.site.depth_m)


def to_share_of_terminal_m(plan: Plan, share: float) -> float | None:
    """Metres from the splash after which this share of the terminal speed is reached; None if not on the way."""
    down = descent(plan, LIKELY)
    if down is None:
        return None
    hull = leaning_hull(plan, LIKELY, ALL)
    reached = (number for number, (depth_m, speed) in enumerate(zip(down.depth_m, down.speed_m_s, strict=True))
               if speed >= share * hull.terminal_speed_m_s(depth_m))
    last = next(reached, None)
    if last is None:
        return None
    early_s, late_s = 0.0, down.time_s[last]
    for _ in range(_HALVINGS):
        middle_s = 0.5 * (early_s + late_s)
        start_at(hull, 0.0)
        hull.advance(middle_s)
        if hull.speed_m_s >= share * hull.terminal_speed_m_s(hull.depth_m):
            late_s = middle_s
        else:
            early_s = middle_s
    return hull.depth_m


def _passage(plan: Plan, lean: Lean, ballast_left: float, down: bool) -> Passage | None:
    hull = leaning_hull(plan, lean, ballast_left)
    expected_s = _expected_s(plan, hull, down)
    if expected_s > LONGEST_PASSAGE_S:
        return None
    start_at(hull, 0.0 if down else plan.site.depth_m)
    # whole steps of the hull: so the picture costs the passage none of its accuracy
    chunk_s = MAX_STEP_S * max(1, ceil(expected_s / POINTS / MAX_STEP_S))
    return _travelled(hull, plan.site.depth_m - NEAR_END_M if down else NEAR_END_M, chunk_s)


def _travelled(hull: Hull, near_end_m: float, chunk_s: float) -> Passage:
    now_s, points = 0.0, [(0.0, hull.depth_m, 0.0, 0.0, 0.0)]
    while hull.depth_m != near_end_m:
        now_s += hull.advance(chunk_s, until=near_end_m)
        points.append((now_s, hull.depth_m, hull.speed_m_s, hull.east_m, hull.north_m))
    end_speed_m_s = hull.speed_m_s
    now_s += hull.advance(LONGEST_PASSAGE_S)
    return Passage(now_s, end_speed_m_s, *zip(*points, strict=True))


def _expected_s(plan: Plan, hull: Hull, down: bool) -> float:
    """The time at terminal speed throughout; infinite where the lander would not go on."""
    depths_m = _depths_m(plan)
    speeds = [hull.terminal_speed_m_s(depth_m) * (1 if down else -1) for depth_m in depths_m]
    if min(speeds) <= 0:
        return inf
    return sum((below_m - above_m) / min(first, second) for above_m, below_m, first, second in zip(
        depths_m, depths_m[1:], speeds, speeds[1:], strict=False))


def _depths_m(plan: Plan) -> list[float]:
    """Every metre, as the hull has its tables, and the seabed."""
    return sorted({*map(float, range(int(plan.site.depth_m) + 1)), plan.site.depth_m})
