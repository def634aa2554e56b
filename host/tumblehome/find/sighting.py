"""How far off a floating lander is seen from the boat, by night and by day, and how far its radio is heard.

Seeing is reckoned as a rate: so many chances a second, each taken or missed by itself, that the lookout notices the
lander at this distance. A pass at some distance then has the chance 1 - exp(-sum of the rate over the pass), and twice
that area of chances over all distances is the sweep width (Koopman, Search and Screening, 1946).

By night the lamp flashes, and each flash that no wave hides may be noticed within the range of the lamp. By day the
floats are looked for: Koopman's inverse-cube law, with the sweep width of the search-and-rescue manual for the smallest
object it has. In the twilights the lamp is looked for too, against a bright sky. Every default promises less rather
than more.
"""

from dataclasses import dataclass, replace
from datetime import datetime
from math import acos, inf, isfinite, log10, pi
from typing import NamedTuple

import numpy as np

from lander.lamps import BEACON, FLASH
from seatrial.handbook import sighting as handbook
from seatrial.handbook import sun
from seatrial.handbook.arguments import above_zero
from seatrial.handbook.sighting import METRES_PER_NM
from seatrial.plan import Plan
from seatrial.workings.daylight import bands
from tumblehome.find.mistakes import SearchError
from tumblehome.find.shapes import Numbers

M_S_PER_KN = METRES_PER_NM / 3600

LAMP, EYE, NOTHING_SHOWS = "lamp", "eye", "nothing"  # by what it is seen

# Chance that one lookout, who goes around the whole horizon, notices one flash within its range: a guess, as a narrow
# field of view of 20 degrees out of 360 gives.
NOTICED = 0.05

# Illuminance at the eye at which a flash is just seen, by the light of the sky. At the darkest of civil twilight and at
# sunset the formula of IALA E-200-2 for a sky of some cd/m2, 0.242e-6 (1 + sqrt(0.4 L))^2 lx, stays below what is taken
# (from memory).
THRESHOLD_LUX = {
    sun.NIGHT: handbook.THRESHOLD_LUX["dark"],
    sun.NAUTICAL_TWILIGHT: handbook.THRESHOLD_LUX["some lights behind"],
    sun.CIVIL_TWILIGHT: handbook.THRESHOLD_LUX["many lights behind"],
}

# Sweep width for a person in the water, NM, by meteorological visibility, NM; and what wind and sea leave of it.
# IAMSAR manual, volume III, tables of sweep widths for merchant ships and of weather correction; from memory. A lander
# with floats and a mast shows more than a head; a boat's eye stands lower than a ship's bridge.
DAY_SWEEP_NM = ((3.0, 0.4), (5.0, 0.5), (10.0, 0.6), (15.0, 0.7), (20.0, 0.7))
WEATHER_LEFT = (  # wind below, m/s; sea below, m; share of the sweep width left
    (28 / 3.6, 1.0, 1.0),
    (46 / 3.6, 1.5, 0.5),
    (inf, inf, 0.25),
)

# Signal over noise at which a LoRa frame is still read, dB, by spreading factor: SX1276 datasheet, table of section
# 4.1.1.2; the thermal noise is -174 dBm in each hertz.
LORA_SNR_DB = {6: -5.0, 7: -7.5, 8: -10.0, 9: -12.5, 10: -15.0, 11: -17.5, 12: -20.0}
THERMAL_DBM_HZ = -174.0


@dataclass(frozen=True)
class Searcher:
    """The boat that looks: its speed over the ground and its heights above the water. Lookouts share the horizon."""

    speed_kn: float
    eye_height_m: float
    antenna_height_m: float
    lookouts: int = 1

    def __post_init__(self) -> None:
        for words, value, low, high in (
            ("speed of the boat", self.speed_kn, 0.5, 60), ("height of the eye", self.eye_height_m, 0.5, 60),
            ("height of the antenna", self.antenna_height_m, 0.5, 60), ("number of lookouts", self.lookouts, 1, 20),
        ):
            if not low <= value <= high:
                raise SearchError([f"the {words} is {value:g}; allowed is {low:g} to {high:g}: correct it"])

    @property
    def speed_m_s(self) -> float:
        return self.speed_kn * M_S_PER_KN


def searcher_of(plan: Plan, speed_kn: float, eye_height_m: float | None = None, lookouts: int = 1) -> Searcher:
    """The searcher that the plan counts on, with this speed. Raises SearchError for a number out of range."""
    beacon = plan.beacon
    return Searcher(speed_kn, eye_height_m if eye_height_m is not None else beacon.eye_height_m,
                    beacon.antenna_height_m, lookouts)


