"""Times as a page shows them: h:mm:ss since the splash, and UTC where the date is known."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from tumblehome.wording import elapsed, to_the_second


def read_utc(text: str | None) -> datetime | None:
    """An ISO 8601 instant as an aware datetime in UTC; None where there is none.

    Raises ValueError when the text is no instant. One without a zone is taken as UTC.
    """
    if not text:
        return None
    try:
        instant = datetime.fromisoformat(text)
    except (TypeError, ValueError) as error:
        raise ValueError(f"splash_utc is {text!r}; give an ISO 8601 instant such as 2027-05-18T06:30:00Z,"
                         " or leave it empty") from error
    return instant.replace(tzinfo=UTC) if instant.tzinfo is None else instant.astimezone(UTC)


class DiveClock:
    """Turns seconds of the run into what the reader sees.

    `splash_s` is the splash in seconds of the run, or None for a lander that never got wet: then times count from
    the start of the run. `splash_utc` is the instant of the splash, or None where the date is not known.
    """

    def __init__(self, splash_s: float | None, splash_utc: str | None = None) -> None:
        self.origin_s = 0.0 if splash_s is None else float(splash_s)
        self.origin_name = "the start of the run" if splash_s is None else "the splash"
        self.origin_utc = None if splash_s is None else read_utc(splash_utc)

    def since(self, time_s: float) -> float:
        """Seconds since the origin, for an instant in seconds of the run."""
        return time_s - self.origin_s

    def elapsed(self, time_s: float) -> str:
        """h:mm:ss since the origin, for an instant in seconds of the run."""
        return elapsed(self.since(time_s))

    def utc(self, time_s: float) -> str:
        """UTC of an instant of the run as "2027-05-18 06:30:00"; empty where the date is not known."""
        if self.origin_utc is None:
            return ""
        return to_the_second(self.origin_utc + timedelta(seconds=self.since(time_s)))

    def both(self, time_s: float) -> str:
        """Elapsed time and, where known, UTC, in one phrase."""
        utc = self.utc(time_s)
        return f"{self.elapsed(time_s)} after {self.origin_name}" + (f" ({utc} UTC)" if utc else "")
