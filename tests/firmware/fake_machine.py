"""A `machine` that writes down, in order, what a board asks of it: for tests of the board files themselves."""

import types
from errno import ENODEV


class Log:
    """`events`: (what, GPIO, value) in order. `levels`: what each GPIO drives now, None where it is an input."""

    def __init__(self) -> None:
        self.events: list[tuple[str, int, object]] = []
        self.levels: dict[int, int | None] = {}

    def drive(self, what: str, number: int, value: int) -> None:
        self.events.append((what, number, value))
        self.levels[number] = value


def make(log: Log, cause: int = 0):
    """The module."""

    class Pin:
        IN, OUT, PULL_UP = 0, 1, 2

        def __init__(self, number, mode=-1, pull=-1, value=None) -> None:
            self.number = number
            if mode == self.OUT:
                log.drive("out", number, value)
            elif mode == self.IN:
                log.events.append(("in", number, pull))
                log.levels[number] = None

        def __call__(self, level=None):
            if level is None:
                return 1
            log.drive("out", self.number, level)
            return None

    class PWM:
        def __init__(self, pin, freq, duty_u16) -> None:
            self.number = pin.number
            log.events.append(("hz", self.number, freq))
            log.drive("pwm", self.number, duty_u16)

        def duty_u16(self, duty) -> None:
            log.drive("pwm", self.number, duty)

    class ADC:
        ATTN_11DB = 3

        def __init__(self, pin, atten=None) -> None:
            log.events.append(("adc", getattr(pin, "number", pin), atten))

        def read_u16(self) -> int:
            return 0

    class Bus:
        def __init__(self, number, **given) -> None:
            log.events.append(("bus", number, {key: getattr(value, "number", value) for key, value in given.items()}))

        def write(self, _data) -> None:
            log.events.append(("shifted", -1, bytes(_data)))

        def __getattr__(self, name):
            def absent(*_arguments):
                raise OSError(ENODEV)
            return absent

    class WDT:
        def __init__(self, timeout) -> None:
            log.events.append(("watchdog", -1, timeout))

    return types.SimpleNamespace(
        Pin=Pin, PWM=PWM, ADC=ADC, SPI=Bus, I2C=Bus, UART=Bus, WDT=WDT, WDT_RESET=3, PWRON_RESET=1,
        reset_cause=lambda: cause, reset=lambda: log.events.append(("reset", -1, 0)),
        lightsleep=lambda span_ms: log.events.append(("lightsleep", -1, span_ms)))
