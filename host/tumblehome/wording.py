"""How values stand in tables and on pages."""

import math
from datetime import datetime
from typing import Any

NOTHING = "–"


def shown(value: Any, digits: int | None = None) -> str:
    """A value for a person: numbers with `digits` decimals, moments in UTC, a dash for what does not exist."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return NOTHING
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%d %H:%M") + "Z"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float) and digits is not None:
        text = "%.*f" % (digits, value)
        return text[1:] if text.startswith("-") and not float(text) else text
    return str(value)
