"""Colours and patterns of every page.

Hues are the eight of Okabe and Ito, "Color Universal Design" (2008), which people with the common kinds of colour
blindness tell apart. No meaning rests on hue alone: each state also has a word and a pattern, each line a dash,
each mark a shape.
"""

from typing import NamedTuple

INK = "#10202e"
PAPER = "#fbfaf5"
RULE = "#c9c6b8"

BLACK = "#000000"
ORANGE = "#e69f00"
SKY = "#56b4e9"
GREEN = "#009e73"
YELLOW = "#f0e442"
BLUE = "#0072b2"
VERMILLION = "#d55e00"
PURPLE = "#cc79a7"
GREY = "#8a8a8a"
PALE = "#d0d0d0"


class Look(NamedTuple):
    """How one state is drawn: `colour` as #rrggbb, `pattern` by plotly's character, `meaning` in words."""

    colour: str
    pattern: str
    meaning: str


# The slope of the hatching goes the way the lander goes: \ down, / up.
STATES = {
    "safe": Look(PALE, "", "not armed"),
    "armed": Look(YELLOW, ".", "armed, waiting for water"),
    "descend": Look(SKY, "\\", "sinking"),
    "record": Look(GREEN, "", "filming the bottom"),
    "release": Look(VERMILLION, "|", "freeing the ballast, primary channel first"),
    "backup": Look(PURPLE, "x", "freeing the ballast, channels in turn"),
    "ascend": Look(ORANGE, "/", "rising"),
    "surface": Look(BLUE, "-", "at the surface, beacon on"),
    "off": Look(BLACK, "+", "controller without power"),
}
UNKNOWN_STATE = Look(GREY, "x", "a state this page does not know")


def state_look(state: str) -> Look:
    """The look of a state; a state without one gets a grey hatch and still keeps its word."""
    return STATES.get(state, UNKNOWN_STATE)


def tint(colour: str, share: float) -> str:
    """`share` (0 to 1) of `colour`, the rest white, as #rrggbb."""
    channels = (int(colour[at:at + 2], 16) for at in (1, 3, 5))
    return "#" + "".join(f"{round(255 - (255 - channel) * share):02x}" for channel in channels)
