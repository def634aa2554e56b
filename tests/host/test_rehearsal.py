"""`tumblehome rehearse` as a person meets it: a dive with one command, and a clear no to whatever is wrong.

The checks of one command against another run are checks of the tool against itself; JSON is held to RFC 8259, which
knows no NaN and no Infinity.
"""

import json
import os
import re
import shlex
import socket
import threading
from pathlib import Path

import pytest

from lander import wire
from lander.journal import RECORD_BYTES
from seatrial import plan as plans
from seatrial.bodies import BodyError, find_micropython
from seatrial.dive import Dive
from seatrial.faults import KINDS, parse
from tumblehome import rehearsal, terminal, writing

FILES = ["dive.html", "dive.json", "journal.bin"]


def names_in(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())


def read_json(text: str) -> dict:
    """JSON as RFC 8259 has it: a number that is none is an error."""
    def refuse(word: str):
        raise AssertionError("%s is no JSON" % word)
    return json.loads(text, parse_constant=refuse)


def changed(key: str, literal: str, header: str) -> str:
    """The sample plan with the first `key` under this header set to another value, written as TOML has it."""
    before, after = plans.sample_text().split("\n%s\n" % header, 1)
    after = re.sub(r"(?m)^%s = [^#\n]*" % key, lambda _: "%s = %s " % (key, literal), after, count=1)
    return "%s\n%s\n%s" % (before, header, after)


def renamed(old: str, new: str) -> str:
    return re.sub(r"(?m)^%s = " % re.escape(old), "%s = " % new, plans.sample_text(), count=1)


# --- one command, a whole dive -------------------------------------------------------------------------------------


def test_with_no_plan_it_rehearses_the_sample_and_comes_home(run, tmp_path):
    said = run("rehearse")
    assert said.status == 0
    assert said.err == ""
    folder, = tmp_path.iterdir()
    assert re.fullmatch(r"dive-\d{8}-\d{6}", folder.name)
    assert names_in(folder) == FILES
    assert "\nHOME At the surface" in said.out
    assert "page    %s" % Path(folder.name, "dive.html") in said.out
    assert [line for line in said.out.splitlines() if line.startswith("replay  tumblehome rehearse ")]


def test_what_it_wrote_is_whole(run, tmp_path):
    run("rehearse", "--out", "mine")
    page = (tmp_path / "mine" / "dive.html").read_text(encoding="utf-8")
    told = read_json((tmp_path / "mine" / "dive.json").read_text(encoding="utf-8"))
    journal = (tmp_path / "mine" / "journal.bin").read_bytes()
    assert page.lstrip().lower().startswith("<!doctype html>")
    assert page.rstrip().endswith("</html>")
    assert told["outcome"]["home"] is True
    assert journal
    assert len(journal) % RECORD_BYTES == 0


def test_every_law_gets_its_verdict_on_the_terminal(run):
    said = run("rehearse")
    for number in range(1, 13):
        assert re.search(r"(?m)^ *%d  .*\b(kept|excused)\b" % number, said.out)


def test_a_dead_main_board_comes_home_and_the_second_board_is_named(run):
    said = run("rehearse", "--fault", "main-dead@record")
    assert said.status == 0
    assert "\nHOME At the surface" in said.out
    assert "freed by the second board" in " ".join(said.out.split())
    assert re.search(r"(?m)^ *13  Second board +kept\b", said.out)


def test_a_fault_of_the_second_board_needs_one_in_the_plan(run, tmp_path):
    text = plans.sample_text()
    begin, end = text.index("[second]"), text.index("[doubt]")
    (tmp_path / "alone.toml").write_text(text[:begin] + text[end:], encoding="utf-8")
    said = run("rehearse", "alone.toml", "--fault", "second-dead@record")
    assert said.status == 2
    assert "fault second-dead is one of the second board and second.fitted is false" in " ".join(said.err.split())


def test_a_folder_and_the_folders_above_it_are_made(run, tmp_path):
    assert run("rehearse", "--out", "cruise/day 2/first").status == 0
    assert names_in(tmp_path / "cruise" / "day 2" / "first") == FILES


