"""Twelve plans, each the sample with one thing wrong, and what the one sentence must name. No tests of its own."""

from typing import NamedTuple

from seatrial.plan import sample_text

SAMPLE = sample_text()


class Broken(NamedTuple):
    """What is wrong, the text of the plan, and the words and numbers its sentence must hold."""

    name: str
    text: str
    parts: tuple[str, ...]


def _with(*changes: tuple[str, str]) -> str:
    """The sample with pieces of its text replaced; each piece stands in it exactly once."""
    text = SAMPLE
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def _without(line: str) -> str:
    kept = [one for one in SAMPLE.splitlines() if not one.startswith(line)]
    assert len(kept) == len(SAMPLE.splitlines()) - 1
    return "\n".join(kept) + "\n"


BROKEN = (
    Broken("a pressure sensor that ends too near the seabed", _with(("range_m = 600\nresolution_mbar = 2\n", "range_m = 440\nresolution_mbar = 2\n")),
           ("sensors.pressure.range_m is 440", "430 m deep", "at least 452 m")),
    Broken("ballast too light to sink it", _with(("mass_kg = 6.0", "mass_kg = 1.5")),
           ("lander.ballast.mass_kg", "is 3;", "-2.02 kg", "does not sink", "2.4 kg of this ballast")),
    Broken("floats too small to lift it", _with(("volume_l = 6.875", "volume_l = 5.0")),
           ("lander.floats.volume_l", "is 20;", "3.18 kg", "does not rise", "kg of lift")),
    Broken("a battery too small for dive and beacon", _with(("capacity_ah = 20.0", "capacity_ah = 19.0")),
           ("power.capacity_ah 19", "mAh are missing", "release by minute", "at least 19.4 Ah")),
    Broken("a passive link that may let go before the latest release", _with(("earliest_h = 30", "earliest_h = 5.5")),
           ("release.passive.earliest_h is 5.5", "6 h", "holds longer than 6 h")),
    Broken("surfacing in the dark against the wish",
           _with(("splash_utc = 2027-05-18T06:30:00Z", "splash_utc = 2027-05-18T18:00:00Z"),
                 ("must_leave_utc = 2027-05-18T19:00:00Z", "must_leave_utc = 2027-05-19T12:00:00Z")),
           ('dive.surface_in is "daylight"', "2027-05-18 23:14Z", "sunset", "min earlier", "times.timed_release_min")),
    Broken("a housing rated for less than the site", _with(("length_m = 0.43\nrated_m = 600",
                                                           "length_m = 0.43\nrated_m = 400")),
           ('"camera housing" rated_m is 400', "450 m", "50 m more", "at least 450 m")),
    Broken("lamps that leave blind sectors", _without("bearings_deg = "),
           ("lights.count is 3", "from 300 to 314.4 deg", "from 45.6 to 60 deg", "40 lx", "4 lamps")),
    Broken("a camera that gets too hot", _with(("camera_to_housing_fan_w_k = 0.55", "camera_to_housing_fan_w_k = 0.1")),
           ("heat.camera_to_housing_fan_w_k is 0.1", "7.5 W", "camera.hot_c (58)", "at least 0.16 W/K")),
    Broken("a boat that must leave before the backup has brought it up",
           _with(("must_leave_utc = 2027-05-18T19:00:00Z", "must_leave_utc = 2027-05-18T11:48:00Z")),
           ("dive.must_leave_utc is 2027-05-18 11:48Z", "the backup", "1 min after it", "times.timed_release_min to 299")),
    Broken("a float that is heavier than what it displaces",
           _with(('[[lander.parts]]\nname = "ballast plate"',
                  '[[lander.parts]]\nname = "old float"\nrole = "float"\nmass_kg = 1.2\nvolume_l = 1.0\nheight_m = 0.9\n'
                  'rated_m = 700\n[[lander.parts]]\nname = "ballast plate"')),
           ("old float", "1.2 kg and 1 l", "0.18 kg", "lighter than 1.02 kg or larger than 1.17 l")),
    Broken("a mission longer than its counter",
           _with(("hours = 60", "hours = 1440"), ("capacity_ah = 20.0", "capacity_ah = 400.0"),
                 ("slots = 16384", "slots = 65536")),
           ("beacon.hours is 1440", "60.28 days", "60 days", "shorten")),
)
