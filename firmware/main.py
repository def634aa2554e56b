"""What the board runs. Without a board file for its pins, the controller waits for a host on its serial line."""

import gc

try:
    import micropython

    micropython.opt_level(3)  # no line numbers: 3 KiB
except ImportError:
    pass

# One at a time from the bottom up, so that the memory which compiling takes is free again for the next.
PARTS = ("checksum", "orders", "journal", "signals", "table", "judge", "release", "camera", "scribe", "restart", "deck",
         "lamps", "drive", "turn", "sleep", "facts", "mission", "wire", "session", "console")


def load() -> None:
    for part in PARTS:
        gc.collect()
        __import__("lander." + part)
    gc.collect()


def run() -> None:
    load()
    from boards import lockstep

    lockstep.run()


if __name__ == "__main__":
    run()
