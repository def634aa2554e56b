"""ADS1115 as it answers on I2C: pointer, registers, one conversion at a time; and a ratiometric pressure transducer.

After Texas Instruments, SBAS444, from memory, apart from the driver.
"""

from collections.abc import Callable
from errno import EIO, ENODEV

RESET_CONFIG = 0x8583
FULL_SCALE_V = (6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256)
RATE_HZ = (8, 16, 32, 64, 128, 250, 475, 860)
PAIRS = ((0, 1), (0, 3), (1, 3), (2, 3), (0, None), (1, None), (2, None), (3, None))
WAKE_S = 25e-6


class ADS1115:
    """One chip on an `I2CBus`. The caller sets `now_s`; each of `inputs` gives its voltage in mV when it is asked.

    supply_v: of the chip; an input cannot go beyond it by more than the drop of its protecting diode.
    oscillator: how fast against its nominal speed, 0.9 to 1.1 in the datasheet.
    Faults: `absent`, `corrupt_next` (so many reads have a bit turned over), `hung` (a conversion never ends),
    `held_low` (every read is zeros), `deaf` (writes to the configuration are lost); `lose_supply()`.
    """

    def __init__(self) -> None:
        self.now_s = 0.0
        self.inputs: list[Callable[[], float]] = [lambda: 0.0] * 4
        self.supply_v = 3.3
        self.oscillator = 0.9
        self.absent = self.hung = self.held_low = self.deaf = False
        self.corrupt_next = 0
        self.lose_supply()

    def lose_supply(self) -> None:
        """Registers as after power-on."""
        self.registers = [0x0000, RESET_CONFIG, 0x8000, 0x7FFF]
        self._pointer = 0
        self._ready_s: float | None = None
        self._pending = 0

    def write(self, data: bytes) -> None:
        """The pointer, and a register's two bytes or none. Raises OSError when absent."""
        if self.absent:
            raise OSError(ENODEV)
        if not data or data[0] > 3 or len(data) not in (1, 3):
            raise OSError(EIO)
        self._pointer = data[0]
        if len(data) == 3 and self._pointer != 0 and not self.deaf:
            self._store(int.from_bytes(data[1:], "big"))

    def read(self, count: int) -> bytes:
        """The register at the pointer. Raises OSError when absent."""
        if self.absent:
            raise OSError(ENODEV)
        self._advance()
        answer = (self.registers[self._pointer].to_bytes(2, "big") * count)[:count]
        if self.held_low:
            answer = bytes(count)
        if self.corrupt_next:
            self.corrupt_next -= 1
            answer = bytes([answer[0] ^ 0x20]) + answer[1:]
        return answer

    def _store(self, value: int) -> None:
        self._advance()
        if self._pointer != 1:
            self.registers[self._pointer] = value
            return
        begins = value & 0x8000 or not value & 0x0100
        self.registers[1] = value & 0x7FFF | (0 if begins or self._ready_s is not None else 0x8000)
        if begins:
            self._pending = self.convert(value)
            self._ready_s = self.now_s + WAKE_S + 1 / (RATE_HZ[value >> 5 & 7] * self.oscillator)

    def _advance(self) -> None:
        if self._ready_s is None or self.hung or self.now_s < self._ready_s:
            return
        self.registers[0] = self._pending & 0xFFFF
        if self.registers[1] & 0x0100:
            self.registers[1] |= 0x8000
            self._ready_s = None
        else:  # continuous: the next one is ready as soon as somebody reads
            self._pending = self.convert(self.registers[1])

    def convert(self, config: int) -> int:
        """The code of the inputs under a configuration: two's complement, stopped at its ends."""
        positive, negative = PAIRS[config >> 12 & 7]
        volts = self._volts(positive) - (0.0 if negative is None else self._volts(negative))
        code = round(volts / FULL_SCALE_V[config >> 9 & 7] * 0x8000)
        return min(max(code, -0x8000), 0x7FFF)

    def _volts(self, channel: int) -> float:
        return min(max(self.inputs[channel]() / 1000, -0.3), self.supply_v + 0.3)


class RatiometricTransducer:
    """A pressure transducer that gives 10 % of its supply at `zero_mbar` and 90 % at its full scale above that.

    Faults: `broken` (the divider pulls the open wire to 0), `shorted` (the wire has the whole supply). The output stops
    at `stop` of the supply, as that of an amplifier does.
    """

    def __init__(self, full_scale_mbar: float, zero_mbar: float = 0.0) -> None:
        self.full_scale_mbar = full_scale_mbar
        self.zero_mbar = zero_mbar
        self.pressure_mbar = 1013.0
        self.supply_mv = 5000.0
        self.stop = 0.94
        self.broken = self.shorted = False

    def output_mv(self) -> float:
        """Voltage of its wire."""
        if self.broken:
            return 0.0
        if self.shorted:
            return self.supply_mv
        share = 0.1 + 0.8 * (self.pressure_mbar - self.zero_mbar) / self.full_scale_mbar
        return self.supply_mv * min(max(share, 0.0), self.stop)

    def wire_to(self, chip: ADS1115, divider: float = 0.5, signal: int = 0, supply: int = 1) -> None:
        """Put its output and its supply on two inputs of a converter, each through a divider."""
        chip.inputs[signal] = lambda: self.output_mv() * divider
        chip.inputs[supply] = lambda: self.supply_mv * divider
