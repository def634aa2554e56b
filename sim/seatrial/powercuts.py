"""Power cut at every operation of the flash that holds the journal, under real MicroPython.

    python -m seatrial.powercuts              every operation, some minutes
    python -m seatrial.powercuts --every 50   each 50th

The records are those of a simulated dive. How they are written and cut is told in `seatrial.flash_cuts`. Leaves with
1 where a record that was acknowledged is missing, a mission falls back in time, a flash does not mount, or the
firmware stops with an error.
"""

import argparse
import os
import struct
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from lander.journal import RECORD_BYTES, seal
from seatrial.bodies import BodyError, find_micropython, firmware_folder
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plan import load_sample

SCRIPT = Path(__file__).with_name("flash_cuts.py")
HEAP = "heapsize=64M"
BLOCKS = 64  # of 4 KiB; small, so that the flash goes round many times
SEQUENCE_AT = 2  # where the number of the record stands in it
TAILS = (1, 2, 4, 6, 7)
TAIL_RECORDS = 900  # less than one long file, which not every tail divides
MUST_BE_0 = ("refused", "dirty", "lost", "fell_back", "refused_after", "unmounted", "crashes")


@dataclass(frozen=True)
class Course:
    """Some records, and how many slots are wanted for them."""

    name: str
    records: int  # 0: those of the dive
    slots: int


COURSES = (
    Course("a dive", 0, 16384),
    Course("a short journal that goes round", 500, 300),
    Course("a flash that is filled to the end", 2250, 1 << 20),
)


def dive_records() -> bytes:
    """The journal of a dive of an hour on the sample plan whose primary release is jammed."""
    plan = load_sample()
    plan = plan.model_copy(update={
        "dive": plan.dive.model_copy(update={"watch_after_surfacing_min": 20.0}),
        "times": plan.times.model_copy(update={"timed_release_min": 60.0, "latest_release_min": 80.0})})
    return Dive(plan, [parse("jammed")], 1).run().journal


def renumbered(records: bytes, count: int) -> bytes:
    """So many records, the given ones over and over, with numbers and times that go on rising."""
    made = bytearray()
    for number in range(count):
        at = number * RECORD_BYTES % len(records)
        record = bytearray(records[at:at + RECORD_BYTES])
        struct.pack_into("<I", record, SEQUENCE_AT, number)
        seal(record, 0)
        made += record
    return bytes(made)


def measure(records: bytes, slots: int, every: int = 1, tail: int = 0, blocks: int = BLOCKS) -> tuple[dict, list[str]]:
    """What the script counted, and a line for each broken cut. Raises BodyError where it does not run through."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "records"
        path.write_bytes(records)
        numbers = [str(number) for number in (slots, blocks, every, tail)]
        command = [find_micropython(), "-X", HEAP, str(SCRIPT), str(path), *numbers]
        done = subprocess.run(command, env={**os.environ, "MICROPYPATH": str(firmware_folder())},
                              capture_output=True, text=True, check=False)
    if done.returncode:
        raise BodyError("the cuts stopped with an error: %s" % (done.stderr or done.stdout)[-2000:])
    lines = done.stdout.splitlines()
    broken = [line for line in lines if line.startswith("broken")]
    words = [word.split("=") for line in lines if line.startswith("counted") for word in line.split()[1:]]
    return {name: int(value) for name, value in words}, broken


def wrong(counted: dict) -> bool:
    """Whether anything is there that must not be."""
    return any(counted.get(name, 0) for name in MUST_BE_0)


def print_course(course: Course, counted: dict, broken: list[str]) -> None:
    print("%s: %d records in %d slots, %d blocks of 4 KiB" % (
        course.name.capitalize(), counted["records"], counted["slots"], counted["blocks"]))
    print("  %6d operations, %d cuts and %d second cuts soon after" % (
        counted["operations"], counted["cuts"], counted["second_cuts"]))
    print("  %6d acknowledged records lost, %d missions that fell back" % (counted["lost"], counted["fell_back"]))
    print("  %6d flashes that did not mount, %d errors, %d records refused" % (
        counted["unmounted"], counted["crashes"], counted["refused"] + counted["refused_after"]))
    print("  a record costs %s; a block is erased %.1f times on the mean, %d at most" % (
        _cost(counted), counted["wear_mean_permille"] / 1000, counted["wear_most"]))
    for line in broken[:10]:
        print("  " + line)


def _cost(counted: dict) -> str:
    return "%.2f pages, %.2f erases and %d bytes" % (
        counted["pages_permille"] / 1000, counted["erases_permille"] / 1000, counted["bytes"])


def print_tails(records: bytes) -> None:
    print("What a record costs with a tail of")
    for tail in TAILS:
        counted, _ = measure(records[:TAIL_RECORDS * RECORD_BYTES], COURSES[0].slots, tail=tail)
        print("  %d: %s, %d erases of one block at most" % (tail, _cost(counted), counted["wear_most"]))


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m seatrial.powercuts", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--every", type=int, default=1, metavar="N", help="cut at each N-th operation (1)")
    every = parser.parse_args(arguments).every
    if every < 1:
        parser.error("--every is %d; give it 1 or more" % every)
    failed = False
    try:
        records = dive_records()
        for course in COURSES:
            given = renumbered(records, course.records) if course.records else records
            counted, broken = measure(given, course.slots, every)
            print_course(course, counted, broken)
            failed = failed or wrong(counted)
        print_tails(records)
    except BodyError as error:
        print(error, file=sys.stderr)
        return 2
    print("BROKEN" if failed else "Every cut was survived.")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
