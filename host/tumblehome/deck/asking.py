"""What only the person on deck can see, as questions with a yes or a no.

An answer may be given beforehand (`--answer ITEM=yes`). Where nobody can be asked, a question stays unanswered, and an
item that was not answered is no better than one that was answered with no.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from seatrial.plan import Plan
from seatrial.workings.card import mark_of

CLEAR, STILL = "clear", "pressure-moves"
AFTER = ("status-lamp", "plug")  # asked when it is armed


@dataclass(frozen=True)
class Question:
    """`asks` makes its words for a plan, or None where there is nothing to ask about."""

    item: str
    asks: Callable[[Plan], str | None]


def _about_clear(_plan: Plan) -> str:
    return "Have you read these cautions, is everybody clear of ballast and lamps, and may the lamps go on for seconds?"


def _about_card(plan: Plan) -> str:
    return "Does the deck card that you have there show the plan %s?" % mark_of(plan.mission_record())


def _about_footage(plan: Plan) -> str:
    return "Is the camera's card in, with room for %g hours%s?" % (
        plan.camera.card_h, "" if plan.camera.supply == "main_switched" else ", and is the camera's own pack full")


def _about_camera(plan: Plan) -> str | None:
    """The self-test does it better, where the plan orders it."""
    if plan.self_test.camera:
        return None
    return "Have you seen the camera start, record and stop by its two buttons since it was closed?"


def _about_link(plan: Plan) -> str | None:
    if not plan.release.passive.fitted:
        return None
    return "Is the corroding link fitted, a new one that has not been in water, and nothing around it that holds?"


def _about_line(_plan: Plan) -> str:
    return "Are the lines clear, so that ballast and lander come apart and nothing can catch?"


def _about_second(plan: Plan) -> str | None:
    if not plan.second.fitted:
        return None
    return "Is the second board on its own pack and armed, and does its lamp say so?"


def _about_still(_plan: Plan) -> str:
    return "The pressure stands still. Has it changed today when you pressed on the sensor, or changed its height?"


def _about_lamp(_plan: Plan) -> str:
    return "Does the status lamp in the window blink twice every two seconds?"


def _about_plug(plan: Plan) -> str | None:
    """It stands for the sea in the test of a wire; left there it would take the wire's current."""
    if plan.release.primary.kind != "wire":
        return None
    return "Is the test plug off the wire of the primary release?"


QUESTIONS = tuple(Question(*row) for row in (
    (CLEAR, _about_clear),
    (STILL, _about_still),
    ("card", _about_card),
    ("footage", _about_footage),
    ("camera", _about_camera),
    ("link", _about_link),
    ("line", _about_line),
    ("second", _about_second),
    ("status-lamp", _about_lamp),
    ("plug", _about_plug),
))
BY_ITEM = {question.item: question for question in QUESTIONS}


class Asking:
    """Answers, given beforehand or asked for once. `ask` shows a question and answers it, or None where nobody can."""

    def __init__(self, plan: Plan, given: Mapping[str, bool], ask: Callable[[str], bool | None]) -> None:
        self.answers: dict[str, bool | None] = {}
        self._plan = plan
        self._given = given
        self._ask = ask

    def stop(self) -> None:
        """Ask nobody any more; what was given beforehand still counts."""
        self._ask = lambda _words: None

    def about(self, item: str) -> bool | None:
        """The answer to the question of this item. None: not answered, or nothing to ask."""
        words = BY_ITEM[item].asks(self._plan)
        if words is None:
            return None
        if item not in self.answers:
            self.answers[item] = self._given[item] if item in self._given else self._ask(words)
        return self.answers[item]
