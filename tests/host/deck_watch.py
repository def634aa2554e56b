"""A watch for the check on deck that goes with the time of a practice board."""

import time
from datetime import UTC, datetime, timedelta

from seatrial.electronics import EPOCH_S
from seatrial.practice import PracticeBoard
from tumblehome.deck.watch import Watch

BEGAN = datetime(2027, 5, 18, 6, 15, tzinfo=UTC)  # a quarter of an hour before the splash of the sample
PATIENCE_S = 60.0


class DeckWatch(Watch):
    """The time where the practised lander is, whose clock was set to `BEGAN` at its start; its world may be slower than
    the wall, and never leaps.
    """

    def __init__(self, board: PracticeBoard) -> None:
        self._board = board

    def _world_s(self) -> float:
        return self._board.electronics.now_s - EPOCH_S

    def utc(self) -> datetime:
        return BEGAN + timedelta(seconds=self._world_s())

    def wait(self, seconds: float) -> None:
        until_s, end_s = self._world_s() + seconds, time.monotonic() + PATIENCE_S
        while self._world_s() < until_s and time.monotonic() < end_s:
            time.sleep(0.01)
