"""How far off a floating lander is seen or heard: the horizon, its lamp by night, its radio.

Ranges are upper bounds of a calm night with a searcher who looks that way. By day a lamp promises nothing: against
daylight the threshold is thousands of times higher, so no function here gives a range for it.
Where the books differ, the default is the one that promises least.
"""

from math import exp, inf, isfinite, log, log10, pi, sqrt
from typing import NamedTuple

from seatrial.handbook.arguments import above_zero

METRES_PER_NM = 1852.0
METRES_PER_FOOT = 0.3048
LIGHT_SPEED_M_S = 299_792_458.0

# Nautical miles per square root of a metre of height. The books differ by their refraction, and Bowditch by itself:
# 1.17 with feet is 2.119 with metres, 2.4 % more than its own 2.07.
HORIZON_FACTOR = {
    "list of lights": 2.03,  # IALA and Admiralty List of Lights, geographical range; from memory
    "bowditch metres": 2.07,  # Bowditch, The American Practical Navigator, 1995 and 2002, chapter 22
    "bowditch feet": 1.17 / sqrt(METRES_PER_FOOT),  # the same chapter, printed for feet
}
LEAST_HORIZON_FACTOR = HORIZON_FACTOR["list of lights"]

# Illuminance at the eye at which a light is just seen, lx. The first: COLREG Annex I section 8 and IALA E-200-2.
# The other two: IALA E-200-2, minor and substantial background lighting; from memory.
THRESHOLD_LUX = {"dark": 2e-7, "some lights behind": 2e-6, "many lights behind": 2e-5}
VISIBILITY_CONTRAST = 0.05  # what is left of a contrast at the meteorological visibility (IALA E-200-2)
EYE_TIME_S = 0.2  # Blondel and Rey's constant of the eye, by night

# Kilometres per square root of a metre, over an earth of 4/3 its radius: sqrt(2 * 4/3 * 6371 km), ITU-R P.453.
RADIO_HORIZON_FACTOR = 4.12


class LampSighting(NamedTuple):
    """How far a flashing lamp is seen by night, and what sets the limit."""

    range_nm: float
    limited_by: str  # "light" or "horizon"
    luminous_nm: float  # how far its light carries, were the sea flat
    geographical_nm: float  # how far it stands above the horizon, however bright
    effective_cd: float


class RadioReach(NamedTuple):
    """How far a radio is heard, and what sets the limit."""

    range_km: float
    limited_by: str  # "power" or "horizon"
    by_power_km: float
    horizon_km: float


def visible_horizon_nm(height_m: float, factor: float = LEAST_HORIZON_FACTOR) -> float:
    """Distance of the sea horizon from an eye at this height: factor x sqrt(height), see `HORIZON_FACTOR`.

    Raises ValueError for a negative height or a factor that is not above 0.
    """
    _not_negative("height_m", height_m)
    above_zero(factor=factor)
    return factor * sqrt(height_m)


def geographical_range_nm(eye_height_m: float, object_height_m: float, factor: float = LEAST_HORIZON_FACTOR) -> float:
    """Greatest distance at which an object of this height above the water shows over the horizon, by day or night.

    Both horizons added: Bowditch chapter 22; IALA geographical range. Heights are above the water of the moment:
    swell takes some of both. Raises ValueError for a negative height.
    """
    return visible_horizon_nm(eye_height_m, factor) + visible_horizon_nm(object_height_m, factor)


def effective_intensity_cd(peak_cd: float, flash_s: float) -> float:
    """The steady light that is seen as far as a rectangular flash: I t / (0.2 s + t), Blondel-Rey, IALA E-200-4.

    `flash_s` is the length of one flash; infinity stands for a steady light. A flash of 0.1 s counts a third.
    Raises ValueError for a negative intensity or a length that is not above 0.
    """
    _not_negative("peak_cd", peak_cd)
    if flash_s == inf:
        return peak_cd
    above_zero(flash_s=flash_s)
    return peak_cd * flash_s / (EYE_TIME_S + flash_s)


def intensity_needed_cd(range_nm: float, visibility_nm: float, threshold_lux: float = THRESHOLD_LUX["dark"]) -> float:
    """The intensity that is just seen at this distance by night: Allard's law, E d^2 0.05^(-d / V).

    IALA E-200-2; COLREG Annex I section 8 is the same law with K = 0.05^(1 NM / V). Raises ValueError for a negative
    range, or a visibility or threshold that is not above 0.
    """
    _not_negative("range_nm", range_nm)
    above_zero(visibility_nm=visibility_nm)
    above_zero(threshold_lux=threshold_lux)
    return threshold_lux * (METRES_PER_NM * range_nm) ** 2 * VISIBILITY_CONTRAST ** (-range_nm / visibility_nm)


def luminous_range_nm(intensity_cd: float, visibility_nm: float, threshold_lux: float = THRESHOLD_LUX["dark"]) -> float:
    """How far a steady light carries by night through air of this meteorological visibility; 0 for no light.

    Allard's law solved for the distance; `intensity_needed_cd` is the way back. Not for daylight.
    Raises ValueError for a negative intensity, or a visibility or threshold that is not above 0.
    """
    _not_negative("intensity_cd", intensity_cd)
    above_zero(visibility_nm=visibility_nm)
    above_zero(threshold_lux=threshold_lux)
    if intensity_cd == 0.0:
        return 0.0

    # With x = ln d the law is x + k e^x = ln(range in vacuum). Convex and rising, so Newton's steps come down on the
    # root from the vacuum range and cannot miss it.
    log_vacuum = 0.5 * log(intensity_cd / threshold_lux) - log(METRES_PER_NM)
    k = -0.5 * log(VISIBILITY_CONTRAST) / visibility_nm
    x = log_vacuum
    for _ in range(100):
        lost = k * exp(x)
        step = (x + lost - log_vacuum) / (1.0 + lost)
        x -= step
        if abs(step) < 1e-12:
            break
    return exp(x)


