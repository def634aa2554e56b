"""Chance that can be repeated: a small integer generator, the same on every machine and every Python.

One child a device (`fork`), so that a new sensor does not change what the others read.
"""

from binascii import crc32

_MASK = 0xFFFFFFFF


class Dice:
    """A linear congruential generator (Numerical Recipes constants) read from its upper bits.

    Good enough for noise and for draws of scenarios; not for statistics of rare events or for secrets.
    """

    __slots__ = ("seed", "state")

    def __init__(self, seed: int) -> None:
        self.seed = seed & _MASK
        self.state = (self.seed ^ 0x9E3779B9) & _MASK
        for _ in range(4):
            self.u16()

    def fork(self, name: str) -> "Dice":
        """An independent child; the same name from the same seed gives the same child."""
        return Dice(crc32(name.encode(), self.seed))

    def u16(self) -> int:
        """An integer from 0 to 65535."""
        self.state = (self.state * 1664525 + 1013904223) & _MASK
        return self.state >> 16

    def spread(self, most: int) -> int:
        """An integer from -most to +most."""
        self.state = (self.state * 1664525 + 1013904223) & _MASK
        return (self.state >> 16) * (2 * most + 1) // 65536 - most

    def between(self, lowest: float, highest: float) -> float:
        return lowest + (highest - lowest) * self.u16() / 65535.0

    def chance(self, part: int, whole: int) -> bool:
        return self.u16() * whole < part * 65536
