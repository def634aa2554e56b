"""The board's own /main.py: starts the version of the firmware that counts, and goes back when it cannot run.

    /fw/current          "VERSION BEFORE\\n": the version that counts and the one before it ("-" for none); replaced in
                         one step by renaming, so that a power cut leaves the old line or the new one
    /fw/VERSION/         one folder a version, named by the hash of its list; `files.txt`, the list, is written last
    /fw/tries            "VERSION COUNT\\n": starts in a row that ended with an exception
    /fw/hold             the host is about to flash: wait once for its Ctrl-C, before anything starts a watchdog

Three exceptions in a row, none after more than a minute of running, change the two versions over; if the other one
fails as well they change back, for ever: a board that tries is better than one that has given up. Ctrl-C is no failure.
"""

import os
import sys
import time

ROOT = "/fw"
FILES = "files.txt"
NONE = "-"
TRIES = 3
RAN_MS = 60000  # an exception after a minute of running begins a new row
HOLD_MS = 20000
PAUSE_MS = 1000  # room for a Ctrl-C between two starts; a mission must be resumed within 5 s
_WRAP = 0x3FFFFFFF


def start(root: str = ROOT) -> None:
    """Start the version that counts; after an exception count it, and reset the board."""
    _hold(root)
    version, before = versions(root)
    if version == NONE:
        print("no firmware in %s: tumblehome bench flash brings it" % root)
        return
    sys.path.insert(0, root + "/" + version)  # before "", where `main` would be this file
    began_ms = time.ticks_ms()
    try:
        import main

        main.run()
    except Exception as error:
        sys.print_exception(error)
        count_failure(root, version, before, time.ticks_diff(time.ticks_ms(), began_ms) & _WRAP)
        time.sleep_ms(PAUSE_MS)
        _reset()


def versions(root: str):
    """The version that counts and the one before it, as far as both are whole; any whole one if nothing is told."""
    told = (_line(root + "/current") + " - -").split()[:2]
    whole = [name for name in told if _is_whole(root, name)]
    if not whole:
        whole = [name for name in _names(root) if _is_whole(root, name)]
    whole.append(NONE)
    whole.append(NONE)
    return whole[0], whole[1]


def count_failure(root: str, version: str, before: str, ran_ms: int) -> None:
    """One more start that ended with an exception; the third in a row makes the version before count."""
    told = _line(root + "/tries").split()
    count = int(told[1]) if len(told) == 2 and told[0] == version and told[1].isdigit() else 0
    count = 1 if ran_ms > RAN_MS else count + 1
    if count >= TRIES and before != NONE:
        print("%s failed %d times in a row: going back to %s" % (version, count, before))
        replace(root + "/current", "%s %s\n" % (before, version))
    else:
        replace(root + "/tries", "%s %d\n" % (version, min(count, TRIES)))


def replace(path: str, text: str) -> None:
    """Write a small file in one step: its old content or the new one, whenever the power goes."""
    try:
        with open(path + ".new", "w") as file:
            file.write(text)
        os.rename(path + ".new", path)
    except OSError as error:
        sys.print_exception(error)  # a full or broken flash must not keep the firmware from its next start


def _hold(root: str) -> None:
    try:
        os.remove(root + "/hold")  # before waiting: one start is held, never the next
    except OSError:
        return
    print("held for flashing")
    time.sleep_ms(HOLD_MS)


def _is_whole(root: str, name: str) -> bool:
    try:
        os.stat("%s/%s/%s" % (root, name, FILES))
    except OSError:
        return False
    return True


def _line(path: str) -> str:
    try:
        with open(path) as file:
            return file.readline()
    except (OSError, ValueError):  # not there, or not text
        return ""


def _names(root: str):
    try:
        return sorted(os.listdir(root))
    except OSError:
        return []


def _reset() -> None:
    import machine

    machine.reset()


if __name__ == "__main__":
    start()
