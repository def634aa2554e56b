"""The errors of a search that cannot be worked out as it was asked for, and how values stand in its sentences."""

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any


class FindError(Exception):
    """The person's mistake: nothing was done. `sentences` says what is wrong and what to do, one for each thing."""

    def __init__(self, sentences: Iterable[str]) -> None:
        self.sentences = list(sentences)
        super().__init__("\n".join(self.sentences))

    def __reduce__(self) -> tuple[type["FindError"], tuple[Any, ...]]:
        return type(self), (self.sentences,)  # crosses a process border unharmed


class PositionError(FindError):
    """No position, or none that means one place. `sentences` says what and what to write."""


class SearchError(FindError):
    """A search that cannot be. `sentences` says which number and what is allowed."""


class NothingAfloat(SearchError):
    """Nothing can be afloat yet in the time of the search: wait."""


class OutOfReach(SearchError):
    """What is afloat cannot be reached in the time of the search."""


class NothingSeen(SearchError):
    """It may be afloat, and by nothing could it be seen in the time of the search."""


def told(moment: datetime) -> str:
    """A moment in a sentence, in UTC; seconds only where there are some."""
    return f"{moment.astimezone(UTC):{'%Y-%m-%d %H:%M:%S' if moment.second else '%Y-%m-%d %H:%M'}}Z"
