"""What a journal cannot tell by its nature: a table for the end of the chain, and for the measure."""

from typing import NamedTuple


class Untold(NamedTuple):
    """`kinds` of the fault catalogue that leave no trace; `said` is for the person, `why` for the measure."""

    kinds: tuple[str, ...]
    said: str
    why: str


UNTOLD = (
    Untold(("radio-dead", "antenna-awash", "no-fix"),
           "Whether position reports had a fix, went out and were heard: nothing of them is written down.",
           "the controller never hears whether a report got through"),
    Untold((), "Whether the beacon lamp could be seen: the journal has at most the current that it drew, which may be"
           " lost in the sensor's noise while it flashes seldom.", ""),
    Untold(("second-dead", "second-reset", "second-hangs", "second-pressure-gone", "second-contact-dead",
            "second-contact-bridged"),
           "How the second board fared: it has a record of its own, and nothing of it stands here.",
           "the second board keeps its own record; here it was not needed"),
    Untold(("link-late", "link-never"),
           "How far the corroding link was: it says nothing before it parts, and then only by a rise.",
           "the link says nothing; the controller had released before"),
    Untold(("leak-dead",), "Whether a dry leak probe would have felt water: dry and dead look the same.",
           "a dry probe and a dead one say the same while the housing is dry"),
    Untold(("leak", "leak-false"), "Whether the water that the probe felt was real, or only the probe wet.", ""),
    Untold(("fast-current",), "Where the water carried it: nothing on board feels a steady current.",
           "nothing on board feels a steady current"),
    Untold(("line-noise",), "What came on the serial line under water: it is deaf there, and writes nothing down.",
           "under water the line is deaf, and nothing is written"),
    Untold(("counter-wraps",), "Whether the controller's counter of time fell back between two steps: it takes the"
           " sleep it had asked for as passed.",
           "the controller counts the sleep it had asked for, which is what passed"),
    Untold((), "What is on the footage: the journal knows only what the camera's feedback showed.", ""),
    Untold((), "What came after the last record, and between records that are missing.", ""),
)
NO_TRACE = {kind: one.why for one in UNTOLD for kind in one.kinds if one.why}