def test_a_second_dive_into_the_same_folder_takes_the_place_of_the_first(run, tmp_path):
    run("rehearse", "--out", "mine")
    (tmp_path / "mine" / "notes.txt").write_text("keep me")
    run("rehearse", "--out", "mine", "--seed", 2)
    assert names_in(tmp_path / "mine") == [*FILES, "notes.txt"]
    assert read_json((tmp_path / "mine" / "dive.json").read_text())["seed"] == 2


def test_dives_in_one_second_get_a_folder_each(run, tmp_path, monkeypatch):
    class StoppedClock(writing.datetime):
        @classmethod
        def now(cls, tz=None):
            return cls(2027, 5, 18, 6, 30, 0, tzinfo=tz)
    monkeypatch.setattr(writing, "datetime", StoppedClock)
    (tmp_path / "dive-20270518-063000").mkdir()
    for _ in range(2):
        assert run("rehearse").status == 0
    assert names_in(tmp_path) == ["dive-20270518-063000", "dive-20270518-063000-2", "dive-20270518-063000-3"]


def test_json_prints_the_account_and_nothing_else_to_stdout(run, tmp_path):
    said = run("rehearse", "--json", "--out", "mine")
    assert said.status == 0
    assert read_json(said.out) == read_json((tmp_path / "mine" / "dive.json").read_text())
    assert said.err == "page    %s\n" % Path("mine", "dive.html")


@pytest.mark.parametrize("fault", ["power-gone@record", "battery-misread:voltage=0"])
def test_json_stays_json_when_readings_are_missing(run, fault):
    read_json(run("rehearse", "--json", "--fault", fault).out)


def test_the_same_seed_gives_the_same_journal_and_another_seed_another(run, tmp_path):
    for folder, seed in (("one", 7), ("two", 7), ("three", 8)):
        run("rehearse", "--seed", seed, "--out", folder)
    one, two, three = ((tmp_path / folder / "journal.bin").read_bytes() for folder in ("one", "two", "three"))
    assert one == two
    assert one != three


def test_faults_are_put_in_as_often_as_they_are_named(run):
    told = read_json(run("rehearse", "--json", "--fault", "reset@record+10min", "--fault", "leak@2h").out)
    assert [fault["name"] for fault in told["faults"]] == ["reset", "leak"]
    began = [fault["from_s"] for fault in told["faults"]]
    assert began[1] == pytest.approx(told["outcome"]["splash_s"] + 7200.0)
    assert 0 < began[0] < began[1]


def test_the_smallest_and_the_largest_seed_are_taken(run):
    for seed in (0, 2**32 - 1):
        assert read_json(run("rehearse", "--json", "--seed", seed).out)["seed"] == seed


# --- not home ------------------------------------------------------------------------------------------------------


def test_a_lander_that_is_caught_in_mid_water_is_not_home_and_the_status_says_so(run, tmp_path):
    said = run("rehearse", "--fault", "caught@200m", "--out", "mine")
    assert said.status == 1
    assert "NOT HOME Still down" in said.out
    assert said.err == ""
    assert read_json((tmp_path / "mine" / "dive.json").read_text())["outcome"]["home"] is False


def test_a_broken_law_gives_status_1_though_the_lander_is_home(run, monkeypatch):
    """One verdict is turned round on its way to the account: the mission code should give no fault that does it."""
    honest = rehearsal.account

    def harsh(result, command):
        told = honest(result, command)
        told["laws"][4].update(verdict="broken", sentence="The lights were on.")
        told["outcome"]["within_laws"] = False
        return told
    monkeypatch.setattr(rehearsal, "account", harsh)
    said = run("rehearse")
    assert said.status == 1
    assert "HOME, LAW BROKEN" in said.out
    assert re.search(r"(?m)^ *5  .*BROKEN +The lights were on\.", said.out)


def test_a_fault_that_never_began_is_named_so_that_nobody_takes_it_for_proven(run):
    said = run("rehearse", "--fault", "jammed@2000m")
    assert said.status == 0
    assert "This fault never began" in said.out
    assert "jammed@2000m" in said.out


# --- the command that replays --------------------------------------------------------------------------------------


