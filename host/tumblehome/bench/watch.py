"""`tumblehome bench watch`: what a controller feels and wants, as it changes."""

import textwrap
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime
from typing import Annotated

import typer
from rich.live import Live
from rich.table import Table
from rich.text import Text

from lander import table as mission
from lander import words
from lander.signals import INPUTS, OUTPUTS
from tumblehome import moments, terminal
from tumblehome.bench import pulled
from tumblehome.bench.link import Link
from tumblehome.bench.ports import Port, controller
from tumblehome.wording import NOTHING

INVALID = "cannot be read"
# The reading that says whether a reading is one.
VALID_BY = {
    "clock_s": "clock_ok", "pressure_mbar": "pressure_ok", "contact_wet": "contact_ok", "leak_wet": "leak_ok",
    "supply_mv": "supply_ok", "supply_ma": "current_ok", "camera_centi_c": "camera_temp_ok",
    "housing_centi_c": "housing_temp_ok", "water_centi_c": "water_temp_ok", "camera_ma": "camera_feedback_ok",
    "camera_lamp_permille": "camera_feedback_ok", "release_ma": "release_ok",
}
RESETS = ("power came", "watchdog", "asked for")
CIRCUITS = ("not tested", "sound", "open", "shorted")
SAID_IN_WORDS = {
    "clock_s": lambda value: pulled.utc(value)[-9:],  # the time of day: `bench clock` shows the date
    "reset_cause": lambda value: RESETS[value],
    "primary_circuit": lambda value: CIRCUITS[value],
    "backup_circuit": lambda value: CIRCUITS[value],
    "state": lambda value: mission.STATES[value],
    "refused": lambda value: words.REFUSALS.get(value, str(value)),
    "status_code": lambda value: words.STATUS_LAMP.get(value, str(value)).split(":")[0],
}
TAKEN = max(len(name) for name, *_range in INPUTS) + len(INVALID) + max(len(name) for name, *_range in OUTPUTS) + 6
WIDE_ENOUGH = TAKEN + 10  # columns of a terminal; a narrower one would cut names and numbers off


def bench_watch(
    seconds: Annotated[float | None, typer.Option(
        metavar="SECONDS", min=0, help="So long; until Ctrl-C when left out.")] = None,
    every: Annotated[float, typer.Option(
        metavar="SECONDS", min=0.1, max=3600, help="Seconds from one look to the next.")] = 0.5,
    port: Port = None,
) -> None:
    """Watch sensors and outputs of the mission's last step: a live table, or lines of what has changed when piped or in
    a narrow terminal.

    What each name means stands in DEVELOPERS.md, Inputs and outputs; a name ends in its unit (ds: tenths of a second).

    Exit status 0: watched, until its time or Ctrl-C. 2: bad input, or no controller answers. 3: it went away meanwhile.
    """
    with controller(port) as link, suppress(KeyboardInterrupt):
        looks = _looks(link, seconds, every)
        if terminal.out.is_terminal and terminal.out.width >= WIDE_ENOUGH:
            _show_live(looks)
        else:
            _print_changes(looks)


def _looks(link: Link, seconds: float | None, every_s: float) -> Iterator[tuple[str, dict[str, int]]]:
    """News of the controller, which is mostly none, and its readings."""
    end_s = time.monotonic() + seconds if seconds is not None else float("inf")
    uptime_ds = -1
    while True:
        due_s = time.monotonic() + every_s
        seen = link.readings()
        news = ""
        if seen["uptime_ds"] < uptime_ds:
            news = "the controller has started anew: %s" % link.ask("hello").get("reset")
        uptime_ds = seen["uptime_ds"]
        yield news, seen
        if due_s >= end_s:
            return
        time.sleep(max(0.0, due_s - time.monotonic()))


def _print_changes(looks: Iterator[tuple[str, dict[str, int]]]) -> None:
    before: dict[str, int] = {}
    for news, seen in looks:
        stamp = moments.iso(datetime.now(UTC))
        if news:
            print(stamp, terminal.printable(news), flush=True)
        changed = ("%s=%d" % (name, value) for name, value in seen.items() if before.get(name) != value)
        print(stamp, *changed, flush=True)
        before = seen


def _show_live(looks: Iterator[tuple[str, dict[str, int]]]) -> None:
    all_news: list[str] = []
    with Live(console=terminal.out, auto_refresh=False, vertical_overflow="visible") as live:
        for news, seen in looks:
            if news:
                all_news.append("%s  %s" % (datetime.now(UTC).strftime("%H:%M:%SZ"), news))
            live.update(readings_table(seen, all_news[-3:], terminal.out.width), refresh=True)


def readings_table(seen: dict[str, int], news: list[str], width: int) -> Table:
    """Inputs on the left, outputs on the right, in `width` columns; the news of a restart is under them."""
    left = [(name, _value(name, seen)) for name, *_range in INPUTS if name not in VALID_BY.values()]
    right = [(name if number == 0 else "", line) for name, *_range in OUTPUTS
             for number, line in enumerate(textwrap.wrap(_value(name, seen), width - TAKEN))]
    right.append(("faults", str(seen["faults"])))
    table = Table(box=None, pad_edge=False, header_style="bold", caption=Text("\n".join(news)), caption_justify="left")
    for heading, justify in (("feels", "left"), ("", "right"), ("wants", "left"), ("", "right")):
        table.add_column(heading, justify=justify, no_wrap=True)  # type: ignore[arg-type]
    for row in range(max(len(left), len(right))):
        cells = [*(left[row] if row < len(left) else ("", "")), *(right[row] if row < len(right) else ("", ""))]
        table.add_row(*(Text(cell, style="red" if cell == INVALID else "") for cell in cells))
    return table


def _value(name: str, seen: dict[str, int]) -> str:
    value = seen.get(name)
    if value is None:
        return NOTHING
    if not seen.get(VALID_BY.get(name, ""), 1):
        return INVALID
    return SAID_IN_WORDS[name](value) if name in SAID_IN_WORDS else str(value)
