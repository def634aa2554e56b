"""Who does what a sequence asks of somebody: a person at the terminal, a relay, or a practice board by itself."""

import sys
import time
from typing import Protocol

import serial
import typer

from seatrial.practice import PracticeBoard
from tumblehome import terminal

OVER_STEPS = 20  # a touch that takes its time goes in so many steps
NOT_ANSWERED = "not answered: there is nobody at a terminal"


class Person(Protocol):
    """What a sequence may ask for. An empty answer says that it was done, any other why it was not."""

    def answer(self, question: str) -> str:
        """A question that wants a yes."""

    def do(self, words: str, touch: dict[str, int], over_s: float, wait) -> str:
        """Something to be done; `wait(s)` lets time of the controller pass."""

    def magnet(self, for_s: float, wait) -> str:
        """The magnet to the housing for so long."""

    def power_off(self, for_s: float, wait) -> str:
        """The supply off for so long."""


class AtTerminal:
    """A person who reads and types; a `relay` switches the supply where there is one."""

    def __init__(self, relay: "Relay | None" = None) -> None:
        self._relay = relay

    def answer(self, question: str) -> str:
        if not sys.stdin.isatty():
            return NOT_ANSWERED
        try:
            return "" if typer.confirm(terminal.printable(question), err=True) else "answered no"
        except typer.Abort:  # so typer says that it was Ctrl-C
            raise KeyboardInterrupt from None

    def do(self, words: str, _touch: dict[str, int], _over_s: float, _wait) -> str:
        return self.answer("%s  Done?" % words)

    def magnet(self, for_s: float, wait) -> str:
        said = self.answer("Hold the magnet to its mark for %g s, beginning at your yes. Ready?" % for_s)
        if not said:
            wait(for_s)
            typer.echo("take it away now", err=True)
        return said

    def power_off(self, for_s: float, wait) -> str:
        if self._relay is None:
            return self.answer("Switch the supply off for %g s and on again.  Done?" % for_s)
        self._relay.switch(is_off=True)
        try:
            wait(for_s)
        finally:
            self._relay.switch(is_off=False)
        return ""


class Relay:
    """A relay in the supply, worked by the RTS line of a serial port: RTS on takes the supply away.

    Raises SerialException where the port cannot be opened; a port that is closed lets the supply come back.
    """

    def __init__(self, url: str) -> None:
        self._port = serial.serial_for_url(url, do_not_open=True)
        self._port.rts = False
        self._port.open()

    def switch(self, is_off: bool) -> None:
        self._port.rts = is_off

    def close(self) -> None:
        self._port.rts = False
        self._port.close()


class AtPractice:
    """Nobody: a practice board of this process is touched as a person would touch it, and every answer is yes.

    It is a clock for `BoardRig` too: the board's time goes only as far as the sequence lets it.
    """

    def __init__(self, board: PracticeBoard) -> None:
        self._board = board
        self._touched: dict[str, float] = {}

    @property
    def speed(self) -> float:
        """Seconds of the board in a second of the wall."""
        return self._board.speed

    @property
    def now_s(self) -> float:
        """Seconds of the board's time, which goes slower than asked for where this machine is too slow."""
        return self._board.now_s

    def let_pass(self, for_s: float) -> None:
        """So much of the board's time, and not more before the next call: what is short is seen by a slow look too."""
        self._board.go_no_further(self.now_s + for_s)
        time.sleep(for_s / self.speed)

    def answer(self, _question: str) -> str:
        return ""

    def do(self, _words: str, touch: dict[str, int], over_s: float, wait) -> str:
        steps = OVER_STEPS if over_s else 1
        before = {name: self._now(name) for name in touch}
        for number in range(1, steps + 1):
            if over_s:
                wait(over_s / steps)
            self._board.set(**{name: round(before[name] + (value - before[name]) * number / steps)
                               for name, value in touch.items()})
        self._touched.update(touch)
        return ""

    def _now(self, name: str) -> float:
        if name in self._touched:
            return self._touched[name]
        return self._board.world.pressure_mbar() if name == "pressure_mbar" else 0.0

    def magnet(self, for_s: float, wait) -> str:
        self._board.set(magnet=1)
        wait(for_s)
        self._board.set(magnet=0)
        return ""

    def power_off(self, for_s: float, wait) -> str:
        self._board.cut_power(for_s)
        wait(for_s)
        return ""