def replayed(run_outside, tmp_path: Path, *words: object) -> tuple[bytes, bytes]:
    """The journals of a dive and of the command that it printed, both run as processes of their own."""
    first = run_outside("rehearse", *words, "--out", "first")
    command = re.search(r"(?m)^replay  (.*)$", first.out)
    assert command, first.err
    program, *again = shlex.split(command[1])
    assert program == "tumblehome"
    second = run_outside(*again, "--out", "second")
    assert second.status == first.status
    return (tmp_path / "first" / "journal.bin").read_bytes(), (tmp_path / "second" / "journal.bin").read_bytes()


def test_the_printed_command_replays_the_dive_byte_for_byte(run_outside, tmp_path):
    first, second = replayed(run_outside, tmp_path, "--seed", 41, "--fault", "attempt-resets:channel=primary@record",
                             "--fault", "pressure-noisy:mbar=80,for_s=600@splash+30min")
    assert first == second


@pytest.mark.long
def test_it_replays_from_a_plan_file_whose_path_has_spaces_and_quotes(run_outside, tmp_path):
    plan = tmp_path / "day 2" / "the cook's plan.toml"
    plan.parent.mkdir()
    plan.write_text(changed("depth_m", "380", "[site]"), encoding="utf-8")
    first, second = replayed(run_outside, tmp_path, plan, "--fault", "jammed@200m")
    assert first == second


def test_a_plan_file_whose_name_begins_with_a_dash_is_not_taken_for_an_option():
    command = rehearsal.replay_command(rehearsal.dive_words(Path("-plan.toml"), [], 1), "cpython")
    assert command == "tumblehome rehearse ./-plan.toml --seed 1"


def test_every_fault_of_the_catalogue_is_written_the_way_it_is_read():
    for kind in KINDS.values():
        for when in ("", "@touchdown", "@200m", "@90s", "@45min", "@record+10min"):
            fault = parse(kind.name + when)
            assert parse(str(fault)) == fault


@pytest.mark.parametrize("text", [
    "jammed@0m", "jammed@1000000s", "jammed@45.1234h", "clock-jumps:by_s=-1234567", "jammed@record+1234567s"])
def test_long_numbers_survive_the_way_into_the_replay_command(text):
    assert parse(str(parse(text))) == parse(text)


def test_the_command_names_the_body_when_it_is_not_the_usual_one():
    words = rehearsal.dive_words(None, [parse("leak@record")], 3)
    command = rehearsal.replay_command(words, "socket://127.0.0.1:4330")
    assert shlex.split(command) == ["tumblehome", "rehearse", "--seed", "3", "--fault", "leak@record", "--body",
                                    "socket://127.0.0.1:4330"]


# --- bad input -----------------------------------------------------------------------------------------------------


@pytest.fixture
def refused(run, tmp_path):
    """Runs `rehearse` with these words, checks that it was refused cleanly, and gives the sentences."""
    def sentences(*words: object) -> list[str]:
        before = names_in(tmp_path)
        said = run("rehearse", *words)
        assert said.status == 2
        assert said.out == "", "a refusal prints nothing to stdout"
        assert "Traceback" not in said.err
        assert names_in(tmp_path) == before, "a refusal makes nothing"
        return said.err.splitlines()
    return sentences


@pytest.mark.parametrize("fault, parts", [
    ("jamed", ["'jamed' is not known", "did you mean jammed?"]),
    ("xyzzy", ["'xyzzy' is not known", "`tumblehome faults` lists what there is"]),
    ("@record", ["'' is not known", "`tumblehome faults` lists what there is"]),
    ("jammed@", ["'jammed@' ends in @", "jammed@record"]),
    ("jammed@lunch", ["'lunch' is not understood", "touchdown", "record", "200m", "45min", "record+10min"]),
    ("jammed@-5m", ["'-5m' is not understood", "200m"]),
    ("jammed@record+", ["'record+' is not understood", "record+10min"]),
    ("jammed:rate=3", ["jammed has no parameter 'rate'", "channel", "for_s"]),
    ("jammed:channel", ["jammed", "'channel'", "channel (which release channel)"]),
    ("jammed:channel=third", ["channel=third", "allowed is primary, backup, both"]),
    ("slow-release:rate=3", ["rate=3", "allowed is 0.01 to 1"]),
    ("slow-release:rate=nan", ["rate=nan", "allowed is 0.01 to 1"]),
    ("slow-release:rate=", ["rate=", "is no number"]),
    ("press-missed:presses=1,5", ["press-missed", "no parameter '5'", "presses (how many)"]),
    ("jammed:for_s=inf", ["for_s=inf", "allowed is 0 to"]),
])
def test_a_fault_that_is_written_wrong_gets_one_sentence_with_value_and_way_out(refused, fault, parts):
    sentence, = refused("--fault", fault)
    assert all(part in sentence for part in parts), sentence


