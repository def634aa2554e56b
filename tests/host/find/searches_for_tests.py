"""Searches made up by hand for the tests of what is told about them. No tests."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import cos, pi, radians, sin

from tumblehome.find.shapes import Area, Pattern, Plane, Position, Way
from tumblehome.find.telling import Heading, Planned, Sight, Telling, WayHome

SPLASH_UTC = datetime(2027, 5, 18, 6, 30, tzinfo=UTC)
HERE = Position(46.1, -28.4)
AT_THE_DATE_LINE = Position(-17.0, 179.995)
NEAR_THE_POLE = Position(89.9, 20.0)
SHARES = {0.5: 0.6, 0.9: 1.1, 0.99: 1.6}  # of the size, a half axis
NASTY = '<script>alert("x")</script>&\x07]]><!-- "\''


def ring(plane, east_m, north_m, long_m, wide_m, toward_deg=70.0, clockwise=False, points=72):
    """An ellipse as a closed ring."""
    turn = radians(90 - toward_deg)
    around = [2 * pi * (at % points) / points for at in range(points + 1)]
    return tuple(plane.position(
        east_m + long_m * cos(angle) * cos(turn) - wide_m * sin(angle) * sin(turn),
        north_m + long_m * cos(angle) * sin(turn) + wide_m * sin(angle) * cos(turn))
        for angle in (reversed(around) if clockwise else around))


def sight(plane, hours, size_m, drift_m_s=0.4):
    """Areas that drift toward 070 and grow; the widest has a hole and an island."""
    run_m = drift_m_s * 3600 * hours
    east_m, north_m = run_m * sin(radians(70)), run_m * cos(radians(70))
    at = SPLASH_UTC + timedelta(hours=5.25 + hours)
    areas = []
    for probability, share in SHARES.items():
        long_m, wide_m = size_m * share, 0.6 * size_m * share
        rings = [ring(plane, east_m, north_m, long_m, wide_m)]
        if probability == 0.99:
            rings.append(ring(plane, east_m - 1.3 * size_m, north_m - 0.45 * size_m, 0.06 * size_m, 0.06 * size_m, clockwise=True))
            rings.append(ring(plane, east_m + 0.2 * size_m, north_m - 1.5 * size_m, 0.2 * size_m, 0.1 * size_m))
        areas.append(Area(probability, at, tuple(rings), pi * long_m * wide_m / 1e6))
    return Sight(at, tuple(areas), plane.position(east_m, north_m), 0.9 * size_m, min(0.97, 0.9 + hours / 100), 70.0, drift_m_s / 0.5144)


def square(plane, east_m, north_m, spacing_m, legs=12, speed_kn=5.0):
    """An expanding square: legs of S, S, 2S, 2S ..., each turned right of the last."""
    points, length_m = [(east_m, north_m)], 0.0
    for leg in range(legs):
        course, run_m = radians(70 + 90 * leg), spacing_m * (leg // 2 + 1)
        points.append((points[-1][0] + run_m * sin(course), points[-1][1] + run_m * cos(course)))
        length_m += run_m
    return Pattern("expanding square", tuple(plane.position(*point) for point in points), spacing_m, length_m,
                   speed_kn, length_m / (speed_kn * 1852), 0.81)


def sweep(plane, east_m, north_m, spacing_m, tracks=5, speed_kn=5.0):
    """Parallel tracks, there and back."""
    run_m = spacing_m * 6
    points = []
    for track in range(tracks):
        ends = [(east_m - run_m / 2, north_m + spacing_m * (track - tracks / 2)), (east_m + run_m / 2, north_m + spacing_m * (track - tracks / 2))]
        points += ends if track % 2 == 0 else ends[::-1]
    length_m = run_m * tracks + spacing_m * (tracks - 1)
    return Pattern("parallel tracks", tuple(plane.position(*point) for point in points), spacing_m, length_m,
                   speed_kn, length_m / (speed_kn * 1852), 0.64)


def made_up(splash=HERE, size_m=2000.0, hours=(0.0, 1.0, 3.0, 6.0, 12.0), boat=(-3000.0, 4000.0), **changes):
    """A search around that splash; `size_m` is about the radius of what is to be searched at first."""
    plane = Plane(splash)
    drift_m_s = 0.4 * size_m / 2000
    sights = tuple(sight(plane, hour, size_m * (1 + hour / 6), drift_m_s) for hour in hours)
    place = sights[0].likely
    ways = [("timed", "timed release", 0.82, 313), ("backup", "timed release, primary fails", 0.11, 330),
            ("passive_latest", "corroding link, latest", 0.05, 4331), ("never", "stays down", 0.02, None)]
    told = Telling(
        name="Half-Moon Shelf, first light (invented)", now=SPLASH_UTC + timedelta(hours=5), splash=splash,
        splash_utc=SPLASH_UTC, bottom=plane.position(0.04 * size_m, 0.02 * size_m),
        boat=None if boat is None else plane.position(*boat),
        heading=Heading(place, sights[0].at, "Then steer the expanding square: it finds the lander with 81 % in 1.4 h."),
        ways=tuple(WayHome(Way(key, words, probability), *(
            (None,) * 3 if minutes is None else (SPLASH_UTC + timedelta(minutes=minutes + more) for more in (-2, 0, 4))))
            for key, words, probability, minutes in ways),
        sights=sights,
        patterns=(Planned(square(plane, 0.0, 0.0, size_m / 5), sights[0].at, "the likely place is well known"),
                  Planned(sweep(plane, 0.0, 0.0, size_m / 4), sights[0].at)),
        message="For information, nobody is in danger: an unmanned seabed camera may be afloat.",
        reasons=("It does not pay to wait.", "Listen all the while."), tell=("shore contact, by telephone",), assumed=("Wind: no file, so the plan's 6 m/s from 240° throughout.",),
        cautions=("Lamps and beacon are bright: do not look into them.",))
    return replace(told, **changes)
