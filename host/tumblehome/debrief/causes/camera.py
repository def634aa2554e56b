"""Camera, fan and lamp: the presses, their answers, the heat.

The sound dive: one power press, one record press, seen to record within the answer time, and so until filming ends.
Each start of the controller begins anew. Without feedback nothing here can be seen.
"""

from collections.abc import Iterator

import numpy as np

from lander import camera, journal, table
from lander.orders import NONE, OWN_PACK
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
    kinds, said = _deaf(anew, extra, filmed, lost, codes)
    if anew and past.orders.camera_supply == OWN_PACK:
        kinds = CAMERA_DEAF  # no switch of its supply has woken it
    yield Finding(kinds, LIKELY, said, words, settle, 75 if anew else 72)


def _deaf(anew: int, extra: int, filmed: bool, lost: bool, codes: list[int]) -> tuple[tuple[str, ...], str]:
    """What it may be that answers no press. A button that is deaf stops no recording; a start anew, by the supply,
    wakes what hung and empties no card."""
    if not filmed and anew:
        if lost and anew >= 2:
            return ("card-full",), ("The camera stopped recording by itself, was started anew %d times, and never"
                                    " recorded again." % anew)
        kinds = CAMERA_DEAF if anew < 2 else ("card-full", "press-missed")
        return kinds, "The camera was started anew %d times and never recorded again." % anew
    if anew:
        said = "The camera %s, was started anew, and recorded." % (
            "stopped recording by itself and answered no button" if lost else "did not answer its buttons")
        return ("camera-crashed",) if lost else ("press-missed", "camera-crashed"), said
    if lost and not extra:
        return CAMERA_DEAF, "The camera stopped recording by itself, and recorded again after a press."
    said = "%s in vain." % ("A button was pressed once" if extra == 1 else "Buttons were pressed %d times" % extra)
    if codes[-1] == journal.E_RECORDING and not lost:
        return ("press-missed",), said  # what hung, or is full, records after no press
    return ("press-missed", "card-full", "camera-crashed"), said


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