def test_every_wrong_fault_gets_its_own_sentence(refused):
    sentences = refused("--fault", "jamed", "--fault", "leak@record", "--fault", "leak@never")
    assert len(sentences) == 2
    assert "jamed" in sentences[0]
    assert "never" in sentences[1]


@pytest.mark.parametrize("seed", ["-1", str(2**32), "1.5", "seven", "9" * 5000, "١"])
def test_a_seed_out_of_range_gets_one_sentence_with_the_range(refused, seed):
    sentence, = refused("--seed", seed)
    assert sentence.startswith("--seed is %s" % seed[:40])
    assert "0 to 4294967295" in sentence
    assert len(sentence) < 200


def test_a_plan_file_that_is_not_there_gets_one_sentence(refused):
    sentence, = refused("nowhere.toml")
    assert sentence.startswith("nowhere.toml cannot be read (no such file or directory)")
    assert "give the path of a plan file" in sentence


def test_a_folder_is_no_plan_file(refused, tmp_path):
    sentence, = refused(tmp_path)
    assert "is a directory" in sentence


@pytest.mark.parametrize("content, parts", [
    (b"depth = = 3\n", ["plan.toml, line 1, column", "TOML"]),
    (b"[site\n", ["plan.toml, line 1", "TOML"]),
    (b"name = \"\xff\xfe\"\n", ["plan.toml is not UTF-8 text", "save it as plain text in UTF-8"]),
    (b"[dive]\nname = \"open\n", ["plan.toml, line 2", "close the text"]),
], ids=["two equals signs", "open bracket", "not UTF-8", "open text"])
def test_a_file_that_is_no_toml_is_told_by_line_with_the_way_out(refused, tmp_path, content, parts):
    (tmp_path / "plan.toml").write_bytes(content)
    sentence, = refused("plan.toml")
    assert all(part in sentence for part in parts), sentence


