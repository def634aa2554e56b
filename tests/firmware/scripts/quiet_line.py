"""Run by a real MicroPython: the deck line of a stock board on which nobody types, with the heap locked.

Prints in how many states it was tried, then the bytes that a verb's module takes, and those of them that are left when
the mission's state has changed.
"""

import gc
import sys

import micropython


class Pin:
    IN, OUT, PULL_UP = 0, 1, 2


class Machine:
    """No pin is made here."""

    Pin = Pin


sys.modules["machine"] = Machine
from boards import deck_verbs  # noqa: E402
from boards.deck_line import DeckLine  # noqa: E402
from boards.stock import StockBoard  # noqa: E402
from lander.mission import Mission  # noqa: E402
from lander.table import STATES  # noqa: E402


class Board(StockBoard):
    def lend(self, volume):
        pass

    def take_back(self):
        pass


class Flight:
    def __init__(self):
        self.mission = Mission()
        self.slots = self
        self.volume = None


flight = Flight()
line = DeckLine(Board())


def hear(state):
    flight.mission.state = state
    line.hear(flight, 0)  # at a change of state it may
    now_ms = 0
    micropython.heap_lock()
    try:
        while now_ms < 100000:
            line.hear(flight, now_ms)
            now_ms += 1000
    finally:
        micropython.heap_unlock()


def taken():
    gc.collect()
    return gc.mem_alloc()


for state in range(len(STATES)):
    hear(state)
flight.mission.state = 0
line.hear(flight, 0)
deck_verbs.bring(line, flight, "deck_store")  # once before: names are kept for ever
deck_verbs.let_go(line)
before = taken()
deck_verbs.bring(line, flight, "deck_store")
loaded = taken() - before
flight.mission.state = 2
line.hear(flight, 0)
left = taken() - before
print(len(STATES), loaded, left)
