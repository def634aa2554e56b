"""Run by real MicroPython: the transducer's driver through its start, then through whole pairs with the heap locked."""

import micropython

from drivers.ads1115 import ADS1115, RatiometricTransducer


class Bus:
    """Half of 5 V on input 0, 5 V on input 1, both halved; allocates nothing."""

    def __init__(self):
        self.config = bytearray(2)

    def writeto_mem(self, _address, _register, buffer):
        self.config[0], self.config[1] = buffer[0] | 0x80, buffer[1]

    def readfrom_mem_into(self, _address, register, buffer):
        if register == 1:
            buffer[0], buffer[1] = self.config[0], self.config[1]
            return
        code = 20000 if self.config[0] & 0x10 else 10000  # of 4.096 V: 2.5 and 1.25 V
        buffer[0], buffer[1] = code >> 8, code & 0xFF


def run():
    driver = RatiometricTransducer(ADS1115(Bus()), full_scale_mbar=60000)
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
    print(driver.pressure_mbar, driver.ratio_permille, driver.excitation_mv, driver.faults, "faults")


run()
