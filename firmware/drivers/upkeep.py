"""What every driver keeps an eye on alike: elapsed time on a counter that wraps, the pause after a failure, faults."""

RING = 0x3FFFFFFF  # the millisecond counter of the board wraps at 2^30
PAUSE_MS = 1000  # after a failed transfer, before the chip is started again
FAULTS_MAX = 65535


def elapsed_ms(now_ms: int, since_ms: int) -> int:
    """Milliseconds between two readings of the counter, the later one first; right across its wrap."""
    return (now_ms - since_ms) & RING


def one_more(faults: int) -> int:
    """The count of faults with one more, up to the most that is counted."""
    return faults + 1 if faults < FAULTS_MAX else FAULTS_MAX
