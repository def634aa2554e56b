"""Colours, progress and Ctrl-C at a terminal, as a person has them; each with the whole tool in a process of its own.

Colours are the parameters 30 to 49 and 90 to 107 of SGR (ECMA-48, 8.3.117; the bright ones are a custom of terminals).
That NO_COLOR takes them away, whatever it is set to, is the convention of no-color.org. 130 is 128 + SIGINT.
"""

import re
import sys

import pytest

from .keyboard import CTRL_C, Keyboard

pytestmark = [pytest.mark.long, pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals here")]
COLOUR = re.compile(r"\x1b\[(?:[\d;]*;)?(?:3\d|4\d|9[0-7]|10[0-7])(?:;[\d;]*)?m")


@pytest.fixture
def at_terminal(tmp_path, monkeypatch):
    """Starts the tool at a terminal that knows colours."""
    started = []

    def start(*words: object) -> Keyboard:
        started.append(Keyboard(tmp_path, *words, term="xterm-256color"))
        return started[-1]
    yield start
    for one in started:
        one.__exit__()


def test_a_terminal_gets_colours_and_none_where_no_color_is_set(at_terminal, monkeypatch):
    monkeypatch.delenv("NO_COLOR", raising=False)
    coloured = at_terminal("plan")
    assert coloured.ended() == 0 and COLOUR.search(coloured.screen)
    monkeypatch.setenv("NO_COLOR", "1")
    for words in (("plan",), ("plan", "--help"), ("rehearse", "--out", "d")):
        plain = at_terminal(*words)
        assert plain.ended() == 0 and not COLOUR.search(plain.screen)


@pytest.mark.parametrize("words, shown, told", [
    (("rehearse", "--body", "micropython"), "of sea time", r"(the dive came to \d+:\d\d:\d\d of sea time; )?nothing was written"),
    (("explore", "--bound", "2"), "situations with up to", r"\d+ situations with up to \d surprises explored, the rest not;"
                                                           " nothing was written"),
    (("explore", "--bound", "2", "--voyages", "100000"), "of 100000 voyages", r"\d+ of 100000 voyages explored, the rest not;"
                                                                              " nothing was written"),
    (("fuzz", "--minutes", "10", "--cores", "2"), "dives, ", r"\d+ dives were flown; what was found is in fuzz-[\d-]+"),
    (("odds", "--dives", "5000", "--cores", "2"), "flying", "nothing was written"),
    (("sweep", "--pairs", "--cores", "2", "--out", "s"), "flying", r"\d+ of \d+ dives are flown and kept; go on with:"
                                                                   " tumblehome sweep --pairs --seed 1 --out s"),
    (("budgets",), "measuring heap", "measuring heap over a day of mission was under way; nothing was written"),
    (("find",), "working out", r"working out [\w ]+ was under way; nothing was written"),
])
def test_work_shows_how_far_it_is_and_ctrl_c_ends_it_in_one_sentence(at_terminal, micropython, words, shown, told):
    person = at_terminal(*words)
    person.wait_for(shown)
    person.type(CTRL_C)
    assert person.ended() == 130
    plain = re.sub(r"\x1b\[[\d;?]*[A-Za-z]", "", person.screen)
    assert re.search(r"stopped: %s\n" % told, plain), plain[-2000:]
    assert "Traceback" not in plain and len(re.findall("stopped: ", plain)) == 1
