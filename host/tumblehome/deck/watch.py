"""This machine's clock, as the check on deck uses it."""

import time
from datetime import UTC, datetime


class Watch:
    """The time, and waiting. A lander that is simulated in quick motion gets a watch that runs as quickly."""

    def utc(self) -> datetime:
        """This moment, UTC."""
        return datetime.now(UTC)

    def wait(self, seconds: float) -> None:
        """Let so much time go by."""
        time.sleep(seconds)
