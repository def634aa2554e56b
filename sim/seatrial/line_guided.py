"""Lines that are led by coverage: `python -m seatrial.line_guided` throws what reaches new code of the deck line.

`atheris` (extra `guided`) makes the bytes and watches which code of `lander` and `boards` they reach; what is held is
the same as in `seatrial.line_storm`. A `$` at the end of a line stands for the checksum that is right, so that the
bytes come beyond it. It ends at the first fault, and leaves the bytes that did it in a file.
"""

import argparse
import sys
import tempfile
from collections.abc import Sequence
from itertools import islice
from pathlib import Path

HOW_TO_GET = "there is no `atheris` here: pip install tumblehome[guided], on Linux; `python -m seatrial.line_storm`" \
    " throws lines without it"
RUNS = 100_000
BOARD_PARTS = ("boards.deck_files", "boards.deck_poke", "boards.deck_session", "boards.deck_store", "boards.deck_verbs")
LINES_OF_STORM = 300
BYTES_MAX = 600


def main(arguments: Sequence[str] | None = None) -> int:
    """The command. Exit status 0: nothing was found. 2: it cannot run here. Another: what `atheris` ends with."""
    words = argparse.ArgumentParser(prog="python -m seatrial.line_guided", description=__doc__.split("\n")[0])
    words.add_argument("--runs", type=int, default=RUNS)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--found", type=Path, default=Path(), help="folder for the bytes that found something")
    given = words.parse_args(arguments)
    try:
        import atheris
    except ImportError:
        print(HOW_TO_GET, file=sys.stderr)
        return 2
    with atheris.instrument_imports(include=["lander", "boards"]):
        from lander import console, session, wire  # noqa: F401
        from seatrial.board_code import board_module
        for name in BOARD_PARTS:
            board_module(name)
    from seatrial.line_storm import Watch

    watch = Watch(given.seed, here=True)
    watch.begin()
    with tempfile.TemporaryDirectory(prefix="tumblehome-guided-") as folder:
        _sow(Path(folder), given.seed)
        atheris.Setup([sys.argv[0], "-runs=%d" % given.runs, "-seed=%d" % max(1, given.seed), "-max_len=%d" % BYTES_MAX,
                       "-dict=%s" % (Path(folder) / "words"), "-artifact_prefix=%s/" % given.found,
                       str(Path(folder) / "corpus")], lambda data: _try(watch, data))
        atheris.Fuzz()
    return 0


def _try(watch, data: bytes) -> None:
    from seatrial.storm_lines import Item, framed

    lines = [framed(line[:-1]) if line.endswith(b"$") else line for line in data.split(b"\n")]
    watch.throw_now(Item(b"\n".join(lines) + b"\n"))
    if watch.told.faults:
        raise AssertionError(watch.told.faults[0])


def _sow(folder: Path, seed: int) -> None:
    """Words and lines of the grammar to begin with."""
    from seatrial.storm_lines import GRAMMAR, NAMES, Storm

    names = {verb for verb, _pairs in GRAMMAR} | {one for chosen in NAMES.values() for one in chosen}
    keys = {pair.strip("[]").split("=")[0] + "=" for _verb, pairs in GRAMMAR for pair in pairs.split()}
    (folder / "words").write_text("".join('"%s"\n' % word for word in sorted(names | keys)), encoding="ascii",
                                   newline="\n")
    (folder / "corpus").mkdir()
    for number, item in enumerate(islice(Storm(seed).items(), LINES_OF_STORM)):
        line = item.data.rstrip(b"\r\n")
        text, star, _mark = line.rpartition(b"*")
        (folder / "corpus" / str(number)).write_bytes((text + b"$" if star else line)[:BYTES_MAX])


if __name__ == "__main__":
    sys.exit(main())