@pytest.mark.parametrize("text, parts", [
    (renamed("swell_height_m", "swell_hight_m"), ["site.swell_hight_m is not a key", "swell_height_m"]),
    (renamed("volume_l", "volume_m3"),
     ["lander.parts[row 3].volume_m3 is 6.4", "wanted in", "lander.parts[row 3].volume_l", "write volume_l ="]),
    (changed("depth_m", '"430 m"', "[site]"), ['site.depth_m is the text "430 m"', "allowed is a number from"]),
    (changed("range_m", "400", "[sensors.pressure]"),
     ["sensors.pressure.range_m is 400", "430 m deep", "at least 452 m", "or a shallower site"]),
    (changed("kind", '"string"', "[release.primary]"), ['release.primary.kind is "string"', '"wire" or "latch"']),
], ids=["wrong key", "unit slip", "text for a number", "sensor range", "wrong word"])
def test_a_plan_with_one_mistake_gets_one_sentence_with_key_value_range_and_way_out(refused, tmp_path, text, parts):
    (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
    sentences = refused("plan.toml")
    told = [sentence for sentence in sentences if all(part in sentence for part in parts)]
    assert len(told) == 1, sentences


def test_a_release_later_than_the_battery_lasts_is_refused_with_the_pack_that_would_do(refused, tmp_path):
    (tmp_path / "plan.toml").write_text(changed("capacity_ah", "6", "[power]"), encoding="utf-8")
    sentences = refused("plan.toml")
    told, = [sentence for sentence in sentences if sentence.startswith("times.latest_release_min is ")]
    assert "power.capacity_ah 6" in told
    assert re.search(r"release by minute \d+ at the latest|no release time is early enough", told)
    assert re.search(r"carry at least \d+\.\d Ah", told)


def test_a_mission_longer_than_the_counter_is_refused_with_its_limit(refused, tmp_path):
    """60 days: the limit that DESIGN sets, far below the 2^30 tenths that a 32-bit MicroPython holds in a word."""
    text = changed("hours", "1440", "[beacon]")
    (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
    sentences = refused("plan.toml")
    told, = [sentence for sentence in sentences if "60 days" in sentence]
    assert told.startswith("beacon.hours is 1440")
    assert "shorten one of them" in told


def test_several_mistakes_in_a_plan_are_all_told_at_once(refused, tmp_path):
    text = changed("range_m", "400", "[sensors.pressure]").replace("cool_c = 45.0", "cool_c = 61.0")
    (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
    sentences = refused("plan.toml")
    assert any("range_m" in sentence for sentence in sentences)
    assert any("cool_c" in sentence for sentence in sentences)


def test_out_that_is_a_file_is_refused_and_the_file_is_untouched(refused, tmp_path):
    (tmp_path / "taken").write_text("mine")
    sentence, = refused("--out", "taken")
    assert sentence == "--out is taken, which is a file: name a folder, or one that does not exist yet"
    assert (tmp_path / "taken").read_text() == "mine"


def test_out_below_a_file_is_refused_before_the_dive(refused, tmp_path, monkeypatch):
    monkeypatch.setattr(Dive, "run", lambda dive: pytest.fail("the dive was run"))
    (tmp_path / "taken").write_text("mine")
    sentence, = refused("--out", "taken/deeper/down")
    assert "is a file: name another folder" in sentence


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="the administrator may write anywhere")
def test_out_in_a_folder_that_may_not_be_written_to_is_refused_before_the_dive(refused, tmp_path):
    (tmp_path / "sealed").mkdir(mode=0o555)
    sentence, = refused("--out", "sealed/mine")
    assert "may not be written to: name another folder" in sentence


def test_a_name_too_long_for_a_folder_is_refused(refused):
    sentence, = refused("--out", "x" * 5000)
    assert "cannot be written (file name too long): name another folder" in sentence


def test_a_disk_that_fills_up_leaves_nothing_half_written(refused, monkeypatch):
    honest = Path.write_bytes

    def full(path: Path, content: bytes) -> int:
        if path.name.startswith("journal"):
            raise OSError(28, "No space left on device")  # ENOSPC
        return honest(path, content)
    monkeypatch.setattr(Path, "write_bytes", full)
    for words in ((), ("--out", "mine"), ("--out", "a/b/c")):
        sentence, = refused(*words)
        assert "cannot be written (no space left on device): name another folder" in sentence


def test_a_disk_that_fills_up_leaves_an_older_dive_whole(run, tmp_path, monkeypatch):
    run("rehearse", "--out", "mine")
    older = {path.name: path.read_bytes() for path in (tmp_path / "mine").iterdir()}

    def full(path: Path, content: bytes) -> int:
        raise OSError(28, "No space left on device")  # ENOSPC
    monkeypatch.setattr(Path, "write_bytes", full)
    assert run("rehearse", "--out", "mine", "--seed", 2).status == 2
    assert {path.name: path.read_bytes() for path in (tmp_path / "mine").iterdir()} == older


# --- bodies --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("body", [
    "COM5", "com5", r"\\.\COM12", "/dev/ttyNothing7", "micropythn", "carrier-pigeon://roof", "socket://127.0.0.1",
    "socket://127.0.0.1:0", "/dev/null"])
def test_a_body_that_does_not_exist_gets_one_sentence_that_names_the_choices(refused, body):
    sentence, = refused("--body", body)
    assert sentence.startswith("cannot open %s" % body)
    assert all(part in sentence for part in ("cpython", "micropython", "COM5", "socket://"))


def test_the_core_in_a_real_micropython_writes_the_same_journal_and_is_named_in_the_replay_command(run, tmp_path):
    try:
        find_micropython()
    except BodyError as error:
        pytest.skip(str(error))
    run("rehearse", "--out", "here")
    said = run("rehearse", "--body", "micropython-core", "--out", "there")
    assert "replay  tumblehome rehearse --seed 1 --body micropython-core\n" in said.out
    here, there = ((tmp_path / folder / "journal.bin").read_bytes() for folder in ("here", "there"))
    assert here == there


def test_a_port_where_nothing_answers_is_told_with_what_to_look_at(refused, monkeypatch):
    monkeypatch.setattr("seatrial.bodies.HELLO_S", 0.5)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]
        sentence, = refused("--body", "socket://127.0.0.1:%d" % port)
    assert "nothing answers" in sentence
    assert "is the port right" in sentence


