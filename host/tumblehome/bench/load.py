"""`tumblehome bench load`: put a plan on a controller, and read it back."""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from seatrial.bodies import PIECE_BYTES
from seatrial.workings.whole import work_out
from tumblehome import terminal
from tumblehome.bench.link import Link, LinkError, Refused, record_crc
from tumblehome.bench.ports import FAILED, Port, controller
from tumblehome.planning import read_draft

BOTH = "2"


def bench_load(
    plan: Annotated[Path, typer.Argument(help="Plan file (TOML).")],
    port: Port = None,
) -> None:
    """Put a plan on the controller: checked here, sent, kept in both copies, read back byte for byte after a restart.

    Where it is there already, nothing is written. The journal stays. Exit status 0: this plan counts. 1: it does not
    add up, or was refused. 2: bad input, or no controller answers. 3: it went away meanwhile; the sentence says which
    plan counts.
    """
    worked = work_out(read_draft(plan))
    for sentence in worked.faults:
        terminal.complain(sentence)
    if not worked.adds_up:
        raise typer.Exit(FAILED)
    record = worked.plan.mission_record()
    with controller(port) as link:
        was_there = counts(link, record)
        if not was_there:
            load(link, record)
        told = link.ask("plan")
        terminal.out.print("%s: %s %s; checksum %s, generation %s, whole copies %s of 2" % (
            link.url, terminal.printable(worked.plan.dive.name), "was there already" if was_there else "counts now",
            told["crc"], told["generation"], told["copies"]))


def counts(link: Link, record: bytes) -> bool:
    """Whether this mission record is what counts on the board, in both copies. Raises as `Link.ask`."""
    return link.ask("plan").get("copies") == BOTH and link.plan_record() == record


def load(link: Link, record: bytes) -> None:
    """Send a mission record, have it kept, and read it back after the restart. Raises as `Link.ask`, and LinkError
    where what is read back is something else.
    """
    link.so_far = "the plan before counts"
    try:
        _send(link, record)
    except Refused as error:
        if "send the record again" not in error.reason:
            raise
        _send(link, record)  # it has started anew between two pieces
    link.so_far = "the plan was kept and not read back"
    link.come_back()
    if not counts(link, record):
        raise LinkError("the plan that counts on %s is not the one that was sent: run the same command again, and if it"
                        " stays so, its flash is worn out" % link.url)


def _send(link: Link, record: bytes) -> None:
    for at, piece in _pieces(record):
        link.ask("orders", at=at, hex=piece.hex())
    link.so_far = "the plan may count, or the one before"
    try:
        link.ask("keep", crc=record_crc(record))
    except Refused:
        link.so_far = "the plan before counts"
        raise


def _pieces(record: bytes) -> Iterator[tuple[int, bytes]]:
    for at in range(0, len(record), PIECE_BYTES):
        yield at, record[at:at + PIECE_BYTES]
