"""Latitudes and longitudes as charts have them: degrees and minutes, two and three digits of degrees, N S E W.

They are degrees for whoever reckons with them, and words for whoever reads them.
"""

from typing import ClassVar

MINUTE = "\N{PRIME}"
DECIMALS = 2  # of a minute: 18 m


class _ChartAngle(float):
    _degree_digits: ClassVar[int]
    _sides: ClassVar[str]

    def words(self, decimals: int = DECIMALS) -> str:
        """Degrees and minutes to so many decimals of a minute, as 46°06.00′N; never 60 minutes.

        No side is negative where nothing is left of the angle, nor at 180 degrees, which are one meridian.
        """
        parts = 60 * 10 ** decimals  # of a degree
        whole = round(abs(self) * parts)
        degrees, rest = divmod(whole, parts)
        minutes, fraction = divmod(rest, 10 ** decimals)
        side = self._sides[self < 0 and 0 < whole < 180 * parts]
        return f"{degrees:0{self._degree_digits}d}°{minutes:02d}.{fraction:0{decimals}d}{MINUTE}{side}"


class Latitude(_ChartAngle):
    """Degrees, north positive."""

    _degree_digits, _sides = 2, "NS"


class Longitude(_ChartAngle):
    """Degrees, east positive."""

    _degree_digits, _sides = 3, "EW"


def position_words(latitude_deg: float, longitude_deg: float, decimals: int = DECIMALS) -> str:
    """A position as charts have it: 46°06.00′N 028°24.00′W."""
    return f"{Latitude(latitude_deg).words(decimals)} {Longitude(longitude_deg).words(decimals)}"