@dataclass(frozen=True)
class Sighting:
    """How the lander is seen in one light: `by` LAMP, EYE or NOTHING_SHOWS.

    Within `range_m`, and not beyond, it is noticed at a rate of `steady_per_s` + `cube_m3_s` / distance^3 in each
    second. `limited_by` says what sets the range. `sweep_m` is the sweep width at the boat's speed.
    """

    by: str
    range_m: float
    limited_by: str
    steady_per_s: float
    cube_m3_s: float
    speed_m_s: float
    sweep_m: float = 0.0

    def rate_per_s(self, distance_m: Numbers) -> Numbers:
        """Chances in a second that it is noticed at these distances."""
        near = np.maximum(np.asarray(distance_m, float), NEAREST_M)
        return np.where(near <= self.range_m, self.steady_per_s + self.cube_m3_s / near**3, 0.0)

    def lateral(self, distance_m: Numbers) -> Numbers:
        """Chance that it is seen in one long straight pass which leaves it abeam at these distances, 0 to 1."""
        abeam = np.maximum(np.abs(np.asarray(distance_m, float)), NEAREST_M)
        half = np.sqrt(np.maximum(0.0, self.range_m**2 - abeam**2))  # of the way within range
        cube = half / (abeam**2 * np.sqrt(half**2 + abeam**2))
        return -np.expm1(-2.0 * (self.steady_per_s * half + self.cube_m3_s * cube) / self.speed_m_s)


def spared(sighting: Sighting, share: float) -> Sighting:
    """By a lamp of which only this share of the flashes comes, 0 to 1; the floats are seen as before."""
    if sighting.by != LAMP or share >= 1.0:
        return sighting
    return _swept(replace(sighting, steady_per_s=share * sighting.steady_per_s))


NEAREST_M = 1.0  # the boat itself is longer: nothing is reckoned nearer
NOTHING = Sighting(NOTHING_SHOWS, 0.0, "nothing shows", 0.0, 0.0, 1.0)


class Span(NamedTuple):
    """A time of one light, in UTC, and how the lander is seen in it."""

    begin: datetime
    end: datetime
    light: str
    sighting: Sighting


class Link(NamedTuple):
    """A radio link to the lander. Gains in dBi with all their losses; a wet antenna near the water has little."""

    frequency_mhz: float = 868.0
    power_dbm: float = 14.0
    antenna_dbi: float = -3.0  # of the lander; a guess that promises little
    other_antenna_dbi: float = 0.0  # of the boat
    spreading_factor: int = 9
    bandwidth_hz: float = 125e3
    noise_figure_db: float = 6.0  # SX1276 application notes
    fade_margin_db: float = 15.0  # 10 to 20; common practice, no source


class RadioRange(NamedTuple):
    """How far a report is heard, NM, what sets the limit ("power" or "horizon"), and the receiver's sensitivity."""

    range_nm: float
    limited_by: str
    sensitivity_dbm: float


def sighting_in(light: str, plan: Plan, searcher: Searcher) -> Sighting:
    """How the lander is seen in a light of `seatrial.handbook.sun`: by its floats in daylight, else by its lamp."""
    return by_eye(plan, searcher) if light == sun.DAYLIGHT else by_lamp(plan, searcher, light)


def by_lamp(plan: Plan, searcher: Searcher, light: str = sun.NIGHT) -> Sighting:
    """By the flashes of the beacon: Allard's law and the horizon over the crests of the swell.

    The lamp counts as shown while at least half its height stands over the crests around it; a swell that is a sine
    leaves it that for a share of the time, and hides the flashes of the rest. Nothing where the plan has no intensity.
    """
    if plan.beacon.lamp_cd is None:
        return replace(NOTHING, limited_by="beacon.lamp_cd is not in the plan", speed_m_s=searcher.speed_m_s)
    rhythm_ms: tuple[int, ...] = BEACON[FLASH]
    lit_ms, dark_ms = rhythm_ms
    crest_m = 0.5 * plan.site.swell_height_m
    shown_m = max(0.5 * plan.beacon.lamp_height_m, plan.beacon.lamp_height_m - 2.0 * crest_m)
    seen = handbook.lamp_sighting_nm(
        plan.beacon.lamp_cd, lit_ms / 1000, plan.site.visibility_nm, max(0.0, searcher.eye_height_m - crest_m), shown_m,
        THRESHOLD_LUX[light])
    flashes_per_s = 1000 / (lit_ms + dark_ms) * shown_share(plan.beacon.lamp_height_m, plan.site.swell_height_m)
    noticed = 1.0 - (1.0 - NOTICED) ** searcher.lookouts
    limited_by = {"light": "the light of the lamp", "horizon": "the horizon"}[seen.limited_by]
    return _swept(Sighting(LAMP, METRES_PER_NM * seen.range_nm, limited_by, flashes_per_s * noticed, 0.0,
                           searcher.speed_m_s))


