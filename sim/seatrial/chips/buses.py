"""Buses with simulated chips on them, with the methods of MicroPython's `machine` module that the drivers use.

A chip on I2C has `write(data)` and `read(count)`; a read that follows a write without a stop is told by `write` alone,
as the chips of the drivers see it. A chip may raise OSError for a byte that it does not acknowledge.
"""

from errno import EIO, ENODEV
from typing import Protocol


class I2CChip(Protocol):
    """A chip on an I2C bus, after its address was matched."""

    def write(self, data: bytes) -> None:
        """Take these bytes. Raises OSError for one that is not acknowledged."""

    def read(self, count: int) -> bytes:
        """Give so many bytes."""


class I2CBus:
    """An I2C bus, as `machine.I2C`. `chips` by their 7-bit address.

    Faults: `dead` (a line is held: every transfer fails), `fail_next` (so many transfers fail). `transfers` counts,
    `moved` is how many bytes the last transfers moved since it was set to 0, address bytes among them.
    """

    def __init__(self, **_pins) -> None:
        self.chips: dict[int, I2CChip] = {}
        self.dead = False
        self.fail_next = 0
        self.transfers = 0
        self.moved = 0

    def scan(self) -> list[int]:
        """Addresses that answer."""
        return [] if self.dead else sorted(self.chips)

    def writeto(self, address: int, data, stop: bool = True) -> int:
        """Write bytes; returns how many were acknowledged. Raises OSError when nobody answers."""
        self._chip(address, len(data)).write(bytes(data))
        return len(data)

    def readfrom_into(self, address: int, buffer, stop: bool = True) -> None:
        """Fill the buffer. Raises OSError when nobody answers."""
        buffer[:] = self._chip(address, len(buffer)).read(len(buffer))

    def writeto_mem(self, address: int, register: int, data) -> None:
        """Write bytes from a register on. Raises OSError when nobody answers."""
        self._chip(address, len(data) + 1).write(bytes([register]) + bytes(data))

    def readfrom_mem_into(self, address: int, register: int, buffer) -> None:
        """Fill the buffer from a register on. Raises OSError when nobody answers."""
        chip = self._chip(address, len(buffer) + 2)
        chip.write(bytes([register]))
        buffer[:] = chip.read(len(buffer))

    def _chip(self, address: int, count: int) -> I2CChip:
        self.transfers += 1
        self.moved += count + 1
        if self.dead or self.fail_next:
            self.fail_next = max(0, self.fail_next - 1)
            raise OSError(EIO)
        if address not in self.chips:
            raise OSError(ENODEV)
        return self.chips[address]


class SPIDevice(Protocol):
    """A chip on an SPI bus: it hears every byte and decides by its own pins whether it is meant."""

    def exchange(self, byte: int) -> int | None:
        """Take a byte, most significant bit first; give what it drives meanwhile, None when it lets the line go."""


class SPIBus:
    """An SPI bus, as `machine.SPI`: every device hears what is sent. A line that nobody drives floats high.

    Where several drive it at once, the lows win, and `conflicts` counts the bytes. Faults: `dead` (every transfer
    fails), `fail_next` (so many transfers fail). `moved` counts bytes since it was set to 0.
    """

    def __init__(self, *devices: SPIDevice) -> None:
        self.devices = list(devices)
        self.dead = False
        self.fail_next = 0
        self.moved = 0
        self.conflicts = 0

    def write(self, data) -> None:
        """Send bytes. Raises OSError when the bus is dead."""
        self._begin()
        for byte in data:
            self._exchange(byte)

    def readinto(self, into, write: int = 0x00) -> None:
        """Fill the buffer while one byte is sent again and again. Raises OSError when the bus is dead."""
        self._begin()
        for at in range(len(into)):
            into[at] = self._exchange(write)

    def write_readinto(self, out, into) -> None:
        """Send and take as many bytes. Raises OSError when the bus is dead."""
        if len(out) != len(into):
            raise ValueError("buffers of %d and %d bytes; they must be equally long" % (len(out), len(into)))
        self._begin()
        for at, byte in enumerate(out):
            into[at] = self._exchange(byte)

    def _begin(self) -> None:
        if self.dead or self.fail_next:
            self.fail_next = max(0, self.fail_next - 1)
            raise OSError(EIO)

    def _exchange(self, byte: int) -> int:
        self.moved += 1
        answers = [answer for answer in (device.exchange(byte) for device in self.devices) if answer is not None]
        self.conflicts += len(answers) > 1
        line = 0xFF
        for answer in answers:
            line &= answer
        return line


class Pin:
    """A digital pin, as `machine.Pin`: called with a value to set it, without to read it; `history` is what was set."""

    def __init__(self, value: int = 0) -> None:
        self.level = value
        self.history: list[int] = []

    def __call__(self, value: int | None = None) -> int | None:
        if value is None:
            return self.level
        self.level = 1 if value else 0
        self.history.append(self.level)
        return None

    value = __call__
