"""Go or no-go: all items judged, and what a person on the spot has accepted with a reason and a name."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tumblehome.deck.checks import ITEMS, WITH_ARMING, Finding, Item
from tumblehome.deck.reading import Read

ACCEPTED = "accepted"


@dataclass(frozen=True)
class Judged:
    """An item, what was found, and why a person accepts it as it is; None where nobody does."""

    item: Item
    finding: Finding
    accepted: str | None

    @property
    def is_go(self) -> bool:
        """As it must be, or accepted where that is possible."""
        return bool(self.finding.ok) or (self.accepted is not None and not self.finding.final)

    @property
    def word(self) -> str:
        """How it stands, in a word."""
        if self.finding.ok:
            return "ok"
        if self.is_go:
            return ACCEPTED
        return "NO" if self.finding.ok is False else "open"


def judged(read: Read, accepted: Mapping[str, str], with_arming: bool) -> list[Judged]:
    """Every item; those that arming decides only where it has been asked for."""
    return [Judged(item, item.judge(read), accepted.get(item.key)) for item in ITEMS
            if with_arming or item.key not in WITH_ARMING]


def is_go(items: Sequence[Judged]) -> bool:
    """Nothing stands against the dive."""
    return all(each.is_go for each in items)


def reasons(items: Sequence[Judged]) -> list[str]:
    """Why it is no go, a sentence each: what was found wrong, or, where nothing was, what was not judged."""
    wrong = [each for each in items if not each.is_go and each.finding.ok is False]
    left = [each for each in items if not each.is_go and each.finding.ok is None]
    if not wrong:
        return [sentence(each) for each in left]
    return [sentence(each) for each in wrong] + (
        ["not judged yet: %s" % ", ".join(each.item.key for each in left)] if left else [])


def sentence(each: Judged) -> str:
    """What stands against the dive, and the way out."""
    words = "%s: %s" % (each.item.key, each.finding.found)
    if each.finding.wanted:
        words += "; %s" % each.finding.wanted
    if each.finding.final and each.accepted is not None:
        words += " (nobody can accept this)"
    return words
