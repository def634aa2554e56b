"""A journal is listed, pulled, verified and cleared, and never cleared before all of it was pulled.

SHA-256 is checked with `sha256sum`'s form and hashlib, which follow FIPS 180-4; the rest are statements of this project.
"""

import hashlib
import json

import pytest

from lander.journal import RECORD_BYTES, seal
from lander.journal import is_good as whole


def pull(run, board, folder="first"):
    said = run("bench", "journal", "pull", "--out", folder, "--port", board.url)
    assert said.status == 0, said
    return said


def test_what_is_pulled_is_whole_hashed_and_told_in_words(run, board, tmp_path):
    said = pull(run, board)
    image = (tmp_path / "first" / "journal.bin").read_bytes()
    told = json.loads((tmp_path / "first" / "journal.json").read_text())
    assert len(image) >= 2 * RECORD_BYTES and whole(image[:RECORD_BYTES])
    assert (tmp_path / "first" / "journal.sha256").read_text() == "%s  journal.bin\n" % hashlib.sha256(image).hexdigest()
    assert told["sha256"] == hashlib.sha256(image).hexdigest() and told["sha256"] in said.out
    assert told["controller"]["board"] == "pico" and told["bad"] == 0
    assert [record["kind"] for record in told["records"]][0] == "boot"
    assert told["spans"][0]["states"] == ["safe"]
    assert run("bench", "journal", "verify", "first").status == 0


def test_the_list_of_the_board_and_of_the_file_are_one(run, board):
    pull(run, board)
    here = run("bench", "journal", "list", "first", "--json")
    there = run("bench", "journal", "list", "--port", board.url, "--json")
    one, other = (json.loads(said.out)[0] for said in (here, there))
    assert one["boot"] == other["boot"] == 1 and one["records"] <= other["records"]
    assert run("bench", "journal", "list", "first").out.startswith("boot")


@pytest.mark.parametrize(("spoil", "words"), [
    (lambda image: image[:-1], "the file was cut off"), (lambda image: b"\0" + image[1:], "its hash is another one"),
    (lambda image: b"", "its hash is another one")])
def test_a_file_that_was_changed_is_not_verified_and_clears_nothing(run, board, tmp_path, spoil, words):
    pull(run, board)
    path = tmp_path / "first" / "journal.bin"
    path.write_bytes(spoil(path.read_bytes()))
    said = run("bench", "journal", "verify", path)
    assert said.status == 1 and words in said.err
    said = run("bench", "journal", "clear", path, "--port", board.url)
    assert said.status == 1 and said.err.startswith("not cleared: ")


def test_a_record_that_is_missing_or_torn_is_remarked(run, board, tmp_path):
    pull(run, board)
    folder = tmp_path / "first"
    record = bytearray((folder / "journal.bin").read_bytes()[:RECORD_BYTES])
    records = []
    for number in (0, 1, 5):
        record[2:6] = number.to_bytes(4, "little")
        seal(record, 0)
        records.append(bytes(record))
    image = b"".join((*records, bytes(RECORD_BYTES)))
    (folder / "journal.bin").write_bytes(image)
    (folder / "journal.sha256").write_text("%s  journal.bin\n" % hashlib.sha256(image).hexdigest())
    said = run("bench", "journal", "verify", folder)
    assert said.status == 0
    assert "3 records are missing after record 1" in said.out and "1 slot holds no whole record" in said.out


def test_a_pulled_journal_is_cleared_and_a_second_time_is_no_mistake(run, practised):
    board = practised()
    pull(run, board)
    said = run("bench", "journal", "clear", "first", "--port", board.url)
    assert said.status == 0 and "cleared: 2 records are in first only" in said.out
    again = run("bench", "journal", "clear", "first", "--port", board.url)
    assert again.status == 0 and "it was cleared before" in again.out
    told = json.loads(run("bench", "journal", "list", "--port", board.url, "--json").out)
    assert [span["boot"] for span in told] == [1], "an empty journal begins to count anew"


def test_what_was_written_since_the_pull_is_not_lost(run, practised):
    board = practised()
    pull(run, board)
    board.cut_power(0.1)
    while board.starts < 2:
        board.wait(0.1)
    said = run("bench", "status", "--port", board.url)
    said = run("bench", "journal", "clear", "first", "--port", board.url)
    assert said.status == 1 and "first lacks 2 of the 4 records on the controller" in said.err


def test_the_journal_of_another_controller_clears_nothing(run, board, tmp_path):
    pull(run, board)
    path = tmp_path / "first" / "journal.json"
    path.write_text(path.read_text().replace(json.loads(path.read_text())["controller"]["id"], "00ff"))
    said = run("bench", "journal", "clear", "first", "--port", board.url)
    assert said.status == 1 and "was pulled from another controller, chip 00ff" in said.err


@pytest.mark.parametrize("words", [("verify", "nowhere"), ("clear", "nowhere"), ("list", "nowhere"),
                                   ("list", "nowhere", "--port", "here"), ("pull", "--out", "a-file")])
def test_what_is_not_there_is_bad_input(run, tmp_path, words):
    (tmp_path / "a-file").write_bytes(b"")
    said = run("bench", "journal", *words)
    assert said.status == 2 and said.err.count("\n") == 1
