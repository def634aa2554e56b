"""Known-bad missions: the list can be applied, the loader touches nothing else, and the searches catch what they should.

The whole list is judged by `python -m seatrial.known_bad`, which takes minutes.
"""

import sys

import pytest

import lander.mission
from seatrial import known_bad
from seatrial.broken_core import EditError, core_folder, edited_sources, mission_class, read_edits
from seatrial.known_bad import LIST, Judgement, judge, main, table_of

EDITS = read_edits(LIST)
BY_WORDS = {edit.breaks: edit for edit in EDITS}


def test_there_are_at_least_forty_and_no_two_say_the_same():
    assert len(EDITS) >= 40
    assert len(BY_WORDS) == len(EDITS)


def test_every_law_has_an_edit_against_it():
    assert {edit.law for edit in EDITS} == set(range(1, 13))


@pytest.mark.parametrize("edit", EDITS, ids=lambda edit: edit.breaks)
def test_the_old_text_of_every_edit_stands_once_in_the_core_and_the_edited_core_can_be_imported(edit):
    assert mission_class([edit]).__name__ == "Mission"


def test_an_edited_core_is_another_and_the_true_one_stays():
    before = {name: module for name, module in sys.modules.items() if name.partition(".")[0] == "lander"}
    sources = {path: path.read_bytes() for path in core_folder().glob("*.py")}
    core = mission_class([BY_WORDS["rows are not written"]])
    assert core is not lander.mission.Mission
    assert {name: module for name, module in sys.modules.items() if name.partition(".")[0] == "lander"} == before
    assert {path: path.read_bytes() for path in core_folder().glob("*.py")} == sources
    assert lander.mission.Mission().orders.__class__ is not core().orders.__class__


def test_the_true_core_comes_back_when_an_edited_one_cannot_be_imported():
    broken = BY_WORDS["rows are not written"].__class__("sleep.py", "HURRY_DS = 10", "HURRY_DS = )", "no Python", 1)
    with pytest.raises(SyntaxError):
        mission_class([broken])
    assert sys.modules["lander.mission"] is lander.mission
    assert judge(broken).caught


# --- files of edits ------------------------------------------------------------------------------------------------


def edits_file(tmp_path, text: str):
    path = tmp_path / "edits.toml"
    path.write_text(text)
    return path


GOOD = '[[edit]]\nfile = "sleep.py"\nold = "HURRY_DS = 10"\nnew = "HURRY_DS = 3000"\nbreaks = "no hurry"\nlaw = 4\n'


@pytest.mark.parametrize(("text", "said"), [
    ("", "holds no"),
    ("[[edit]", "is no file of edits"),
    (GOOD.replace("law = 4", "law = 13"), "law is 13; laws are 1 to 12"),
    (GOOD.replace("law = 4", 'law = "4"'), "law must be a whole number"),
    (GOOD.replace('new = "HURRY_DS = 3000"\n', ""), "new must be a text"),
    (GOOD + "colour = 1\n", "there is no key colour"),
    (GOOD + "why = 1\n", "why must be a text"),
])
def test_a_wrong_file_of_edits_is_refused_in_one_sentence(tmp_path, text, said):
    with pytest.raises(EditError, match=said):
        read_edits(edits_file(tmp_path, text))


@pytest.mark.parametrize(("text", "said"), [
    (GOOD.replace("HURRY_DS = 10", "HURRY_DS = 11"), "'no hurry': its old text stands nowhere in sleep.py"),
    (GOOD.replace("HURRY_DS = 10", "HURRY_DS"), "'no hurry': its old text stands . times in sleep.py"),
    (GOOD.replace("sleep.py", "dream.py"), "'no hurry': the core has no file dream.py"),
])
def test_an_edit_that_cannot_be_made_is_an_error_that_names_it(tmp_path, text, said):
    with pytest.raises(EditError, match=said):
        edited_sources(read_edits(edits_file(tmp_path, text)))


def test_the_command_leaves_with_2_when_an_edit_cannot_be_made(tmp_path, capsys):
    path = edits_file(tmp_path, GOOD.replace("HURRY_DS = 10", "HURRY_DS = 11"))
    with pytest.raises(SystemExit) as ended:
        main(["--edits", str(path), "--only", "no hurry"])
    assert ended.value.code == 2
    assert "stands nowhere in sleep.py" in capsys.readouterr().err


# --- the searches --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("breaks", "dives", "law"), [
    ("the backup channel is never tried", ("jammed",), 4),
    ("a leak is believed after ten minutes", ("leak@record+10min",), 7),
    ("it does not film on the bottom", ("",), 9),
])
def test_the_telling_dives_catch(breaks, dives, law, monkeypatch):
    monkeypatch.setattr(known_bad, "DIVES", dives)
    assert ": law %d: " % law in known_bad.telling(mission_class([BY_WORDS[breaks]]))


def test_no_search_blames_the_true_core(monkeypatch):
    monkeypatch.setattr(known_bad, "DIVES", ("", "jammed", "leak@record+10min"))
    core = mission_class([])
    assert known_bad.telling(core) == ""
    assert known_bad.exploration(core, states=1500) == ""
    assert known_bad.wandering(core, voyages=20) == ""


def test_a_law_that_the_true_core_breaks_in_a_dive_is_not_held_against_an_edit(monkeypatch):
    monkeypatch.setattr(known_bad, "DIVES", ("",))
    monkeypatch.setattr(known_bad, "_true_laws", lambda written: frozenset({9}))
    assert known_bad.telling(mission_class([BY_WORDS["it does not film on the bottom"]])) == ""


def test_the_table_names_what_survived_and_the_share_that_was_caught():
    first, second = EDITS[:2]
    lines = table_of([Judgement(first, {"sweep": "law 1", "explore": ""}), Judgement(second, {"sweep": "", "explore": ""})])
    assert "SURVIVED (law %d): %s (%s)" % (second.law, second.breaks, second.file) in lines
    assert not any("SURVIVED" in line and first.breaks in line for line in lines)
    assert lines[-1].endswith("1 of 2, 50.0 %")


