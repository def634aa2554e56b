"""How long a LoRa frame is on the air, in whole microseconds.

Source: Semtech SX1276/77/78/79 datasheet, section 4.1.1.6 (low data rate), 4.1.1.7 (time on air); from memory where
the bandwidths are concerned, which the datasheet prints rounded and the chip divides from 500 kHz.
"""

PREAMBLE_SYMBOLS = 8
# Bandwidth as the datasheet prints it, and by how much the chip divides 500 kHz; the place in the row is its code.
BANDWIDTHS = (
    (7800, 64), (10400, 48), (15600, 32), (20800, 24), (31250, 16), (41700, 12), (62500, 8), (125000, 4), (250000, 2),
    (500000, 1))
_SLOW_SYMBOL_US = 16000


def bandwidth_code(bandwidth_hz: int) -> int:
    """The chip's code of a bandwidth, -1 for one that it does not have."""
    for code in range(len(BANDWIDTHS)):
        if BANDWIDTHS[code][0] == bandwidth_hz:
            return code
    return -1


def symbol_us(spreading_factor: int, code: int) -> int:
    """How long one symbol lasts, exactly: 2^SF / bandwidth. `code` as of `bandwidth_code`."""
    return (1 << spreading_factor) * 2 * BANDWIDTHS[code][1]


def low_data_rate(spreading_factor: int, code: int) -> int:
    """1 where the datasheet asks for the low-data-rate setting: a symbol longer than 16 ms."""
    return 1 if symbol_us(spreading_factor, code) > _SLOW_SYMBOL_US else 0


def air_us(payload_bytes: int, spreading_factor: int, code: int, coding_rate: int,
           preamble_symbols: int = PREAMBLE_SYMBOLS) -> int:
    """Time on air of a frame with explicit header and CRC. `coding_rate` 1 to 4 stands for 4/5 to 4/8."""
    bits = 8 * payload_bytes - 4 * spreading_factor + 28 + 16
    bits_a_block = 4 * (spreading_factor - 2 * low_data_rate(spreading_factor, code))
    blocks = -(-bits // bits_a_block) if bits > 0 else 0
    quarters = 4 * preamble_symbols + 17 + 4 * (8 + blocks * (coding_rate + 4))
    return quarters * (symbol_us(spreading_factor, code) // 4)
