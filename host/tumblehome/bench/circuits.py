"""What the trickle through the release circuits tells beyond sound, open and shorted."""

from seatrial.world import SHORTED

WINDING_MV = 40  # a node in a "short" that stands higher: some Ohm, as a motor's winding has


def are_swapped(primary: int, primary_mv: int) -> bool:
    """Whether the motor of the backup hangs on the primary's terminals: a short there that is none, but its winding.

    `primary` is the finding and `primary_mv` the voltage at its node, as the controller tells them.
    """
    return primary == SHORTED and primary_mv >= WINDING_MV
