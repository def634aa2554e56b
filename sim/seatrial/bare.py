"""The numbers of a section of the plan without the model around them, for code that reads them at every step.

A pydantic model answers a missing attribute by a function of its own, and for that alone Python looks up every one of
its attributes the slow way: ten times slower than on a plain object.
"""

from typing import Any


class Bare:
    """Plain attributes, named as the keys of the section."""


def bare(section: Any) -> Any:
    """A plain copy of this section; sections within it stay what they are."""
    copy = Bare()
    for name in getattr(type(section), "model_fields", None) or vars(section):
        setattr(copy, name, getattr(section, name))
    return copy
