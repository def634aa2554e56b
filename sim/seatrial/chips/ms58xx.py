"""MS5837-30BA, MS5837-02BA and MS5803-14BA as they answer on I2C: commands, PROM words, 24-bit conversions.

After the datasheets of TE Connectivity and the application note AN520, from memory, apart from the driver. The chip is
stricter than silicon may be: after a loss of supply it gives zeros until it is reset.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from errno import EIO, ENODEV

RESET_S = 0.0028
FULL_SCALE = (1 << 24) - 1
LONGEST_S = {0: 0.00060, 2: 0.00117, 4: 0.00228, 6: 0.00454, 8: 0.00904, 10: 0.01808}  # by the step in the command

Corrections = tuple[float, float, float]  # of temperature, offset and sensitivity


def _second_order_30ba(difference: float, temperature: float) -> Corrections:
    if temperature >= 2000:
        return 2 * difference**2 / 2**37, (temperature - 2000) ** 2 / 2**4, 0.0
    offset = 3 * (temperature - 2000) ** 2 / 2
    sense = 5 * (temperature - 2000) ** 2 / 2**3
    if temperature < -1500:
        offset += 7 * (temperature + 1500) ** 2
        sense += 4 * (temperature + 1500) ** 2
    return 3 * difference**2 / 2**33, offset, sense


def _second_order_14ba(difference: float, temperature: float) -> Corrections:
    # The two tables differ in the temperature's term above 20 C alone.
    _, offset, sense = _second_order_30ba(difference, temperature)
    factor = 3 / 2**33 if temperature < 2000 else 7 / 2**37
    return factor * difference**2, offset, sense


def _second_order_02ba(difference: float, temperature: float) -> Corrections:
    if temperature >= 2000:
        return 0.0, 0.0, 0.0
    from_20 = (temperature - 2000) ** 2
    return 11 * difference**2 / 2**35, 31 * from_20 / 2**3, 63 * from_20 / 2**5


@dataclass(frozen=True)
class Make:
    """What differs between the chips of the family."""

    prom_words: int
    oversampling_steps: int
    offset_scale: float
    offset_slope: float
    sense_scale: float
    sense_slope: float
    result_scale: float
    steps_per_mbar: int
    second_order: Callable[[float, float], Corrections]
    typical: tuple[int, ...]  # C1 to C6 of the datasheet's example


MAKES = {
    "MS5837-30BA": Make(7, 6, 2**16, 2**7, 2**15, 2**8, 2**13, 10, _second_order_30ba,
                        (34982, 36352, 20328, 22354, 26646, 26146)),
    "MS5837-02BA": Make(7, 6, 2**17, 2**6, 2**16, 2**7, 2**15, 100, _second_order_02ba,
                        (46372, 43981, 29059, 27842, 31553, 28165)),
    "MS5803-14BA": Make(8, 5, 2**16, 2**7, 2**15, 2**8, 2**15, 10, _second_order_14ba,
                        (46546, 42845, 29751, 29457, 32745, 29059)),
}


def crc_of(words: Sequence[int]) -> int:
    """Remainder of the first 124 of the 128 bits by x^4 + x + 1; AN520 leaves the last four to the CRC itself."""
    bits = int.from_bytes(b"".join(word.to_bytes(2, "big") for word in words), "big") >> 4
    while bits.bit_length() > 4:
        bits ^= 0b10011 << (bits.bit_length() - 5)
    return bits


def burnt(make: str, coefficients: Sequence[int], first_word: int = 0, last_word: int = 0) -> list[int]:
    """The eight words of a PROM with its CRC where this make has it."""
    words = [first_word, *coefficients, last_word]
    if MAKES[make].prom_words == 8:
        words[7] &= 0xFF00
        words[7] |= crc_of(words)
    else:
        words[0] &= 0x0FFF
        words[0] |= crc_of(words) << 12
    return words


class MS58xx:
    """One chip on an `I2CBus`. The caller sets `now_s`, `pressure_mbar` (absolute) and `temperature_c`.

    prom: the eight words as they stand in the chip, CRC and all.
    raw: None, or the pair of conversions (D1, D2) to answer with, whatever the pressure.
    Faults: `absent` (nobody acknowledges), `corrupt_next` (so many reads have a bit turned over), `held_low` (every
    read is zeros), `held_high` (every read is ones), `deaf_to_conversions` (they never happen), `slow` (times the
    longest conversion of the datasheet); `lose_supply()`.
    """

    def __init__(self, make: str = "MS5837-30BA") -> None:
        self.make = MAKES[make]
        self.prom = burnt(make, self.make.typical)
        self.now_s = 0.0
        self.pressure_mbar = 1013.0
        self.temperature_c = 15.0
        self.raw: tuple[int, int] | None = None
        self.absent = self.held_low = self.held_high = self.deaf_to_conversions = False
        self.corrupt_next = 0
        self.slow = 1.0
        self.conversions = 0
        self.lose_supply()

    def lose_supply(self) -> None:
        """As after power-on: the PROM is not loaded, no conversion runs."""
        self._loaded = False
        self._reloaded_s = self._converted_s = 0.0
        self._converted = 0
        self._answer = b""

    def write(self, data: bytes) -> None:
        """Take a command. Raises OSError when absent, or during the reload after a reset."""
        self._must_be_awake()
        for command in data:
            self._obey(command)

    def read(self, count: int) -> bytes:
        """Give what the last command asked for, then ones, as a line that nobody drives."""
        self._must_be_awake()
        answer = (self._answer + b"\xff" * count)[:count]
        if self.held_low or self.held_high:
            answer = (b"\x00" if self.held_low else b"\xff") * count
        if self.corrupt_next:
            self.corrupt_next -= 1
            answer = bytes([answer[0] ^ 0x10]) + answer[1:]
        return answer

    def _must_be_awake(self) -> None:
        if self.absent:
            raise OSError(ENODEV)
        if self.now_s < self._reloaded_s:
            raise OSError(EIO)

    def _obey(self, command: int) -> None:
        if command == 0x1E:
            self._loaded = True
            self._converted = 0
            self._reloaded_s = self.now_s + RESET_S
        elif command == 0x00:
            self._answer = self._take_result().to_bytes(3, "big")
        elif command & 0xF1 == 0xA0:
            word = self.prom[(command & 0x0E) >> 1] if self._loaded else 0
            self._answer = word.to_bytes(2, "big")
        elif command & 0xE0 == 0x40 and command & 0x0F < 2 * self.make.oversampling_steps and not command & 1:
            self._convert(pressure=not command & 0x10, step=command & 0x0F)
        else:
            raise OSError(EIO)

    def _convert(self, pressure: bool, step: int) -> None:
        if self.deaf_to_conversions or not self._loaded:
            return
        self.conversions += 1
        self._converted = self.convert()[0 if pressure else 1]
        self._converted_s = self.now_s + LONGEST_S[step] * self.slow

    def _take_result(self) -> int:
        """The conversion; 0 when it is read early, a second time, or without having been asked for."""
        result = 0 if self.now_s < self._converted_s else self._converted
        self._converted = 0
        return result

    def convert(self) -> tuple[int, int]:
        """D1 and D2 of this chip at its pressure and temperature; the 24-bit converter stops at its ends."""
        if self.raw is not None:
            return self.raw
        _, sense, offset, sense_slope, offset_slope, reference, slope, _ = (float(word) for word in self.prom)
        make = self.make

        def after(second: float) -> tuple[float, float, Corrections]:
            difference = second - reference * 2**8
            first_order = 2000 + difference * slope / 2**23
            return difference, first_order, make.second_order(difference, first_order)

        lowest, highest = 0, FULL_SCALE
        while highest - lowest > 1:
            middle = (lowest + highest) // 2
            _, first_order, (less, _, _) = after(middle)
            lowest, highest = (middle, highest) if first_order - less <= self.temperature_c * 100 else (lowest, middle)
        difference, _, (_, less_offset, less_sense) = after(lowest)
        whole_offset = offset * make.offset_scale + offset_slope * difference / make.offset_slope - less_offset
        whole_sense = sense * make.sense_scale + sense_slope * difference / make.sense_slope - less_sense
        steps = self.pressure_mbar * make.steps_per_mbar
        first = round((steps * make.result_scale + whole_offset) * 2**21 / whole_sense)
        return min(max(first, 0), FULL_SCALE), lowest
