"""Runs under MicroPython: each plain driver through a whole cycle, then again with the heap locked.

Prints the driver, whether its cycle did what it should, and the bytes that the locked ticks took.
"""

import gc

import micropython

from drivers.blinker import Blinker
from drivers.burnwire import FIRING, OFF, BurnWire
from drivers.lamp import Lamp
from drivers.latch import FINISHED, MOTOR_TO_SWITCH, SERVO, Latch
from drivers.magnet import Magnet
from drivers.probe import Probe
from drivers.register import ShiftRegister
from drivers.selector import Selector
from drivers.trickle import SOUND
from lander.lamps import STATUS


class Pin:
    def __init__(self, level=0):
        self.level = level

    def __call__(self, level=None):
        if level is None:
            return self.level
        self.level = level
        return None


class PWM:
    def __init__(self):
        self.duty = 0

    def duty_u16(self, duty):
        self.duty = duty


class ADC:
    def __init__(self, counts=0):
        self.counts = counts

    def read_u16(self):
        return self.counts


class Node:
    """Of a dry probe with its end resistor at ten times the series resistor; or of a burn wire with its plug."""

    def __init__(self, high, low):
        self.high = high
        self.low = low

    def read_u16(self):
        if self.high.level:
            return 59577
        return 5958 if self.low is not None and self.low.level else 0


class PlugNode:
    def __init__(self, trickle):
        self.trickle = trickle

    def read_u16(self):
        return 32768 if self.trickle.level else 0


class SPI:
    """As many bytes of a shift register as there are, and the last of them for a test to see."""

    def __init__(self):
        self.shifted = bytearray(2)

    def write(self, data):
        for at in range(2):
            self.shifted[at] = data[at]


class Common:
    """The common pin of an analogue switch: each channel has its own voltage."""

    def __init__(self, pins):
        self.pins = pins

    def read_u16(self):
        return 8000 * (self.pins[0].level | self.pins[1].level << 1 | self.pins[2].level << 2)


START_MS = (1 << 30) - 3000  # the counter wraps on the way


def cycle_lamp():
    pwm = PWM()
    lamp = Lamp(pwm)
    lamp.start(START_MS)
    now_ms = START_MS

    def step(count):
        nonlocal now_ms
        for at in range(count):
            lamp.set(now_ms, 70 if at & 64 else 0)
            lamp.tick(now_ms)
            now_ms = (now_ms + 10) & 0x3FFFFFFF
    return step, lambda: lamp.ok


def cycle_blinker():
    pin = Pin()
    blinker = Blinker(pin, STATUS)
    blinker.start(START_MS)
    now_ms = START_MS

    def step(count):
        nonlocal now_ms
        for at in range(count):
            blinker.show(now_ms, 4 if at & 512 else 2)
            blinker.tick(now_ms)
            blinker.until_change_ms(now_ms)
            now_ms = (now_ms + 10) & 0x3FFFFFFF
    return step, lambda: blinker.ok and blinker.pattern


def cycle_burnwire():
    trickle = Pin()
    wire = BurnWire(Pin(), PWM(), trickle, ADC(0), PlugNode(trickle))
    wire.start(START_MS)
    now_ms = START_MS
    seen = bytearray(3)  # tested, fired, lapsed; a closure over more than a few names would allocate when called

    def step(count):
        nonlocal now_ms
        for at in range(count):
            if at == 30:
                wire.test(now_ms)
            if 100 <= at < 200:
                wire.fire(now_ms, 50)
            wire.tick(now_ms)
            wire.lapse(now_ms)
            if at == 50 and wire.circuit == SOUND and wire.state == OFF:
                seen[0] = 1
            if at == 190 and wire.state == FIRING:
                seen[1] = 1
            if at == 450 and wire.state == OFF and wire.lapses:
                seen[2] = 1
            now_ms = (now_ms + 10) & 0x3FFFFFFF
        wire.off()
    return step, lambda: seen == b"\1\1\1" and wire.ok and not wire.faults


