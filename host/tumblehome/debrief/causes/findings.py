"""What the chain and the findings are made of: plain data, each with the records that it stands on."""

from dataclasses import dataclass

ESTABLISHED, LIKELY, OPEN = "established", "likely", "cannot be told"
CERTAINTIES = (ESTABLISHED, LIKELY, OPEN)


@dataclass(frozen=True)
class Link:
    """One thing that happened. `at_s` is mission time, None where there is none; `when` the same as it is told."""

    at_s: float | None
    when: str
    said: str
    expected: str  # what a sound dive of this plan would have shown, or ""
    seen: str
    certainty: str
    records: tuple[int, ...]  # their sequence numbers


@dataclass(frozen=True)
class Finding:
    """A named cause. `kinds` are names of the catalogue of faults: one, or several that leave the same traces; empty
    where the catalogue has no name for it. `weight` orders findings of one certainty: what explains most comes first.
    """

    kinds: tuple[str, ...]
    certainty: str
    sentence: str
    records: tuple[int, ...]
    settle: str  # what to inspect or to measure, to know for sure
    weight: int = 50
    covers: tuple[str, ...] = ()  # kinds whose findings follow from this cause: they are not told beside it
