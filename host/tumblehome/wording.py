"""How values stand in tables and on pages, and what is said before something moves."""

import math
from datetime import datetime, timedelta
from typing import Any

from seatrial.workings.chart_angles import Latitude, Longitude

NOTHING = "–"

# What can hurt somebody, and what to do, in the words of hw_notes/cautions.md.
CAUTIONS = {
    "lamps": "Strobes and lamps against eyes, and against those prone to seizures: cover or look away; lights in air"
             " for a few seconds at most, since they also overheat without water.",
    "load": "A switch that is not off from reset fires what hangs on it; a dummy load gets hot enough to burn.",
    "release": "A release may fire: stand clear of the ballast; nobody under the load or in a bight.",
    "gas": "Electrolytic release makes hydrogen and chlorine: open air or a hood, no flame, no closed vessel; keep it"
           " short.",
    "pack": "Lithium packs in a sealed housing. Short, flooding, overcharge or a crushed cell: fire and gas that a"
            " housing holds back until it does not.",
    "chamber": "Housings fail without warning: stand clear, follow the operator's rules; first tests"
               " empty, without a pack.",
    "radio": "Radio transmitters are licensed: frequency, power, share of the time, identity; on the bench into a dummy"
             " load.",
}


def elapsed(seconds: float) -> str:
    """Seconds as h:mm:ss, rounded to the nearest second, with a minus sign before zero."""
    whole = math.floor(abs(seconds) + 0.5)
    hours, rest = divmod(whole, 3600)
    sign = "-" if seconds < 0 and whole else ""
    return f"{sign}{hours}:{rest // 60:02d}:{rest % 60:02d}"


def to_the_second(utc: datetime) -> str:
    """A moment of UTC as "2027-05-18 06:30:00", rounded to the nearest second as `elapsed` and the pages round."""
    return (utc + timedelta(seconds=0.5)).strftime("%Y-%m-%d %H:%M:%S")


def shown(value: Any, digits: int | None = None) -> str:
    """A value for a person: numbers with `digits` decimals, moments in UTC, angles of a chart; a dash for none."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return NOTHING
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%d %H:%M") + "Z"
    if isinstance(value, Latitude | Longitude):
        return value.words()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float) and digits is not None:
        text = "%.*f" % (digits, value)
        return text[1:] if text.startswith("-") and not float(text) else text
    return str(value)


def measured(value: Any, digits: int | None, unit: str) -> str:
    """A value with its unit; many whole seconds are a clock, many millivolts volts."""
    if value is not None and unit == "s" and digits == 0 and abs(value) >= 100:
        return elapsed(value)
    if value is not None and unit == "mV" and abs(value) >= 1000:
        return f"{value / 1000:.2f} V"
    said = shown(value, digits)
    return said if said == NOTHING or not unit else f"{said} {unit}"
