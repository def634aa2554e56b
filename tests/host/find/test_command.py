"""`find` on the command line: what cannot be gets one clear sentence, and a search gets all its files."""

import json

import pytest
import typer

from tumblehome.find import command, working
from tumblehome.find.command import find

AT = "2027-05-18T12:30Z"


@pytest.fixture
def ask(tmp_path, monkeypatch, capsys):
    """Runs the command with these words in an empty folder: its status, what it printed, what it complained of."""
    monkeypatch.chdir(tmp_path)
    app = typer.Typer()
    app.command()(find)

    def asked(*words):
        with pytest.raises(SystemExit) as ended:
            app(list(words), prog_name="find")
        return (ended.value.code or 0, *capsys.readouterr())
    return asked


@pytest.mark.parametrize("words, said", [
    (("--at", "2027-05-18T05:00Z"), "is before the splash at 2027-05-18T06:30:00Z: give a later moment"),
    (("--at", "noon"), "--at noon is no moment: write it such as"),
    (("--at", "2027-05-18T12:00"), "has no zone: write Z behind it if it is UTC"),
    (("--boat", "46 06 28 24"), "46 06 28 24"),
    (("--boat-kn", "100"), "the speed of the boat is 100; allowed is"),
    (("--not-seen", "nowhere.gpx"), "nowhere.gpx cannot be read"),
    (("--wind", "nowhere.csv"), "nowhere.csv cannot be read"),
    (("--journal", "nowhere.bin"), "nowhere.bin cannot be read"),
])
def test_what_cannot_be_gets_one_sentence_and_status_2(ask, words, said):
    status, out, complaint = ask(*words)
    assert status == 2 and out == ""
    assert said in complaint and len(complaint.strip().splitlines()) == 1


def test_a_track_of_a_search_that_is_not_over_is_refused(ask, tmp_path):
    points = "".join('<trkpt lat="46.1" lon="-28.4"><time>2027-05-18T1%d:0%d:00Z</time></trkpt>' % (hour, minute)
                     for hour, minute in ((3, 0), (3, 5)))
    (tmp_path / "later.gpx").write_text(
        '<gpx version="1.1" creator="a" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>%s</trkseg></trk></gpx>' % points)
    status, _out, complaint = ask("--at", AT, "--not-seen", "later.gpx")
    assert status == 2 and "later.gpx ends at 2027-05-18T13:05:00Z, after now, 2027-05-18T12:30:00Z" in complaint


def test_a_search_writes_page_message_and_files_for_instruments(ask, tmp_path, monkeypatch):
    monkeypatch.setattr(command, "work_out", lambda asked: working.work_out(
        working.replace(asked, particles=3000)))
    status, out, _complaint = ask("--at", AT, "--hours", "2", "--boat", "46 06.5 N 028 25.0 W", "--out", "found")
    assert status == 0 and "GO TO 46°" in out
    names = {path.name for path in (tmp_path / "found").iterdir()}
    assert names == {"search.html", "search.json", "message.txt", "search.gpx", "search.kml", "search.geojson"}
    account = json.loads((tmp_path / "found" / "search.json").read_text())
    assert account["at_utc"] == "2027-05-18T12:30:00Z" and len(account["sights"]) >= 7
    assert account["message"] == (tmp_path / "found" / "message.txt").read_text().strip()