def by_eye(plan: Plan, searcher: Searcher) -> Sighting:
    """By its floats in daylight: the inverse-cube law with the manual's sweep width, cut off at the horizon.

    The sweep width is that of `DAY_SWEEP_NM`, whatever the speed, as the manual has it; cut off, it is a little less.
    """
    width_m = METRES_PER_NM * day_sweep_nm(
        plan.site.visibility_nm, plan.site.wind.speed_m_s, plan.site.swell_height_m)
    crest_m = 0.5 * plan.site.swell_height_m
    horizon_nm = handbook.geographical_range_nm(max(0.0, searcher.eye_height_m - crest_m), plan.beacon.lamp_height_m)
    range_nm = min(horizon_nm, plan.site.visibility_nm)
    limited_by = "the horizon" if horizon_nm < plan.site.visibility_nm else "the visibility"
    # the law's sweep width is 2 sqrt(2 pi k / v) with the rate k / r^3: Koopman 1946, solved for k
    cube_m3_s = searcher.speed_m_s * width_m**2 / (8.0 * pi)
    return _swept(Sighting(EYE, METRES_PER_NM * range_nm, limited_by, 0.0, cube_m3_s, searcher.speed_m_s))


def day_sweep_nm(visibility_nm: float, wind_m_s: float, sea_m: float) -> float:
    """Sweep width for a small float by day: `DAY_SWEEP_NM` between its rows, times what wind and sea leave.

    Below the first row it falls in proportion to the visibility. Raises ValueError for a visibility not above 0.
    """
    above_zero(visibility_nm=visibility_nm)
    left = next(share for wind, sea, share in WEATHER_LEFT if wind_m_s < wind and sea_m < sea)
    return left * float(np.interp(visibility_nm, *np.transpose([(0.0, 0.0), *DAY_SWEEP_NM])))


def shown_share(height_m: float, swell_m: float) -> float:
    """Share of the time that a lamp at this height shows over the crests around it, 0 to 1.

    Shown is: half its height or more over the plane of the crests, while it rides a sine of this height, trough to
    crest. What a high eye sees down into a trough is not counted. Our own reckoning from the geometry.
    """
    if swell_m <= 0.0 or 2.0 * swell_m <= height_m:
        return 1.0
    return acos(max(-1.0, 1.0 - height_m / swell_m)) / pi


def sweep_width_m(sighting: Sighting) -> float:
    """Twice the area under the lateral chance, by Simpson's rule on a grid that is fine where the curve is steep."""
    if sighting.range_m <= 0.0:
        return 0.0
    parts = 4000
    share = np.linspace(0.0, 0.5 * pi, parts + 1)
    abeam = sighting.range_m * np.sin(share)  # dense at the edge, where a chord shortens fastest
    heights = sighting.lateral(abeam) * sighting.range_m * np.cos(share)
    weights = np.ones(parts + 1)
    weights[1:-1:2], weights[2:-1:2] = 4.0, 2.0
    return 2.0 * float(np.sum(weights * heights)) * (0.5 * pi / parts) / 3.0


def _swept(sighting: Sighting) -> Sighting:
    return replace(sighting, sweep_m=sweep_width_m(sighting))


def spans(plan: Plan, searcher: Searcher, begin: datetime, end: datetime) -> tuple[Span, ...]:
    """How the lander is seen from one moment to another, a span for each light at the site, without a gap."""
    known = {light: sighting_in(light, plan, searcher)
             for light in (sun.DAYLIGHT, sun.CIVIL_TWILIGHT, sun.NAUTICAL_TWILIGHT, sun.NIGHT)}
    return tuple(Span(band.begin, band.end, band.light, known[band.light]) for band in bands(plan, begin, end))


def radio_range(searcher: Searcher, own_antenna_height_m: float, link: Link) -> RadioRange:
    """How far a report is heard over the sea: the link budget (ITU-R P.525, flat sea) or the radio horizon.

    Raises ValueError for a spreading factor that LoRa does not have, or heights or numbers that are not above 0.
    """
    sensitivity = sensitivity_dbm(link.spreading_factor, link.bandwidth_hz, link.noise_figure_db)
    allowed_db = handbook.link_margin_db(
        link.power_dbm, link.antenna_dbi, link.other_antenna_dbi, link.fade_margin_db, sensitivity)
    reach = handbook.radio_reach_km(link.frequency_mhz, allowed_db, own_antenna_height_m, searcher.antenna_height_m)
    return RadioRange(1000 * reach.range_km / METRES_PER_NM, reach.limited_by, sensitivity)


def sensitivity_dbm(spreading_factor: int, bandwidth_hz: float, noise_figure_db: float = 6.0) -> float:
    """The weakest LoRa signal that is read: thermal noise of the band, the receiver's own, and the factor's share.

    -174 + 10 log10(bandwidth) + noise figure + signal over noise; SX1276 datasheet and application notes.
    Raises ValueError for a spreading factor beyond 6 to 12, or a bandwidth not above 0.
    """
    above_zero(bandwidth_hz=bandwidth_hz)
    if spreading_factor not in LORA_SNR_DB:
        raise ValueError("spreading_factor is %s; allowed is 6 to 12: correct it" % spreading_factor)
    if not isfinite(noise_figure_db):
        raise ValueError("noise_figure_db is %s; allowed is a finite number: correct it" % noise_figure_db)
    return THERMAL_DBM_HZ + 10.0 * log10(bandwidth_hz) + noise_figure_db + LORA_SNR_DB[spreading_factor]