def lamp_sighting_nm(
    peak_cd: float,
    flash_s: float,
    visibility_nm: float,
    eye_height_m: float,
    lamp_height_m: float,
    threshold_lux: float = THRESHOLD_LUX["dark"],
) -> LampSighting:
    """How far a flashing lamp is seen by night: the lesser of what its light and what the horizon allows.

    Not for daylight, and not for the glow of a lamp below the horizon. Raises ValueError as its parts do.
    """
    effective_cd = effective_intensity_cd(peak_cd, flash_s)
    luminous_nm = luminous_range_nm(effective_cd, visibility_nm, threshold_lux)
    geographical_nm = geographical_range_nm(eye_height_m, lamp_height_m)
    limited_by = "light" if luminous_nm < geographical_nm else "horizon"
    return LampSighting(min(luminous_nm, geographical_nm), limited_by, luminous_nm, geographical_nm, effective_cd)


def radio_horizon_km(height_m: float, other_height_m: float) -> float:
    """Distance at which two antennas at these heights still see each other: 4.12 (sqrt h1 + sqrt h2).

    Earth of 4/3 its radius, ITU-R P.453. Raises ValueError for a negative height.
    """
    _not_negative("height_m", height_m)
    _not_negative("other_height_m", other_height_m)
    return RADIO_HORIZON_FACTOR * (sqrt(height_m) + sqrt(other_height_m))


def free_space_loss_db(frequency_mhz: float, distance_km: float) -> float:
    """Loss between two isotropic antennas in free space: 20 log10(4 pi d f / c), ITU-R P.525.

    Raises ValueError for a frequency or distance that is not above 0.
    """
    above_zero(frequency_mhz=frequency_mhz)
    above_zero(distance_km=distance_km)
    return 20.0 * log10(4.0 * pi * (1e3 * distance_km) * (1e6 * frequency_mhz) / LIGHT_SPEED_M_S)


def flat_sea_loss_db(distance_km: float, height_m: float, other_height_m: float) -> float:
    """Loss over flat water far out, where the reflected wave cancels most of the direct one: 40 log d - 20 log h1 h2.

    The plane-earth equation, from memory; common in radio handbooks. True only where it exceeds the free-space loss,
    and without regard to the waves or the wavelength: an antenna within a wavelength or so of the water does somewhat
    better than this. Raises ValueError for a distance or height that is not above 0.
    """
    above_zero(distance_km=distance_km)
    above_zero(height_m=height_m)
    above_zero(other_height_m=other_height_m)
    return 40.0 * log10(1e3 * distance_km) - 20.0 * log10(height_m * other_height_m)


def link_margin_db(
    power_dbm: float, antenna_dbi: float, other_antenna_dbi: float, loss_db: float, sensitivity_dbm: float
) -> float:
    """What is left over the receiver's sensitivity, dB; below 0 nothing is heard.

    Power, both antennas and the loss of the path, added up in decibels: common practice, no source. Cables, bodies
    and wet antennas are the caller's, as a smaller antenna gain. Raises ValueError for what is not a number.
    """
    for name, value in (("power_dbm", power_dbm), ("antenna_dbi", antenna_dbi), ("loss_db", loss_db),
                        ("other_antenna_dbi", other_antenna_dbi), ("sensitivity_dbm", sensitivity_dbm)):
        if not isfinite(value):
            raise ValueError("%s is %s; it must be a finite number" % (name, value))
    return power_dbm + antenna_dbi + other_antenna_dbi - loss_db - sensitivity_dbm


def radio_reach_km(frequency_mhz: float, loss_allowed_db: float, height_m: float, other_height_m: float) -> RadioReach:
    """How far a radio carries over the sea that may lose so much on the way; never beyond the radio horizon.

    The lesser range of free space and flat water (both rise with distance, so each is solved by itself).
    Keep a margin for fading in `loss_allowed_db`: 10 to 20 dB (common practice, no source).
    Raises ValueError for a frequency or height that is not above 0, or a loss that is not a number.
    """
    if not isfinite(loss_allowed_db):
        raise ValueError("loss_allowed_db is %s; it must be a finite number" % loss_allowed_db)
    free_km = 10.0 ** ((loss_allowed_db - free_space_loss_db(frequency_mhz, 1.0)) / 20.0)
    flat_km = 10.0 ** ((loss_allowed_db - flat_sea_loss_db(1.0, height_m, other_height_m)) / 40.0)
    by_power_km = min(free_km, flat_km)
    horizon_km = radio_horizon_km(height_m, other_height_m)
    limited_by = "power" if by_power_km < horizon_km else "horizon"
    return RadioReach(min(by_power_km, horizon_km), limited_by, by_power_km, horizon_km)


def _not_negative(name: str, value: float) -> None:
    if not (isfinite(value) and value >= 0.0):
        raise ValueError("%s is %s; it must be 0 or more" % (name, value))
