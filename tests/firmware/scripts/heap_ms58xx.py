"""Run by real MicroPython: the pressure driver through its start, then through whole pairs with the heap locked."""

import micropython

from drivers.ms58xx import MS58xx

PROM = (0x9340, 34982, 36352, 20328, 22354, 26646, 26146, 0)  # the datasheet's example and its CRC


class Bus:
    """Answers as the datasheet's example does, and allocates nothing."""

    def __init__(self):
        self.command = self.asked = 0

    def writeto(self, _address, buffer):
        if buffer[0]:
            self.command = buffer[0]

    def readfrom_into(self, _address, buffer):
        if len(buffer) == 2:
            word = PROM[(self.command - 0xA0) >> 1]
            buffer[0], buffer[1] = word >> 8, word & 0xFF
            return
        raw = 4958179 if self.command < 0x50 else 6815414
        buffer[0], buffer[1], buffer[2] = raw >> 16, raw >> 8 & 0xFF, raw & 0xFF


def run():
    driver = MS58xx(Bus(), "MS5837-30BA")
    now_ms = (1 << 30) - 500  # the counter wraps on the way
    driver.start(now_ms)
    for _ in range(100):
        now_ms = (now_ms + 1) & 0x3FFFFFFF
        driver.tick(now_ms)
    was_ok = driver.ok
    micropython.heap_lock()
    for _ in range(3000):
        now_ms = (now_ms + 1) & 0x3FFFFFFF
        driver.tick(now_ms)
        was_ok &= driver.ok
    micropython.heap_unlock()
    if not was_ok:
        raise ValueError("the reading was lost on the way")
    print(driver.pressure_mbar, driver.centi_c, driver.faults, "faults")


run()
