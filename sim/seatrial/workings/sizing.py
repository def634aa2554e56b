"""How much ballast makes the lander sink at a chosen rate, and how much float makes it rise at one.

A steady speed grows with the root of the weight in water (v = sqrt(2 W / (rho Cd A)), `seatrial.hull`), so that the
drag at any rate follows from that of one hull that moves. It is that of the lander as it is planned: what is added
adds no drag here.
"""

from seatrial.plan import Plan
from seatrial.plan.reckoning import slowest_place
from seatrial.workings.doubt import LIKELY, leaning_hull
from seatrial.workings.passage import ALL, NONE
from seatrial.workings.weighing import alone_in_water


def ballast_for_kg(plan: Plan, rate_m_s: float) -> float | None:
    """Ballast in air, of the density planned, with which the lander sinks at this rate where it is slowest, kg.

    None where no amount does: the lander sinks faster without any, or the ballast does not sink.
    """
    depth_m = slowest_place(plan, with_ballast=True)[0]
    bare_n, laden_n = (leaning_hull(plan, LIKELY, left).net_force_n(depth_m) for left in (NONE, ALL))
    missing_n = drag_n(plan, depth_m, rate_m_s, down=True) - bare_n
    if laden_n <= bare_n or missing_n < 0:
        return None
    return plan.lander.ballast.mass_kg * missing_n / (laden_n - bare_n)


def floats_for_l(plan: Plan, rate_m_s: float) -> float | None:
    """Volume at the surface of floats like those planned with which the lander rises at this rate where it is slowest.

    In litres. None where no amount does: the lander rises faster without any, or its floats do not lift.
    """
    lander, floats = plan.lander, plan.lander.floats
    depth_m = slowest_place(plan, with_ballast=False)[0]
    body_n, floats_n = (
        alone_in_water(plan, part.mass_kg, part.volume_l, part.compressibility_per_mpa).net_force_n(depth_m)
        for part in (lander, floats))
    missing_n = drag_n(plan, depth_m, rate_m_s, down=False) + body_n
    if floats_n >= 0 or missing_n < 0:
        return None
    return floats.volume_l * missing_n / -floats_n


def planned_rate_m_s(plan: Plan, down: bool) -> float | None:
    """The steady speed of the lander where it is slowest, positive the way it goes; None where it does not go."""
    depth_m = slowest_place(plan, with_ballast=down)[0]
    speed_m_s = leaning_hull(plan, LIKELY, ALL if down else NONE).terminal_speed_m_s(depth_m)
    if not down:
        speed_m_s = -speed_m_s
    return speed_m_s if speed_m_s > 0 else None


def drag_n(plan: Plan, depth_m: float, rate_m_s: float, down: bool) -> float:
    """What the water holds back with at a steady rate, N: as much as the weight or the lift that keeps it up."""
    probe = alone_in_water(plan, 1.0, 0.0, 0.0) if down else alone_in_water(plan, 0.0, 1.0, 0.0)
    return abs(probe.net_force_n(depth_m)) * (rate_m_s / probe.terminal_speed_m_s(depth_m)) ** 2
