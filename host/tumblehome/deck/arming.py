"""Arm, wait for the self-test, and verify; or disarm again. Nothing here decides: the mission does."""

from collections.abc import Collection
from contextlib import suppress
from typing import Any

from lander.table import ARMED, SAFE, STATES
from tumblehome.bench.link import LinkError, Refused, heard_by_ds
from tumblehome.deck.checks import ITEM_OF_REFUSAL
from tumblehome.deck.reading import Reader, stamp

LOOK_S = 0.5
HEARD_S = 15.0  # a step that is later than this by the mission's own word has not come at all
SELF_TEST_S = 600.0  # longer than the mission itself gives all parts of its self-test
BUSY_TRIES = 10
ASKED_TO_ARM = ("it was asked to arm and may be armed: look at the status lamp, and stand clear of the ballast until it"
                " is disarmed")


def arm(reader: Reader, accepted: Collection[str]) -> dict[str, Any]:
    """Ask the mission to arm. Past a check that failed only where its item was accepted: the journal keeps which.

    What came of it: `state`, `refusal` (number), `passed` (bits of the self-test), `anyway`, `said` (why the line would
    not pass it on), `status_code` (lamp) and `utc`.
    """
    reader.link.so_far = ASKED_TO_ARM
    came = _ask(reader, "arm")
    item = ITEM_OF_REFUSAL.get(came["refusal"])
    if came["state"] != STATES[ARMED] and item in accepted:
        failed, passed = came["refusal"], came["passed"]
        came = _ask(reader, "arm-anyway")
        if came["state"] == STATES[ARMED]:
            came.update(anyway=True, refusal=failed, passed=passed)
    if came["state"] == STATES[SAFE]:
        reader.link.so_far = "it was asked to arm, refused, and is safe"
    return came


def _ask(reader: Reader, command: str) -> dict[str, Any]:
    came: dict[str, Any] = {"state": STATES[SAFE], "refusal": 0, "passed": 0, "anyway": False, "said": "",
                            "status_code": 0, "utc": stamp(reader.watch.utc())}
    try:
        _command(reader, command)
    except Refused as error:
        came["said"] = error.reason
        return came
    told = _wait_for_self_test(reader)
    came.update(state=told["state"], refusal=reader.number(told, "refused"), passed=reader.number(told, "passed"),
                utc=stamp(reader.watch.utc()))
    if told["state"] == STATES[ARMED]:
        came["status_code"] = reader.readings()["status_code"]
    return came


def _command(reader: Reader, command: str) -> None:
    """Hand it to the mission, once the one before has been heard. Raises Refused."""
    for left in reversed(range(BUSY_TRIES)):
        try:
            reader.ask("ask", command=command)
            return
        except Refused as error:
            if not left or not error.reason.startswith("busy"):
                raise
            reader.watch.wait(LOOK_S)


def _heard(reader: Reader) -> dict[str, str]:
    """The status after a step that has surely taken the command."""
    seen = reader.readings()
    until_ds = heard_by_ds(seen)
    waited_s = 0.0
    while True:
        told = reader.status()
        if reader.number(told, "uptime_ds") >= until_ds:
            return told
        if waited_s > HEARD_S + seen["wake_ds"] / 10:
            raise LinkError("the mission does not go on: take the power away and give it back")
        reader.watch.wait(LOOK_S)
        waited_s += LOOK_S


def _wait_for_self_test(reader: Reader) -> dict[str, str]:
    """The status when the self-test is over, or when there was none."""
    told = _heard(reader)
    waited_s = 0.0
    while told["state"] == STATES[SAFE] and reader.number(told, "selftest"):
        if waited_s > SELF_TEST_S:
            raise LinkError("the self-test has not ended within %.0f s: take the power away and give it back"
                            % SELF_TEST_S)
        reader.watch.wait(LOOK_S)
        waited_s += LOOK_S
        told = reader.status()
    return told


def disarm(reader: Reader) -> bool:
    """Safe again: a no-go never leaves it armed. Whether it is safe."""
    try:
        _command(reader, "disarm")
        told = _heard(reader)
    except Refused:
        return False
    if told["state"] != STATES[SAFE]:
        return False
    reader.link.so_far = "it was armed and is safe again"
    return True


def call_off(reader: Reader) -> None:
    """Somebody has stopped the check: what was asked to arm is safe again, its self-test over, or `so_far` says that it
    may be armed. Nothing is asked of a lander that was not.
    """
    link = reader.link
    if link.so_far != ASKED_TO_ARM:
        return
    with suppress(LinkError):
        link.status()  # passes over the answer to what was asked last
        if disarm(reader):
            link.so_far = "it was asked to arm, that was called off, and it is safe: the lander is not armed"
