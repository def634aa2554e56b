"""Dives that begin alike are flown together: what they share is flown once, then each goes on in a copy of the process.

Two dives begin alike when they differ only in what happens at one moment. The dive is flown with blanks for what comes
then; when that moment has come, the process is copied (`os.fork`) for one dive after the other, and the copy fills the
blanks in and flies on to its own end. So a row is the same as if the dive had been flown alone, to the last bit. Where
a process cannot be copied, as on Windows or in a thread of a worker, each dive is flown alone: the same rows, later.
"""

import gc
import os
import pickle
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from seatrial.campaign.choosing import Planned
from seatrial.dive import Dive
from seatrial.faults import Fault, FaultKind, When, parse, parse_when

BLANK = FaultKind("blank", "", "what happens at the moment up to which dives are alike", lambda dive, values: None)


@dataclass(frozen=True)
class Beginning:
    """What dives have in common: their faults in order, "" for one that comes at `when`, and the seed."""

    faults: tuple[str, ...]
    when: str
    seed: int


def beginning(planned: Planned) -> Beginning | None:
    """What other dives can share with this one; None where nothing happens, or all from the start."""
    faults = [parse(text) for text in planned.faults]
    moments = [fault.when for fault in faults if fault.when != When()]
    if not moments or any(fault.kind.prepare and fault.when == moments[-1] for fault in faults):
        return None
    texts = ["" if fault.when == moments[-1] else text for fault, text in zip(faults, planned.faults, strict=True)]
    return Beginning(tuple(texts), str(moments[-1]), planned.seed)


def gathered(planned: Sequence[Planned], most: int) -> list[list[Planned]]:
    """The dives in lists of at most so many: those that begin alike together, dives of fewer faults first."""
    together: dict[object, list[Planned]] = {}
    for one in planned:
        together.setdefault((len(one.faults), beginning(one)), []).append(one)
    lists = [dives[at:at + most] for dives in together.values() for at in range(0, len(dives), most)]
    return sorted(lists, key=lambda dives: len(dives[0].faults))


def alike(planned: Sequence[Planned]) -> Iterator[tuple[Beginning | None, list[Planned]]]:
    """Neighbours that begin alike."""
    for shared, dives in groupby(planned, beginning):
        yield shared, list(dives)


def can_share() -> bool:
    """Whether this process may be copied from here: with other threads at work a copy could stand still for ever."""
    return hasattr(os, "fork") and threading.current_thread() is threading.main_thread()


class Parted(Exception):
    """The moment has come and every dive has flown on by itself; their answers stand in the trunk."""


class Trunk(Dive):
    """What some dives share, as a dive that can be run once.

    `run` raises Parted when all have parted from it and ended. It returns where their moment never came, and then its
    result is that of each of them; and it returns in every copy, where `mine` is the dive that the copy has flown,
    whose answer must be handed over. `answers` holds one for each dive, None for a copy that died. `at_parting` is
    called in each copy when it begins.
    """

    def __init__(self, plan, shared: Beginning, dives: Sequence[Planned], at_parting: Callable[[], object],
                 **more: Any) -> None:
        when = parse_when(shared.when)
        super().__init__(plan, [parse(text) if text else Fault(BLANK, {}, when) for text in shared.faults],
                         shared.seed, **more)
        self.mine: Planned | None = None
        self.answers: list[Any] = []
        self._dives = dives
        self._at_parting = at_parting
        self._answer_to = -1

    def begin_fault(self, entry) -> None:
        if entry[0].kind is BLANK:
            self._part()
        super().begin_fault(entry)

    def _part(self) -> None:
        """Returns in the copies only."""
        gc.freeze()  # what is there by now stays: no copy needs to look through it
        for one in self._dives:
            if self._is_copy_for(one):
                return
        gc.unfreeze()
        raise Parted

    def _is_copy_for(self, one: Planned) -> bool:
        """Copies the process; True in the copy, False when the copy has ended."""
        reading, writing = os.pipe()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # of threads: `can_share` says what is known of them
            copy = os.fork()
        if not copy:
            os.close(reading)
            self._become(one, writing)
            return True
        os.close(writing)
        with open(reading, "rb") as pipe:
            told = pipe.read()
        _, status = os.waitpid(copy, 0)
        self.answers.append(pickle.loads(told) if status == 0 else None)
        return False

    def _become(self, one: Planned, answer_to: int) -> None:
        gc.disable()
        self._at_parting()
        self.mine, self._answer_to = one, answer_to
        for entry, text in zip(self.faults, one.faults, strict=True):
            if entry[0].kind is BLANK:
                entry[0] = parse(text)

    def hand_over(self, answer: Any) -> None:
        """The end of a copy: it tells its answer and is gone."""
        with open(self._answer_to, "wb") as pipe:
            pickle.dump(answer, pipe)
        os._exit(0)