def cycle_latch():
    end = Pin(1)
    trickle = Pin()
    motor = Latch(MOTOR_TO_SWITCH, PWM(), PWM(), end, ADC(1000), trickle=trickle, node=PlugNode(trickle))
    servo = Latch(SERVO, PWM())
    motor.start(START_MS)
    servo.start(START_MS)
    counter = [START_MS, 0, 0]  # now, finished, tested; a closure over more than a few names allocates when called

    def step(count):
        now_ms = counter[0]
        for at in range(count):
            if at < 600:
                motor.fire(now_ms, 100)
            elif at == 650:
                motor.fire(now_ms, 0)
            elif at == 700:
                motor.test(now_ms)
            elif at == 750:
                counter[2] = motor.circuit == SOUND and motor.test_ma == 5
            servo.fire(now_ms, 50)
            end.level = 0 if at > 200 else 1
            motor.tick(now_ms)
            servo.tick(now_ms)
            if at == 450 and motor.state == FINISHED and motor.reached and servo.state == FINISHED:
                counter[1] = 1
            now_ms = (now_ms + 10) & 0x3FFFFFFF
        motor.lock(now_ms, 50)
        motor.off()
        servo.off()
        counter[0] = now_ms
    return step, lambda: counter[1] and counter[2]


def cycle_magnet():
    pin = Pin(1)
    magnet = Magnet(pin)
    magnet.start(START_MS)
    now_ms = START_MS
    seen = 0

    def step(count):
        nonlocal now_ms, seen
        for at in range(count):
            pin.level = 0 if at & 64 else 1
            magnet.tick(now_ms)
            seen |= magnet.held
            now_ms = (now_ms + 10) & 0x3FFFFFFF
    return step, lambda: seen and magnet.ok


def cycle_probe():
    drive_a = Pin()
    drive_b = Pin()
    probe = Probe(drive_a, drive_b, Node(drive_a, drive_b), 100000, 30000, 100000, 3000000)
    probe.start(START_MS)
    now_ms = START_MS

    def step(count):
        nonlocal now_ms
        for _ in range(count):
            probe.tick(now_ms)
            now_ms = (now_ms + 10) & 0x3FFFFFFF
    return step, lambda: probe.ok and not probe.wet and not probe.faults


def cycle_register():
    spi = SPI()
    enable = Pin()
    register = ShiftRegister(spi, Pin(), enable, tuple("abcdefghijklmn"))
    register.start()
    first = register.pin("a")
    last = register.pin("n")

    def step(count):
        for at in range(count):
            first(at >> 1 & 1)
            last(1)
            last(0 if at & 4 else 1)
            first()
            register.refresh()
        register.release()
        register.start()
        first(1)
        last(1)
    return step, lambda: spi.shifted == b"\x20\x01" and register.ok and enable.level == 0


def cycle_selector():
    pins = (Pin(), Pin(), Pin())
    selector = Selector(pins, Common(pins))
    inputs = tuple(selector.input(channel) for channel in range(8))
    wrong = [0]

    def step(count):
        for at in range(count):
            if inputs[at & 7].read_u16() != 8000 * (at & 7):
                wrong[0] += 1
    return step, lambda: not wrong[0]


def locked(step, count):
    before = gc.mem_alloc()
    micropython.heap_lock()
    step(count)
    micropython.heap_unlock()
    return gc.mem_alloc() - before


def run(name, cycle):
    step, did = cycle()
    step(1000)
    gc.collect()
    taken = locked(step, 1000)
    print(name, "done" if did() else "failed", taken)


run("lamp", cycle_lamp)
run("blinker", cycle_blinker)
run("burnwire", cycle_burnwire)
run("latch", cycle_latch)
run("magnet", cycle_magnet)
run("probe", cycle_probe)
run("register", cycle_register)
run("selector", cycle_selector)
