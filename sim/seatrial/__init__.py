"""Sea trial: water, hull, electronics, faults and the engine that flies the mission core through them."""

import sys

from seatrial.caches import sea_asked_for

COMPILED_SEA = sea_asked_for()
__path__[:0] = [folder + "/seatrial" for folder in COMPILED_SEA]  # its modules are found before their sources
sys.path.extend(COMPILED_SEA)  # where they find what they share
