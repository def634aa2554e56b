"""`find` on the command line: what cannot be gets one clear sentence, and a search gets all its files."""

import json
import re
from datetime import datetime, timedelta

import fastkml
import geojson
import gpxpy
import pytest
import typer

from lander import report
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.world import CLOCK_EPOCH
from tumblehome.find import command
from tumblehome.find.command import find

from .plans_and_clouds import PLAN

AT = "2027-05-18T12:30Z"
BOAT = "46 06.5 N 028 25.0 W"
FILES = {"search.html", "search.json", "message.txt", "search.gpx", "search.kml", "search.geojson"}
SPLASH = PLAN.dive.splash_utc


@pytest.fixture
def ask(tmp_path, monkeypatch, capsys):
    """Runs the command with these words in an empty folder: its status, what it printed, what it complained of."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(command, "PARTICLES", 3000)
    app = typer.Typer()
    app.command()(find)

    def asked(*words):
        with pytest.raises(SystemExit) as ended:
            app([str(word) for word in words], prog_name="find")
        return (ended.value.code or 0, *capsys.readouterr())
    return asked


@pytest.fixture
def told(ask):
    """The same as data."""
    def asked(*words):
        status, out, complaint = ask(*words, "--json")
        assert status == 0, complaint
        return json.loads(out)
    return asked


def chances(account):
    return {home["key"]: home["probability"] for home in account["ways"]}


def gpx(path, points):
    """A track of (latitude, longitude, moment)."""
    path.write_text('<gpx version="1.1" creator="a" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>%s</trkseg>'
                    '</trk></gpx>' % "".join('<trkpt lat="%.6f" lon="%.6f"><time>%s</time></trkpt>' % (
                        latitude, longitude, moment.strftime("%Y-%m-%dT%H:%M:%SZ")) for latitude, longitude, moment in points))
    return path.name


def wind_rows(path, hours):
    """A gale from the north over a current that goes south, from the splash on."""
    rows = ["time_utc,wind_speed_m_s,wind_from_deg,current_speed_m_s,current_toward_deg"] + [
        "%s,15,0,0.5,180" % (SPLASH + timedelta(hours=hour)).strftime("%Y-%m-%dT%H:%MZ") for hour in range(hours)]
    path.write_text("\n".join(rows) + "\n")
    return path.name


def report_log(path, *reports):
    """A log of reports heard, each (moment, changes of its numbers)."""
    path.write_text("".join(json.dumps({"heard_utc": at.isoformat(), "line": report.sentence(said(at, **changes)).strip()}) + "\n"
                            for at, changes in reports))
    return path.name


def said(at, **changes):
    numbers = {"version": 1, "lander": 0xA5F9, "number": 7, "clock_s": int((at - CLOCK_EPOCH).total_seconds()),
               "latitude_deg_e5": 4620000, "longitude_deg_e5": -2830000, "age_s": 0, "supply_mv": 16570, "path": report.TIMED,
               "flags": report.FIX_KNOWN | report.FIX_NEW | report.CLOCK_SURE, "silent_h": 60, **changes}
    return [numbers[name] for name in report.NAMES]


# --- what cannot be ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("words, said", [
    (("--at", "2027-05-18T05:00Z"), "is before the splash at 2027-05-18T06:30:00Z: give a later moment"),
    (("--at", "noon"), "--at noon is no moment: write it such as"),
    (("--at", "2027-05-18T12:00"), "has no zone: write Z behind it if it is UTC"),
    (("--boat", "46 06 28 24"), "46 06 28 24"),
    (("--not-seen", "nowhere.gpx"), "nowhere.gpx cannot be read"),
    (("--wind", "nowhere.csv"), "nowhere.csv cannot be read"),
    (("--journal", "nowhere.bin"), "nowhere.bin cannot be read"),
    (("--guesses", "nowhere.toml"), "nowhere.toml cannot be read"),
    (("--heard", "nowhere.log"), "cannot read the log nowhere.log"),
    (("--lander", "A5F9"), "--lander goes with --heard FILE"),
    (("--log", "new.log"), "--log goes with --listen URL"),
    (("--down-at", "2027-05-18T05:00Z"), "--down-at is 2027-05-18T05:00:00Z; allowed is from the splash, 2027-05-18T06:30:00Z"),
    (("--not-heard-until", "2027-05-19T05:00Z"), "to now, 2027-05-18T12:30:00Z: correct it"),
    (("--areas-at", "2027-05-18T12:00Z"), "--areas-at is 2027-05-18T12:00:00Z; allowed is from now, 2027-05-18T12:30:00Z"),
    (("--areas-at", "2027-06-18T12:00Z"), "to 240 h later, 2027-05-28T12:30:00Z: correct it"),
    (("--areas-at", "tomorrow"), "--areas-at"),
])
def test_what_cannot_be_gets_one_sentence_and_status_2_and_writes_nothing(ask, words, said, tmp_path):
    status, out, complaint = ask("--at", AT, "--out", "found", *words)
    assert status == 2 and out == ""
    assert said in complaint and len(complaint.strip().splitlines()) == 1
    assert not list(tmp_path.iterdir())


def test_the_areas_of_any_moment_asked_for_stand_among_the_others(told):
    asked, far = "2027-05-18T15:17:00Z", "2027-05-22T06:00:00Z"
    sights = told("--at", AT, "--areas-at", asked, "--areas-at", far)["sights"]
    moments = [sight["at_utc"] for sight in sights]
    assert moments == sorted(moments) and {asked, far} <= set(moments) and "2027-05-20T12:30:00Z" in moments
    area_km2 = {sight["at_utc"]: sight["area_km2"]["0.9"] for sight in sights}
    assert area_km2["2027-05-18T13:30:00Z"] < area_km2[asked] < area_km2["2027-05-18T15:30:00Z"] < area_km2[far]


@pytest.mark.parametrize("words", [("--seed", "-1"), ("--hours", "0"), ("--hours", "241"), ("--hours", "many"), ("--boat-kn", "0"),
                                   ("--boat-kn", "nan"), ("--eye-m", "0.4"), ("--eye-m", "61")])
def test_a_number_out_of_range_is_refused_with_the_range(ask, words, tmp_path):
    status, out, complaint = ask("--at", AT, "--out", "found", *words)
    assert status == 2 and out == "" and words[0] in complaint
    assert not list(tmp_path.iterdir())


def test_a_search_longer_than_the_wind_file_is_refused_with_both_ends(ask, tmp_path):
    name = wind_rows(tmp_path / "wind.csv", 10)
    status, _out, complaint = ask("--at", AT, "--wind", name, "--hours", "5")
    assert status == 2 and len(complaint.strip().splitlines()) == 1
    assert ("wind.csv ends at 2027-05-18 15:30Z, and a search of 5 h at 2027-05-18 17:30Z: get a longer file, or give"
            " fewer hours (--hours)") in complaint


@pytest.mark.parametrize("points, said", [
    ([(46.1, -28.4, 5.3), (46.11, -28.4, 5.9)], "has a gap of 36 min from 2027-05-18 11:48Z to 2027-05-18 12:24Z"),
    ([(46.1, -28.4, -0.5), (46.101, -28.4, -0.4)], "before the splash at 2027-05-18 06:30Z"),
])
def test_a_track_that_cannot_be_used_is_refused(ask, tmp_path, points, said):
    name = gpx(tmp_path / "boat.gpx", [(north, east, SPLASH + timedelta(hours=at)) for north, east, at in points])
    status, _out, complaint = ask("--at", AT, "--not-seen", name, "--out", "found")
    assert status == 2 and said in complaint and len(complaint.strip().splitlines()) == 1
    assert not (tmp_path / "found").exists()


def test_a_log_of_another_lander_or_program_is_refused(ask, tmp_path):
    up = SPLASH + timedelta(hours=5.4)
    name = report_log(tmp_path / "heard.log", (up, {}))
    status, _out, complaint = ask("--at", AT, "--heard", name, "--lander", "BEEF")
    assert status == 2 and "has no report of lander BEEF between the splash" in complaint
    name = report_log(tmp_path / "two.log", (up, {}), (up, {"lander": 0xBEEF}))
    status, _out, complaint = ask("--at", AT, "--heard", name)
    assert status == 2 and "has reports of A5F9 and BEEF: name yours by --lander" in complaint
    (tmp_path / "other.log").write_text("boot ok\nlistening\n")
    status, _out, complaint = ask("--at", AT, "--heard", "other.log")
    assert status == 2 and "line 1 of the log other.log is none of this tool's" in complaint


def test_a_folder_with_foreign_files_is_not_written_over(ask, tmp_path):
    (tmp_path / "found").mkdir()
    (tmp_path / "found" / "search.html").mkdir()
    status, _out, complaint = ask("--at", AT, "--out", "found")
    assert status == 2 and len(complaint.strip().splitlines()) == 1
    assert [path.name for path in (tmp_path / "found").iterdir()] == ["search.html"]


def test_a_track_of_a_search_that_is_not_over_is_refused(ask, tmp_path):
    name = gpx(tmp_path / "later.gpx", [(46.1, -28.4, SPLASH + timedelta(hours=6.5)), (46.1, -28.4, SPLASH + timedelta(hours=6.6))])
    status, _out, complaint = ask("--at", AT, "--not-seen", name)
    assert status == 2 and "later.gpx ends at 2027-05-18T13:06:00Z, after now, 2027-05-18T12:30:00Z" in complaint


# --- three dives that are over ----------------------------------------------------------------------------------------


def looked_at(folder, name):
    return json.loads((folder / name / "search.json").read_text())


def test_after_a_planned_surfacing_it_says_where_to_go_first_and_writes_what_instruments_take(ask, tmp_path):
    status, out, _complaint = ask("--at", "2027-05-18T12:00Z", "--hours", "2", "--boat", BOAT, "--out", "found")
    assert status == 0
    assert re.fullmatch(r"GO TO 46°\S+ 028°\S+W BY 18 MAY 12:\d\dZ", out.splitlines()[2])
    assert re.fullmatch(r"Go to 46°\S+ 028°\S+W by 18 May 12:\d\dZ", out.splitlines()[-1])
    assert max(map(len, out.splitlines())) <= 80
    assert {path.name for path in (tmp_path / "found").iterdir()} == FILES
    account = looked_at(tmp_path, "found")
    assert account["at_utc"] == "2027-05-18T12:00:00Z" and len(account["sights"]) >= 7
    assert account["message"] == (tmp_path / "found" / "message.txt").read_text().strip()
    assert chances(account)["timed"] > 0.9
    # read back by readers of others
    route, = gpxpy.parse((tmp_path / "found" / "search.gpx").read_text()).routes[:1]
    assert (route.points[0].latitude, route.points[0].longitude) == pytest.approx(
        (account["go_to"]["latitude_deg"], account["go_to"]["longitude_deg"]), abs=1e-6)
    assert geojson.loads((tmp_path / "found" / "search.geojson").read_text()).is_valid
    assert fastkml.kml.KML.from_string((tmp_path / "found" / "search.kml").read_bytes()).features


def test_after_a_missed_one_the_backup_and_later_ways_are_what_is_left(told, tmp_path):
    account = told("--at", "2027-05-18T13:30Z", "--down-at", "2027-05-18T11:50Z", "--boat", BOAT, "--hours", "3")
    now = chances(account)
    assert now["timed"] == now["early"] == now["backup"] == 0
    assert sum(now[key] for key in ("last_attempt", "latest", "second")) > 0.3
    assert account["go_to"] and account["sights"][0]["area_km2"]["0.9"] > 0
    assert " At 13:30 UTC on 18 May 2027 near " in account["message"], "others look from now on"


def test_two_days_after_the_corroding_link_it_says_that_little_is_to_be_gained_and_what_helps_more(ask, told, tmp_path):
    words = ("--at", "2027-05-22T06:00Z", "--down-at", "2027-05-19T12:30Z")
    status, out, _complaint = ask(*words, "--out", "found")
    assert status == 0 and "LITTLE TO GAIN: A CHANCE OF UNDER 1 % IN 6 H" in out
    flat = " ".join(out.split())
    assert "for an even chance this boat would search about" in flat and "give the message to vessels in these waters" in flat
    assert "its lamp and its radio still have charge with a chance of 0 %: look for its floats, by day" in flat
    account = looked_at(tmp_path, "found")
    assert set(key for key, chance in chances(account).items() if chance > 0) == {"passive", "stays_down"}
    assert account["sights"][0]["radius_m"] > 20_000 and "within 3" in account["message"]
    assert "Its lamp is probably dark by now" in account["message"] and "one flash" not in account["message"]
    assert any(feature["geometry"]["type"] == "MultiLineString" for feature in account["map"]["features"])
    assert {path.name for path in (tmp_path / "found").iterdir()} == FILES


def test_a_boat_that_is_too_far_away_is_told_how_far_and_gets_the_areas_all_the_same(ask, tmp_path):
    status, out, _complaint = ask("--at", AT, "--boat", "30 00 N 028 24 W", "--hours", "3", "--out", "found")
    flat = " ".join(out.split())
    assert status == 0 and "OUT OF REACH" in out and "h away at 6 kn: give more hours than 3 (--hours)" in flat
    account = looked_at(tmp_path, "found")
    assert account["go_to"] is None and account["sights"][0]["area_km2"]["0.9"] > 0


def test_before_anything_is_up_it_says_until_when_to_wait(ask, tmp_path):
    rows = wind_rows(tmp_path / "wind.csv", 4)
    status, out, _complaint = ask("--at", "2027-05-18T06:31Z", "--hours", "0.2", "--wind", rows)
    assert status == 0 and "WAIT UNTIL 18 MAY" in out and "nothing can be afloat" in " ".join(out.split()).lower()
    assert re.search(r"^18 May 06:31Z +0 % +none *$", out, re.MULTILINE), "nothing is within metres of no place"


def test_a_lander_that_was_below_after_every_way_home_stays_down_where_it_landed(ask):
    status, out, _complaint = ask("--at", "2027-05-30T12:00Z", "--down-at", "2027-05-30T11:00Z")
    assert status == 0 and "IT STAYS DOWN" in out and "it lies on the seabed near 46°" in " ".join(out.split())


# --- what is known changes the answer ---------------------------------------------------------------------------------


def test_a_report_puts_the_areas_where_it_came_from_and_tells_how_long_it_calls(told, tmp_path):
    name = report_log(tmp_path / "heard.log", (SPLASH + timedelta(hours=5.5), {}))
    account = told("--at", AT, "--heard", name)
    assert chances(account)["timed"] == pytest.approx(1.0)
    place = next(feature for feature in account["map"]["features"] if feature["geometry"]["type"] == "MultiPolygon")
    inside = place["geometry"]["coordinates"][0][0][0]
    assert inside == pytest.approx([-28.3, 46.2], abs=0.05)
    assert any("still have charge with a chance of 100 %" in sentence for sentence in account["reasons"])
    later = told("--at", "2027-05-22T12:30Z", "--heard", name)
    assert any("still have charge with a chance of 0 %" in sentence for sentence in later["reasons"])
    assert later["sights"][0]["area_km2"]["0.9"] > 100 * account["sights"][0]["area_km2"]["0.9"]


def test_silence_makes_the_ways_without_a_beacon_likelier(told):
    accounts = [told("--at", AT, *words) for words in ((), ("--not-heard-until", AT))]
    before, after = map(chances, accounts)
    assert any(note.startswith("Who listened is taken to have been in range, 1.0 NM") for note in accounts[1]["assumed"])
    assert after["timed"] < before["timed"]
    # Bayes by hand: each way that calls keeps a tenth, those that are below or dark keep all
    assert after["second"] / before["second"] == pytest.approx(after["stays_down"] / before["stays_down"], rel=1e-6)
    assert after["timed"] / after["stays_down"] == pytest.approx(0.1 * before["timed"] / before["stays_down"], rel=0.01)


def test_a_track_along_which_nothing_was_seen_moves_the_chance_elsewhere(told, tmp_path):
    before = told("--at", "2027-05-18T12:00Z")
    middle = before["go_to"]["latitude_deg"], before["go_to"]["longitude_deg"]
    begin = SPLASH + timedelta(hours=5.5)
    points = [(middle[0] + 0.002 * (row - 5), middle[1] + 0.006 * end, begin + timedelta(minutes=5 * (2 * row + side)))
              for row in range(11) for side, end in enumerate((-1, 1) if row % 2 == 0 else (1, -1))]
    name = gpx(tmp_path / "boat.gpx", points)
    after = told("--at", "2027-05-18T14:00Z", "--not-seen", name)
    unsearched = told("--at", "2027-05-18T14:00Z")
    assert chances(after)["timed"] < chances(unsearched)["timed"] and chances(after)["stays_down"] > chances(unsearched)["stays_down"]


def test_a_wind_file_carries_the_areas_downwind(told, tmp_path):
    name = wind_rows(tmp_path / "wind.csv", 72)
    plan_wind, from_north = (told("--at", AT, *words)["sights"][0] for words in ((), ("--wind", name)))
    assert abs(plan_wind["drift_toward_deg"] - 70) < 20
    assert abs(from_north["drift_toward_deg"] - 180) < 20 and from_north["drift_kn"] > plan_wind["drift_kn"]


@pytest.fixture(scope="module")
def backup_dive():
    return Dive(PLAN, [parse("jammed:channel=primary")], 3).run()


@pytest.fixture
def journal(backup_dive, tmp_path):
    """The journal of a dive whose primary release jammed, in the folder `dive`."""
    (tmp_path / "dive").mkdir()
    (tmp_path / "dive" / "journal.bin").write_bytes(backup_dive.journal)
    return backup_dive


def test_the_journal_of_a_rehearsal_tells_when_and_by_which_way_it_came_up(told, journal):
    dive = journal
    account = told("--at", AT, "--journal", "dive")
    assert chances(account)["backup"] == pytest.approx(1.0)
    up = dive.evidence.surfaced_s - dive.evidence.splash_s
    likely = next(home["likely_utc"] for home in account["ways"] if home["key"] == "backup")
    assert abs(datetime.fromisoformat(likely) - SPLASH - timedelta(seconds=up)) < timedelta(seconds=30)


def test_now_is_never_before_the_last_word_of_the_journal(ask, journal):
    status, out, complaint = ask("--at", "2027-05-18T08:00Z", "--journal", "dive")
    assert status == 2 and out == "" and len(complaint.strip().splitlines()) == 1
    assert "--at 2027-05-18T08:00:00Z is before the journal's last word, at 2027-05-18T11:4" in complaint
    last = SPLASH + timedelta(hours=9)
    assert command._now(PLAN, None, last) == last


def test_a_site_at_the_antimeridian_is_searched_like_any_other(ask, tmp_path):
    text = PLAN.source_text.replace("longitude_deg = -28.40", "longitude_deg = 179.98")
    (tmp_path / "there.toml").write_text(text)
    status, out, complaint = ask("there.toml", "--at", AT, "--boat", "46 06.5 N 179 59.0 E", "--out", "found")
    assert status == 0, complaint
    account = looked_at(tmp_path, "found")
    longitudes = [position for feature in account["map"]["features"] for position in _flat(feature["geometry"]["coordinates"])]
    assert min(longitudes) < -179 and max(longitudes) > 179 and all(abs(one) > 170 for one in longitudes)


def _flat(coordinates):
    if isinstance(coordinates[0], float | int):
        return [coordinates[0]]
    return [one for inner in coordinates for one in _flat(inner)]
