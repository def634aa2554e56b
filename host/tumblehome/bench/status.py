"""`tumblehome bench status`: what a controller does, in one look."""

import json
from typing import Annotated

from lander import words
from tumblehome import options, terminal
from tumblehome.bench.clock import clock_words
from tumblehome.bench.link import Link
from tumblehome.bench.ports import Port, controller
from tumblehome.bench.showing import pairs_table

RESETS = {"power": "power came", "watchdog": "its watchdog bit", "asked": "it was asked to"}


def bench_status(
    port: Port = None,
    as_json: Annotated[bool, options.as_json("JSON", "the table")] = False,
) -> None:
    """Show what a controller runs and does: versions, state, last refusal, plan, journal, clock and supply.

    Exit status 0: shown. 2: bad input, or no controller answers. 3: it went away meanwhile.
    """
    with controller(port) as link:
        said = {"hello": link.greeting, "status": link.status(), "plan": link.ask("plan"),
                "journal": link.ask("journal"), "clock": link.ask("clock")}
        if as_json:
            print(json.dumps(said, indent=1))
        else:
            terminal.out.print(pairs_table(_lines(link, said)))


def _lines(link: Link, said: dict[str, dict[str, str]]) -> list[tuple[str, str]]:
    hello, status, plan, journal = said["hello"], said["status"], said["plan"], said["journal"]
    number = link.number_in
    refusal = words.REFUSALS.get(number(status, "refused"), "number %s" % status["refused"])
    lines = [
        ("port", link.url),
        ("runs", "tumblehome %s, line %s, mission record %s, journal %s" % tuple(
            hello.get(name, "?") for name in ("lander", "wire", "orders", "journal"))),
        ("board", "%s, chip %s" % (hello.get("board"), hello.get("id"))),
        ("started", "%s; start %s, %.1f s ago" % (
            RESETS.get(hello.get("reset", ""), "?"), status["boots"], number(status, "uptime_ds") / 10)),
        ("state", status["state"]),
        ("refused", refusal),
        ("supply", "%.2f V" % (number(status, "supply_mv") / 1000)),
        ("plan", _plan(number(plan, "bytes"), plan)),
        ("journal", "%d of %d slots free; newest record %s" % (
            number(journal, "free"), number(journal, "slots"),
            "none" if journal.get("newest") == "-1" else journal.get("newest"))),
        ("clock", clock_words(said["clock"])),
    ]
    if number(status, "selftest"):
        lines.insert(6, ("self-test", "runs: part %s" % status["selftest"]))
    return lines


def _plan(length: int, plan: dict[str, str]) -> str:
    if not length:
        return "none: no copy is whole"
    return "checksum %s, generation %s, whole copies %s of 2" % (plan["crc"], plan["generation"], plan["copies"])