def test_a_port_that_hangs_up_at_once_is_told_without_a_traceback(refused, monkeypatch):
    monkeypatch.setattr("seatrial.bodies.HELLO_S", 0.5)
    with socket.create_server(("127.0.0.1", 0)) as rude:
        hanging_up = threading.Thread(target=lambda: rude.accept()[0].close(), daemon=True)
        hanging_up.start()
        refused("--body", "socket://127.0.0.1:%d" % rude.getsockname()[1])
        hanging_up.join()


class ToyBoard:
    """Something at a socket that speaks the wire and answers what it is told to, checksums and all."""

    def __init__(self, answers: dict[str, str]) -> None:
        self._answers = {"hello": "wire=%d" % wire.VERSION, "boot": "want=-1", "start": "next=0", **answers}
        self._door = socket.create_server(("127.0.0.1", 0))
        self.name = "socket://127.0.0.1:%d" % self._door.getsockname()[1]
        threading.Thread(target=self._talk, daemon=True).start()

    def _talk(self) -> None:
        with self._door, self._door.accept()[0] as line, line.makefile("rwb") as file:
            for asked in file:
                number, verb = wire.unframe(asked.decode().strip()).split()[:2]
                file.write((wire.frame(("%s ok %s" % (number, self._answers.get(verb, ""))).strip()) + "\n").encode())
                file.flush()


@pytest.mark.parametrize("answers", [
    {"hello": "wire=99"}, {"hello": "colour=red"}, {"boot": "want=some"}, {"start": ""}, {"step": "tide=3"},
    {"step": "wake_ds=0"}, {"step": "record_count=1", "record": "hex=zz"},
], ids=str)
def test_a_controller_that_answers_nonsense_is_told_in_one_sentence(refused, answers):
    board = ToyBoard(answers)
    sentence, = refused("--body", board.name)
    assert board.name in sentence or "the controller answered" in sentence


# --- stopped by the keyboard ---------------------------------------------------------------------------------------


def test_a_stop_by_the_keyboard_in_the_middle_of_the_dive_writes_nothing(run, tmp_path, monkeypatch):
    def stop(now_s: float, end_s: float) -> None:
        raise KeyboardInterrupt

    def impatient(*words, **more):
        words = [*words[:4], stop]
        return Dive(*words, **more)
    monkeypatch.setattr(rehearsal, "Dive", impatient)
    said = run("rehearse")
    assert said.status == 130
    assert said.out == ""
    assert said.err == "stopped: the dive came to 0:00:00 of sea time; nothing was written\n"
    assert names_in(tmp_path) == []


def test_a_stop_by_the_keyboard_while_writing_leaves_nothing_half_written(run, tmp_path, monkeypatch):
    def stop(path: Path, content: bytes) -> int:
        raise KeyboardInterrupt
    monkeypatch.setattr(Path, "write_bytes", stop)
    for words in ((), ("--out", "a/b")):
        assert run("rehearse", *words).status == 130
        assert names_in(tmp_path) == []


# --- in a pipe -----------------------------------------------------------------------------------------------------


def test_a_dive_in_a_pipe_fits_80_columns_and_has_no_colour_codes(run_outside):
    said = run_outside("rehearse", "--fault", "weak-supply@attempt", "--out", "d")
    assert "\x1b" not in said.out + said.err
    free_to_be_long = ("page    ", "replay  ")
    wide = [line for line in said.out.splitlines() if len(line) > 80 and not line.startswith(free_to_be_long)]
    assert wide == []
    assert said.err == ""


def test_long_paths_and_commands_are_printed_on_one_line_to_be_copied(run, tmp_path):
    name = "a very long name " * 8
    said = run("rehearse", "--out", name)
    assert "page    %s\n" % Path(name, "dive.html") in said.out


def test_a_plan_name_cannot_steer_the_terminal(run, tmp_path):
    (tmp_path / "plan.toml").write_text(changed("name", r'"\u001b[2J\u0007calm"', "[dive]"), encoding="utf-8")
    said = run("rehearse", "plan.toml")
    assert said.status == 0
    assert "?[2J?calm" in said.out
    assert terminal.printable("é 深 x") == "é 深 x"
