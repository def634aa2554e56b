"""Run by a real MicroPython: the inputs of a dive go through the mission core again, and each step is measured.

    micropython core_meter.py RECORD INPUTS    with the firmware on the path

RECORD is the mission record. INPUTS has a line a step, the first one for the boot: "number=value" of each input that
changed. Answers a line a step: state in which it began, microseconds, bytes allocated. Then "heap", bytes in use when
`FIRST_STEPS` were done and at the end, each after a collection.
"""

import gc
import sys
import time

from lander.mission import Mission
from lander.signals import INPUTS, Inputs, Outputs

FIRST_STEPS = 500  # by then the dive is under way, and everything has been made that is made once


class Meter:
    """One dive."""

    def __init__(self, record_path: str, inputs_path: str) -> None:
        with open(record_path, "rb") as file:
            self._mission = Mission(file.read())
        self._lines = open(inputs_path)  # noqa: SIM115 - MicroPython closes it with the program
        self._inputs = Inputs()
        self._outputs = Outputs()

    def begin(self) -> None:
        self._hear(self._lines.readline())
        self._mission.boot(None, self._inputs)
        for _ in range(FIRST_STEPS):
            self._hear(self._lines.readline())
            self._step()

    def go_on(self) -> None:
        for line in self._lines:
            self._hear(line)
            self._step()

    def _hear(self, line: str) -> None:
        for word in line.split():
            number, value = word.split("=")
            setattr(self._inputs, INPUTS[int(number)][0], int(value))

    def _step(self) -> None:
        state = self._mission.state
        gc.collect()
        gc.disable()
        before, began_us = gc.mem_alloc(), time.ticks_us()
        self._mission.step(self._inputs, self._outputs)
        took_us, after = time.ticks_diff(time.ticks_us(), began_us), gc.mem_alloc()
        gc.enable()
        print(state, took_us, after - before)


def used() -> int:
    """Bytes of heap in use after a collection."""
    gc.collect()
    return gc.mem_alloc()


def main() -> None:
    meter = Meter(sys.argv[1], sys.argv[2])
    meter.begin()
    first = used()
    meter.go_on()
    print("heap", first, used())


if __name__ == "__main__":
    main()
