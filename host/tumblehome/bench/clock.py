"""`tumblehome bench clock`: how far a controller's clock is from this computer's, how fast it goes, and setting it.

The chip counts whole seconds and is read five times a second, so that each answer puts a bound on the difference from
either side; the bounds of some answers together leave little between them. How fast it goes follows from the difference
when this computer set it, which is kept in a file of the person who did.
"""

import json
import math
import os
import time
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated

import typer

from seatrial.world import CLOCK_EPOCH
from tumblehome import moments, options, terminal
from tumblehome.bench.link import Link
from tumblehome.bench.ports import FAILED, Port, controller
from tumblehome.bench.showing import pairs_table

EPOCH_S = CLOCK_EPOCH.timestamp()
LISTEN_S, ASK_EVERY_S = 1.5, 0.05
OLD_S = 0.25  # so old a reading may be when it is told: five looks at the chip a second, and a turn
MAY_DIFFER_S = 1.0  # just after it was set
PPM = 1e6
TOLD_PPM = 100.0  # a rate that is less sure than this is not told yet
APP, CLOCKS, CHANGED = "tumblehome", "clocks.json", ".part"


@dataclass(frozen=True)
class Difference:
    """The controller's clock less this computer's, s, true to `give_s` on either side; `ok`: the chip can be trusted.
    """

    s: float
    give_s: float
    ok: bool

    @property
    def words(self) -> str:
        """In a sentence."""
        how = "ahead of" if self.s > 0 else "behind"
        return "%.1f s %s this computer, give or take %.1f s" % (abs(self.s), how, self.give_s)


def bench_clock(
    set_it: Annotated[bool, typer.Option("--set", help="Set it to this computer's clock, and check it.")] = False,
    port: Port = None,
    as_json: Annotated[bool, options.as_json("JSON", "the table")] = False,
) -> None:
    """Show how far the controller's clock is from this computer's, UTC, and how fast it goes since it was set here.

    Exit status 0: it can be trusted. 1: it cannot, or was not set. 2: bad input, or no controller answers. 3: it went
    away meanwhile; the same command says then whether it was set.
    """
    with controller(port) as link:
        if set_it:
            set_clock(link)
        found = difference(link)
        chip = link.greeting.get("id", "")
        if set_it and found.ok and abs(found.s) - found.give_s <= MAY_DIFFER_S:
            remember(chip, found)
        told = {**_told(found), **_rate(chip, found)}
        if as_json:
            print(json.dumps(told, indent=1))
        else:
            terminal.out.print(pairs_table((name.replace("_", " "), str(value)) for name, value in told.items()))
        is_good = found.ok and not (set_it and abs(found.s) - found.give_s > MAY_DIFFER_S)
        if not is_good:
            terminal.complain("the clock %s: set it by --set; if it stays so, its cell or its crystal is at fault" % (
                "is %s" % found.words if found.ok else "was never set, or has stopped"))
            raise typer.Exit(FAILED)


def set_clock(link: Link) -> None:
    """Set it to this computer's, at the beginning of a second. Raises as `Link.ask`."""
    now_s = time.time()
    whole_s = math.ceil(now_s + 0.05)
    time.sleep(whole_s - now_s)
    link.so_far = "the clock may have been set, or not"
    link.ask("clock", s=whole_s - round(EPOCH_S))
    link.so_far = "the clock was set, and not looked at again"
    time.sleep(2 * OLD_S)  # what is told next is read after that


def difference(link: Link) -> Difference:
    """The controller's clock against this computer's. Raises as `Link.ask`."""
    low_s, high_s, ok = -math.inf, math.inf, True
    end_s = time.monotonic() + LISTEN_S
    while time.monotonic() < end_s:
        asked_s = time.time()
        said = link.ask("clock")
        answered_s = time.time()
        shown_s = link.number_in(said, "s") + EPOCH_S
        ok = ok and said.get("ok") == "1"
        low_s = max(low_s, shown_s - answered_s)
        high_s = min(high_s, shown_s + 1.0 - (asked_s - OLD_S))
        time.sleep(ASK_EVERY_S)
    return Difference((low_s + high_s) / 2, abs(high_s - low_s) / 2, ok)


def clock_words(said: dict[str, str]) -> str:
    """What the verb `clock` has answered."""
    with suppress(KeyError, ValueError, OverflowError):
        shown = CLOCK_EPOCH + timedelta(seconds=int(said["s"]))
        return shown.strftime("%Y-%m-%d %H:%M:%SZ") + ("" if said["ok"] == "1" else ", which cannot be trusted")
    return "?"


def _told(found: Difference) -> dict:
    shown = datetime.now(UTC) + timedelta(seconds=found.s)
    return {"clock": moments.iso(shown), "trusted": "yes" if found.ok else "no",
            "difference_s": round(found.s, 2), "give_or_take_s": round(found.give_s, 2)}


# --- since it was set -----------------------------------------------------------------------------------------------


def _file() -> Path:
    return Path(typer.get_app_dir(APP)) / CLOCKS


def _kept() -> dict:
    try:
        kept = json.loads(_file().read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return kept if isinstance(kept, dict) else {}


def remember(chip: str, found: Difference) -> None:
    """Keep what the difference of this chip is now, just after it was set. A folder that takes no file is no error."""
    path = _file()
    kept = {**_kept(), chip: {"set_s": time.time(), "difference_s": found.s, "give_s": found.give_s}}
    part = path.with_name(path.name + CHANGED)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(json.dumps(kept, indent=1), encoding="utf-8", newline="\n")
        os.replace(part, path)
    except OSError as error:
        terminal.complain("when the clock was set cannot be kept (%s): how fast it goes will not be known" % error)


def _rate(chip: str, found: Difference) -> dict:
    """How fast it goes; nothing where this computer did not set it."""
    try:
        kept = _kept()[chip]
        for_s = time.time() - kept["set_s"]
        moved_s, give_s = found.s - kept["difference_s"], found.give_s + kept["give_s"]
    except (KeyError, TypeError):
        return {}
    if not found.ok or for_s <= 0.0:
        return {}
    told = {"set": moments.iso(datetime.fromtimestamp(kept["set_s"], UTC))}
    if PPM * give_s / for_s > TOLD_PPM:
        return told
    return {**told, "fast_by_ppm": round(PPM * moved_s / for_s, 1), "give_or_take_ppm": round(PPM * give_s / for_s, 1)}
