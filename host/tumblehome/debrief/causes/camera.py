"""Camera, fan and lamp: the presses, their answers, the heat.

The sound dive: one power press, one record press, seen to record within the answer time, and so until filming ends.
Each start of the controller begins anew. Without feedback nothing here can be seen.
"""

from collections.abc import Iterator

import numpy as np

from lander import camera, journal, table
from lander.orders import NONE
from tumblehome.debrief.causes.alike import CAMERA_DEAF
from tumblehome.debrief.causes.findings import LIKELY, Finding
from tumblehome.debrief.causes.past import Past

STORY = (journal.E_POWER, journal.E_PRESS, journal.E_RECORDING, journal.E_NO_ANSWER, journal.E_CAMERA_OFF,
         journal.E_HOT, journal.E_COOL)
FILMING = (table.DESCEND, table.RECORD)
TESTED = table.SAFE


def _story(past: Past) -> list[tuple[int, int]]:
    """Place and code of the camera's events while it was to film, in order; -1 stands for a start of the controller.

    In the self-test all that follows the recording belongs to its end, which is wanted there.
    """
    told = [(at, int(past.code[at])) for at in past.events(*STORY) if past.state[at] in (*FILMING, TESTED)]
    filmed = [at for at, code in told if code == journal.E_RECORDING and past.state[at] == TESTED]
    told = [(at, code) for at, code in told if past.state[at] != TESTED or not filmed or at <= filmed[-1]]
    told += [(at, -1) for at in filmed[-1:]] + [(one.at, -1) for one in past.starts]
    return sorted(told, key=lambda one: (one[0], -one[1]))


def presses(past: Past) -> Iterator[Finding]:
    """Sound: power, record, recording. One press more, a start anew, or no recording is something else."""
    if past.orders.camera_feedback == NONE:
        return
    story = _story(past)
    codes = [code for _at, code in story]
    words = past.records([at for at, _code in story])
    settle = "run the camera by its buttons on the bench, through a whole card"
    unpressed = [at for (at, code), (_before, last) in zip(story[1:], story[:-1], strict=True)
                 if code == journal.E_RECORDING and last == journal.E_POWER]
    if unpressed:
        yield Finding(("records-early",), LIKELY, "The camera recorded as soon as it was on: nobody pressed record.",
                      past.records(unpressed), "look at the camera's own settings", 75)
        return
    if journal.E_HOT in codes:
        return
    anew = codes.count(journal.E_NO_ANSWER)
    extra = _in_vain(story)
    filmed = _ends_recording(past)
    lost = _lost(story)
    if not (anew or extra or lost):
        return
    if not filmed and anew:
        yield Finding(CAMERA_DEAF, LIKELY,
                      "The camera was started anew %d times and never recorded again." % anew, words, settle, 75)
    elif anew:
        yield Finding(("camera-crashed", "press-missed") if lost else ("press-missed", "camera-crashed"), LIKELY,
                      "The camera did not answer its buttons, was started anew, and recorded.", words, settle, 75)
    elif lost and not extra:
        yield Finding(CAMERA_DEAF, LIKELY, "The camera stopped recording by itself, and recorded again after a press.",
                      words, settle, 72)
    else:
        yield Finding(("press-missed", "card-full", "camera-crashed"), LIKELY,
                      "The record button was pressed %d times in vain." % extra, words, settle, 72)


def stopping(past: Past) -> Iterator[Finding]:
    """Sound: the camera no longer records when its supply is taken away."""
    if past.orders.camera_feedback == NONE:
        return
    at = [at for at in past.events(journal.E_CAMERA_OFF) if past.detail[at] == camera.SEEN_RECORDING]
    if at:
        yield Finding(("press-missed", "camera-crashed"), LIKELY, "The camera was still recording when it was switched"
                      " off: the press that was to stop it was in vain.", past.records(at),
                      "run the camera by its buttons on the bench", 68)


def _in_vain(story: list[tuple[int, int]]) -> int:
    """Presses that were followed by another press. """
    both = (journal.E_PRESS, journal.E_POWER)
    return sum(one[1] == journal.E_PRESS and other[1] in both or one[1] == other[1] == journal.E_POWER
               for one, other in zip(story[:-1], story[1:], strict=True))


def _lost(story: list[tuple[int, int]]) -> bool:
    """Whether it had recorded and stopped by itself."""
    return any(one[1] == journal.E_RECORDING and other[1] in (journal.E_PRESS, journal.E_NO_ANSWER)
               for one, other in zip(story[:-1], story[1:], strict=True))


def _ends_recording(past: Past) -> bool:
    """Whether the camera recorded at the end of filming."""
    at = np.flatnonzero(past.in_state(*FILMING))
    return bool(len(at)) and int(past.camera[at[-1]]) == camera.RECORDING


def heat(past: Past) -> Iterator[Finding]:
    """Sound: never too hot; the plan's fan keeps it below its limit."""
    hot = past.events(journal.E_HOT)
    if not hot:
        return
    at = hot[0]
    before = np.flatnonzero(past.sign("camera_temp_ok") & (np.arange(past.count) < at) & past.log.is_reading)[-3:]
    rose = len(before) > 0 and past.camera_c[at] - past.camera_c[before[-1]] < 5.0
    kinds = ("fan-dead",) if rose else ("temperature-misread", "fan-dead")
    yield Finding(kinds, LIKELY, "The camera became too hot: %.0f degC." % past.camera_c[at], past.records(hot),
                  "run the fan on the bench; compare the thermometers at one temperature", 70)


RULES = (presses, stopping, heat)
