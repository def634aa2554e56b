"""What the board runs: the mission on this board's pins; without pins, the controller waits for a host on its line."""

import gc
import sys

try:
    import micropython

    micropython.opt_level(3)  # no line numbers: 3 KiB
except ImportError:
    pass

# One at a time from the bottom up, so that the memory which compiling takes is free again for the next. Of the orders
# that this leaves, one that was found to need the smallest heap: 126 KiB on a 64-bit MicroPython.
PARTS = ("lamps", "judge", "release", "checksum", "journal", "table", "orders", "camera", "wire", "signals", "selftest",
         "told", "scribe", "deck", "drive", "restart", "sleep", "turn", "facts", "mission", "session", "console")
SESSION = ("told", "session", "console")  # of a host's lockstep only

BOARDS = {"rp2": "pico", "esp32": "esp32"}  # by `sys.platform`


def load(parts=PARTS) -> None:
    for part in parts:
        gc.collect()
        __import__("lander." + part)
    gc.collect()


def run() -> None:
    arguments = sys.argv[1:] if hasattr(sys, "argv") else []
    if arguments[:1] == ["simulated"]:
        load([part for part in PARTS if part not in SESSION])
        from boards import simulated

        simulated.run(arguments[1:])
    elif sys.platform in BOARDS:
        load([part for part in PARTS if part not in SESSION])
        name = BOARDS[sys.platform]
        board = __import__("boards." + name, None, None, ("Board",))
        from boards import flight

        flight.run(board.Board())
    else:
        load()
        from boards import lockstep

        lockstep.run()


if __name__ == "__main__":
    run()
