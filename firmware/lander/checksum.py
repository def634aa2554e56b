"""CRC-16 as in the RevEng catalogue under CRC-16/IBM-3740 (polynomial 1021h, start FFFFh).

One checksum serves the journal, the mission record and every line on the wire. It stays below 2^16, so
that it allocates nothing on a 32-bit board. CPython's C routine gives the same number faster.
"""

import binascii

START = 0xFFFF


def _make_table() -> bytes:
    table = bytearray(512)
    for index in range(256):
        crc = index << 8
        for _ in range(8):
            crc = ((crc << 1) ^ 0x1021) & 0xFFFF if crc & 0x8000 else crc << 1
        table[2 * index] = crc >> 8
        table[2 * index + 1] = crc & 0xFF
    return bytes(table)


_TABLE = _make_table()


def crc16_by_table(data, start: int, end: int) -> int:
    """CRC-16 of data[start:end], with no slice made."""
    crc = START
    while start < end:
        index = 2 * ((crc >> 8) ^ data[start])
        crc = (((crc & 0xFF) ^ _TABLE[index]) << 8) | _TABLE[index + 1]
        start += 1
    return crc


def crc16_by_library(data, start: int, end: int) -> int:
    """The same by the interpreter's C routine, where it has one."""
    if hasattr(binascii, "crc_hqx"):
        return binascii.crc_hqx(memoryview(data)[start:end], START)
    return crc16_by_table(data, start, end)


crc16 = crc16_by_library if hasattr(binascii, "crc_hqx") else crc16_by_table
