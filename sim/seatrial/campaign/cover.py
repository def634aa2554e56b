"""Few dives with many faults in which every triple (or pair) of faults meets at least once.

Testing combinations this way follows the practice of NIST SP 800-142, Practical Combinatorial Testing (Kuhn, Kacker,
Lei, 2010): most failures come of one, two or three conditions together, so it is enough that every combination of
three occurs somewhere. A test there sets every factor; a lander with half of all faults at once is lost whatever the
controller does, so a dive here has only `size` of them. That makes the cover a covering design: blocks of `size`
items so that every `strength` of them stand in a block together. It is made greedily, one block after the other.
"""

from collections.abc import Sequence
from itertools import combinations
from math import ceil


def blocks(items: Sequence[str], strength: int, size: int) -> list[tuple[str, ...]]:
    """Blocks of at most `size` items, in the order of `items`, that cover every combination of `strength` items.

    The same items give the same blocks. Raises ValueError for a strength below 2 or a size below the strength.
    """
    if not 2 <= strength <= size:
        raise ValueError("strength is %d and size %d; wanted is 2 <= strength <= size" % (strength, size))
    if len(items) < strength:
        return []
    missing = _Missing(len(items), strength)
    found = []
    while (start := missing.first()) is not None:
        block = list(start)
        while len(block) < min(size, len(items)):
            best = missing.best_for(block)
            if best is None:
                break
            block.append(best)
        block.sort()
        missing.strike(block)
        found.append(tuple(items[place] for place in block))
    return found


class _Missing:
    """The combinations that no block has yet: for all but the last item of each, a bit set of last items."""

    def __init__(self, count: int, strength: int) -> None:
        self.count = count
        self.strength = strength
        self._open = {}
        for head in combinations(range(count), strength - 1):
            bits = (1 << count) - 1
            for place in head:
                bits &= ~(1 << place)
            self._open[head] = bits
        self._heads = iter(sorted(self._open))
        self._head = next(self._heads, None)

    def first(self) -> tuple[int, ...] | None:
        """The first combination that is still open; None when all are covered."""
        while self._head is not None and not self._open[self._head]:
            self._head = next(self._heads, None)
        if self._head is None:
            return None
        bits = self._open[self._head]
        return (*self._head, (bits & -bits).bit_length() - 1)

    def best_for(self, block: list[int]) -> int | None:
        """The item that covers most open combinations together with this block; None when none covers any."""
        masks = [self._open[head] for head in combinations(sorted(block), self.strength - 1)]
        best, most = None, 0
        for place in range(self.count):
            if place in block:
                continue
            gained = sum(mask >> place & 1 for mask in masks)
            if gained > most:
                best, most = place, gained
        return best

    def strike(self, block: list[int]) -> None:
        bits = sum(1 << place for place in block)
        for head in combinations(block, self.strength - 1):
            self._open[head] &= ~bits


def fewest(count: int, strength: int, size: int) -> int:
    """No cover of this kind has fewer blocks.

    Schoenheim, On coverings, Pacific Journal of Mathematics 14 (1964): C(v, k, t) >= ceil(v/k C(v-1, k-1, t-1)).
    """
    if strength == 0:
        return 1
    return ceil(count * fewest(count - 1, strength - 1, size - 1) / size)
