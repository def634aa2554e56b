"""How numbers and values stand in a sentence, and the error that carries sentences."""

import json
import math
from collections.abc import Iterable


class PlanError(Exception):
    """The operator's mistake: the plan cannot be used as it stands.

    `sentences` holds everything that was found, one sentence each; `str()` joins them with newlines.
    """

    def __init__(self, sentences: Iterable[str]) -> None:
        self.sentences = list(sentences)
        super().__init__("\n".join(self.sentences))

    def __reduce__(self) -> tuple[type["PlanError"], tuple[list[str]]]:
        return PlanError, (self.sentences,)  # crosses a process border unharmed


def up(value: float, digits: int = 0) -> str:
    """`value` for a sentence, rounded up to `digits` decimals."""
    return f"{math.ceil(value * 10 ** digits) / 10 ** digits:.{digits}f}"


def at(depth_m: float) -> str:
    """A depth as a place."""
    return f"at {depth_m:g} m" if depth_m else "at the surface"


def show(value: object) -> str:
    """A value of the file as a person wrote it, on one line and not too long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value if len(value) <= 40 else value[:37] + "...", ensure_ascii=False)
    if isinstance(value, dict):
        return "a section"
    if isinstance(value, list):
        return "a list"
    text = value.isoformat() if hasattr(value, "isoformat") else str(value)
    return text if len(text) <= 40 else f"{text[:20]}... ({len(text)} digits)"
