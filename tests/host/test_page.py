"""The dive page: what a reader sees of a dive, and that nothing in it can harm or reach out.

The dives are made up. Outside sources are named beside the checks that use them; the others are checks of the
page against its own input.
"""

import json
import math
import re
from datetime import UTC, datetime
from functools import cache
from itertools import combinations

import numpy as np
import pytest

from tumblehome.page import charts, palette, parts
from tumblehome.page.clock import DiveClock
from tumblehome.page.dive import dive_page
from tumblehome.wording import elapsed

from .pages_for_tests import NASTY, Reader, luminance, until

LAW_NAMES = ("Home", "Time never restarts", "Not on deck", "Never give up", "Shed before firing", "Enough left",
             "Water inside: release now", "Seen at the surface", "Footage", "Lights off in air", "Deaf at sea",
             "Nothing unexplained")
BOTTOM_M = 430.0


# ---------------------------------------------------------------------------------------------- made-up dives

def track(legs, step_s=10.0):
    """Time and depth through (time_s, depth_m) corners."""
    corners = np.array(legs, dtype=float)
    times = np.arange(corners[0, 0], corners[-1, 0] + step_s, step_s)
    return times, np.interp(times, corners[:, 0], corners[:, 1])


def series_of(times, depths, busy):
    """All series of a run; `busy` holds (from_s, to_s, amps) for what draws current."""
    wave = 0.4 * np.sin(times / 3.0) * (depths < 3)
    amps = np.full(len(times), 0.04)
    for start, end, draw in busy:
        amps[(times >= start) & (times < end)] += draw
    used = np.cumsum(amps) * np.gradient(times) / 3600 / 20.0
    volts = 16.5 - 2.6 * used - 0.14 * amps
    water = np.interp(depths, [0, 60, 200, 500], [15.2, 14.1, 11.8, 9.6])
    warm = np.convolve(amps > 0.5, np.ones(120) / 120, mode="same")
    return {"time_s": times.tolist(), "depth_m": np.maximum(0, depths + wave).round(2).tolist(),
            "sensed_depth_m": (depths + wave + 0.3).round(2).tolist(), "supply_v": volts.round(3).tolist(),
            "current_a": amps.round(3).tolist(), "camera_c": (water + 3 + 24 * warm).round(2).tolist(),
            "housing_c": (water + 1 + 9 * warm).round(2).tolist(), "water_c": water.round(2).tolist()}


def laws(**verdicts):
    """All twelve laws, kept unless `law_8=("broken", "sentence")` says otherwise."""
    listed = []
    for number, name in enumerate(LAW_NAMES, 1):
        verdict, sentence = verdicts.get(f"law_{number}", ("kept", f"Nothing in this run went against law {number}."))
        listed.append({"number": number, "name": name, "verdict": verdict, "sentence": sentence})
    return listed


def spans_of(*corners):
    """Spans from (state, from_s) pairs, the last one (None, end_s)."""
    return [{"state": state, "from_s": start, "to_s": end}
            for (state, start), (_next, end) in zip(corners[:-1], corners[1:], strict=True)]


def entries_of(spans, splash_m=0.0):
    """A timeline with one entry for each change of state."""
    return [{"time_s": span["from_s"], "kind": "state", "state": span["state"], "depth_m": splash_m,
             "what": f"{before['state']} -> {span['state']}", "reason": "the table says so"}
            for before, span in zip(spans[:-1], spans[1:], strict=True)]


def dive_of(name, outcome, series, spans, **more):
    """The content of a dive.json."""
    return {
        "tool": "tumblehome", "version": "0.1.0", "seed": 7, "body": "cpython", "plan_name": name,
        "plan_toml": '[dive]\nname = "Half-Moon Shelf"\n\n[site]\ndepth_m = 430  # invented & flat\n',
        "command": "tumblehome rehearse --seed 7 --fault wire-jammed", "splash_utc": "2027-05-18T06:30:00Z",
        "outcome": outcome, "series": series, "spans": spans, "timeline": entries_of(spans), "attempts": [],
        "faults": [], "laws": laws(), "figures": FIGURES,
        "cautions": ["Simulation lowers risk and proves nothing about hardware that was not tested.",
                     "Lithium packs inside sealed housings: a flooded or gassing housing can open with force."]} | more


FIGURES = [
    {"name": "Descent rate", "text": "0.71 m/s", "note": "terminal, mean over the descent"},
    {"name": "Ascent rate", "text": "0.83 m/s", "note": "mean from the release to the surface"},
    {"name": "Net buoyancy without ballast", "text": "+74 N", "note": "at the bottom"},
    {"name": "Filmed at the bottom", "text": "4:46:10", "note": "99.1 % of the planned bottom time"},
    {"name": "Charge used", "text": "7.9 Ah of 16.8 Ah", "note": "cold and aged"},
    {"name": "Lowest supply", "text": "14.92 V", "note": "while the wire burned"},
    {"name": "Hottest camera", "text": "38.2 °C", "note": ""},
]


def good_dive():
    """All went to plan: ten hours, one attempt, the primary release."""
    times, depths = track([(0, 0), (600, 0), (1206, BOTTOM_M), (18780, BOTTOM_M), (19298, 0), (36000, 0)])
    spans = spans_of(("safe", 0), ("armed", 120), ("descend", 605), ("record", 1240), ("release", 18605),
                     ("ascend", 18800), ("surface", 19300), (None, 36000))
    attempt = {"from_s": 18612.0, "to_s": 18786.0, "channel": "primary", "drive_pct": 100, "end": "a rise was seen"}
    sentence = "At the surface 5 h 12 min after the splash, freed by the primary release."
    outcome = {"home": True, "within_laws": True, "path": "primary", "sentence": sentence, "surfaced_s": 19298.0,
               "splash_s": 600.0, "end_s": 36000.0}
    dive = dive_of("Half-Moon Shelf, first light (invented)", outcome,
                   series_of(times, depths, [(605, 18605, 1.4), (18612, 18786, 1.0), (19300, 36000, 0.095)]), spans,
                   attempts=[attempt])
    dive["timeline"].insert(4, {"time_s": 18612.0, "kind": "attempt", "state": "release", "depth_m": 430.0,
                                "what": "primary, 100 %", "reason": "first of the turn"})
    return dive


def troubled_dive():
    """A jammed wire, resets at each attempt, a dead strobe: four attempts, home by the backup, law 8 broken."""
    times, depths = track([(0, 0), (600, 0), (1206, BOTTOM_M), (21150, BOTTOM_M), (21670, 0), (40000, 0)])
    corners = [("armed", 0), ("descend", 605), ("record", 1240), ("release", 18605), ("off", 18640), ("release", 18643),
               ("off", 18700), ("backup", 18703), ("ascend", 21160), ("surface", 22500), (None, 40000)]
    spans = spans_of(*corners)
    attempts = [
        {"from_s": 18610.0, "to_s": 18640.0, "channel": "primary", "drive_pct": 100, "end": "the controller reset"},
        {"from_s": 18680.0, "to_s": 18700.0, "channel": "primary", "drive_pct": 60, "end": "the controller reset"},
        {"from_s": 18720.0, "to_s": 18732.0, "channel": "backup", "drive_pct": 100, "end": "time is up"},
        {"from_s": 21130.0, "to_s": 21142.0, "channel": "backup", "drive_pct": 100, "end": "a rise was seen"}]
    faults = [
        {"name": "wire-jammed", "from_s": 0.0, "to_s": None,
         "what": "the wire is bridged: current flows, nothing opens"},
        {"name": "loose-connector", "from_s": 18600.0, "to_s": 18760.0,
         "what": "the pack drops out above 0.9 A for half a second"},
        {"name": "strobe-dead", "from_s": 21600.0, "to_s": None, "what": "the lamp stays dark"},
        {"name": "pressure-frozen", "from_s": 9000.0, "to_s": 12000.0, "what": "the reading stands still"}]
    sentence = "At the surface 5 h 51 min after the splash, freed by the backup release at the fourth attempt."
    outcome = {"home": True, "within_laws": False, "path": "backup", "sentence": sentence, "surfaced_s": 21670.0,
               "splash_s": 600.0, "end_s": 40000.0}
    late = "The beacon came on 14 min after surfacing; at most 60 s are allowed."
    series = series_of(times, depths, [(605, 18605, 1.4), (18610, 18640, 1.0), (18680, 18700, 0.6),
                                       (18720, 18732, 0.9), (21130, 21142, 0.9), (22500, 40000, 0.035)])
    for at in range(1864, 1866):
        for key in ("sensed_depth_m", "supply_v", "current_a"):
            series[key][at] = None
    dive = dive_of("Half-Moon Shelf with everything against it (invented)", outcome, series, spans, attempts=attempts,
                   faults=faults,
                   laws=laws(law_8=("broken", late),
                             law_9=("excused", "The camera had no power for 3 min; the rest was filmed.")))
    dive["timeline"] += [
        {"time_s": 18640.0, "kind": "reset", "state": "off", "depth_m": 430.0, "what": "brownout",
         "reason": "supply 6.41 V, below 6.50 V"},
        {"time_s": 18700.0, "kind": "reset", "state": "off", "depth_m": 430.0, "what": "brownout",
         "reason": "supply 6.38 V, below 6.50 V"},
        {"time_s": 18600.0, "kind": "fault", "state": "record", "depth_m": 430.0, "what": "loose-connector begins",
         "reason": "put in by the rehearsal"},
        {"time_s": 22500.0, "kind": "event", "state": "surface", "depth_m": None, "what": "beacon on",
         "reason": "release + slowest ascent + margin"}]
    dive["timeline"].sort(key=lambda entry: entry["time_s"])
    return dive


def lost_dive():
    """Both releases jammed and no passive link: it never came up."""
    times, depths = track([(0, 0), (600, 0), (1206, BOTTOM_M), (60000, BOTTOM_M)])
    starts = [18610 + 60 * (2 ** number - 1) for number in range(6)] + [22400 + 1800 * number for number in range(20)]
    attempts = [{"from_s": float(start), "to_s": float(start + (240 if number % 2 == 0 else 12)), "drive_pct": 100,
                 "channel": "primary" if number % 2 == 0 else "backup", "end": "time is up"}
                for number, start in enumerate(starts)]
    spans = spans_of(("armed", 0), ("descend", 605), ("record", 1240), ("release", 18605), ("backup", 20610),
                     ("off", 58500), (None, 60000))
    outcome = {"home": False, "within_laws": True, "path": "none", "splash_s": 600.0, "end_s": 60000.0,
               "surfaced_s": None,
               "sentence": "Still on the seabed when the battery died, 16 h 5 min after the splash; nothing freed it."}
    jams = [{"name": name, "from_s": 0.0, "to_s": None, "what": "nothing opens"}
            for name in ("wire-jammed", "latch-jammed", "link-late")]
    return dive_of("Half-Moon Shelf, both releases jammed (invented)", outcome,
                   series_of(times, depths, [(605, 18605, 1.4)]), spans, attempts=attempts, faults=jams)


def bare_dive():
    """Every list empty."""
    outcome = {"home": False, "within_laws": True, "path": "none", "sentence": "Nothing happened.",
               "surfaced_s": None, "splash_s": None, "end_s": 0.0}
    return dive_of("empty", outcome, {}, [], timeline=[], laws=[], figures=[], cautions=[])


DIVES = {"good": good_dive, "troubled": troubled_dive, "lost": lost_dive, "bare": bare_dive}


# ---------------------------------------------------------------------------------------------- reading a page

@cache
def page_of(make):
    """The page of a made-up dive, drawn once for all tests that only read it."""
    return dive_page(make())


@pytest.fixture(scope="module")
def pages():
    """Each made-up dive, read from its page."""
    return {name: Reader(page_of(make)) for name, make in DIVES.items()}


def rows_with(page, words):
    """The texts of all table rows of a page that hold these words."""
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", page, flags=re.S)
    said = [" ".join(re.sub(r"<[^>]+>", " ", row).split()) for row in rows]
    return [row for row in said if words in row]


# ---------------------------------------------------------------------------------------------- the verdict

def test_the_first_words_after_the_title_are_whether_it_came_home(pages):
    firsts = {name: page.words[page.words.index("Rehearsal of a dive") + 3] for name, page in pages.items()}
    assert firsts == {"good": "Home, within the laws", "troubled": "Home, but 1 law broken", "lost": "Not home",
                      "bare": "Not home"}


def test_the_verdict_says_by_which_path_and_when(pages):
    assert "Freed by The primary release At the surface 5:11:38 after the splash Surfaced, UTC 2027-05-18 11:41:38" \
        in pages["good"].text
    assert "Freed by The backup release" in pages["troubled"].text
    assert "Never seen there" in pages["lost"].text


def test_a_broken_law_stands_in_the_verdict_before_the_charts(pages):
    said = pages["troubled"].text
    alarm = said.index("Law 8 broken, Seen at the surface: The beacon came on 14 min after surfacing")
    assert alarm < said.index("What happened")


def test_the_laws_outvote_an_outcome_that_calls_itself_within_them():
    dive = good_dive() | {"laws": laws(law_3=("broken", "A release fired on deck."))}
    assert "Home, but 1 law broken" in Reader(dive_page(dive)).text


def test_every_law_is_there_with_its_verdict_in_words():
    page = page_of(troubled_dive)
    for law in troubled_dive()["laws"]:
        row = f"{law['number']} {law['name']} {law['verdict']} {law['sentence']}"
        assert rows_with(page, row) == [row]


def test_a_count_of_the_laws_names_each_kind_of_verdict(pages):
    assert "1 broken, 1 excused, 10 kept" in pages["troubled"].text


# ---------------------------------------------------------------------------------------------- times

@pytest.mark.parametrize(("seconds", "shown"), [
    (0, "0:00:00"), (0.4, "0:00:00"), (0.5, "0:00:01"), (59.6, "0:01:00"), (3599.6, "1:00:00"), (-0.4, "0:00:00"),
    (-600, "-0:10:00"), (90061, "25:01:01"), (359999, "99:59:59")])
def test_a_time_is_hours_minutes_seconds_since_the_splash(seconds, shown):
    assert elapsed(seconds) == shown


@pytest.mark.published(
    "library", tolerance="exact",
    source="Python's datetime, proleptic Gregorian calendar of ISO 8601")
def test_utc_follows_the_calendar_of_the_standard_library():
    # Source: Python's datetime, proleptic Gregorian calendar of ISO 8601. 2028 is a leap year.
    clock = DiveClock(600.0, "2028-02-28T23:59:00Z")
    for since in (-600.0, 0.0, 59.0, 60.0, 86400.0, 2 * 86400.0 + 1):
        expected = datetime.fromtimestamp(datetime(2028, 2, 28, 23, 59, tzinfo=UTC).timestamp() + since, UTC)
        assert clock.utc(600.0 + since) == expected.strftime("%Y-%m-%d %H:%M:%S")


def test_a_splash_given_with_an_offset_is_shown_in_utc():
    assert DiveClock(0.0, "2027-05-18T08:30:00+02:00").utc(0.0) == "2027-05-18 06:30:00"


def test_the_timeline_counts_from_the_splash_and_gives_utc():
    page = page_of(troubled_dive)
    assert rows_with(page, "loose-connector begins") == [
        "5:00:00 2027-05-18 11:30:00 record 430.0 fault loose-connector begins put in by the rehearsal"]
    assert rows_with(page, "beacon on release") == [
        "6:05:00 2027-05-18 12:35:00 surface beacon on release + slowest ascent + margin"]


def test_what_came_before_the_splash_has_a_minus_sign():
    page = page_of(good_dive)
    assert rows_with(page, "safe -&gt; armed") == [
        "-0:08:00 2027-05-18 06:22:00 armed 0.0 safe -&gt; armed the table says so"]


def test_a_dive_of_unknown_date_has_no_utc():
    page = dive_page(troubled_dive() | {"splash_utc": None})
    assert "UTC" not in Reader(page).text
    assert Reader(page).islands["time-facts"].endswith('"utc":null}')
    assert rows_with(page, "loose-connector begins") == [
        "5:00:00 record 430.0 fault loose-connector begins put in by the rehearsal"]


def test_a_lander_that_never_got_wet_counts_from_the_start_of_the_run(pages):
    assert "Date of the splash not known" in pages["bare"].text
    assert DiveClock(None).both(61.0) == "0:01:01 after the start of the run"


# ---------------------------------------------------------------------------------------------- charts

def test_every_chart_on_the_time_axis_starts_with_the_same_window(pages):
    ranges = [pages["troubled"].chart(name)["layout"]["xaxis"]["range"] for name in ("depth", "volts", "amps", "heat")]
    assert all(each == ranges[0] for each in ranges)
    assert ranges[0][0] < -600 and ranges[0][1] > 39400


def test_the_depth_axis_points_down(pages):
    deep, shallow = pages["good"].chart("depth")["layout"]["yaxis"]["range"]
    assert deep > BOTTOM_M > 0 > shallow


def test_attempts_resets_faults_and_surfacing_are_marked_where_they_happened(pages):
    traces = {}
    for trace in pages["troubled"].chart("depth")["data"]:
        if trace.get("mode") == "markers" and trace["yaxis"] == "y":
            traces[trace["name"]] = trace
    assert traces["attempt, primary"]["x"] == [18010, 18080]
    assert traces["attempt, backup"]["x"] == [18120, 20530]
    assert traces["attempt, backup"]["y"] == [430, 430]
    assert traces["controller reset"]["x"] == [18040, 18100]
    assert traces["fault begins"]["x"] == [-600, 18000, 21000, 8400]
    assert traces["surfaced"]["x"] == [21070]


def test_a_fault_without_end_is_drawn_to_the_end_of_the_run(pages):
    labels = pages["troubled"].chart("depth")["layout"]["meta"]["labels"]
    jammed = next(label for label in labels if label["text"] == "wire-jammed")
    assert (jammed["from"], jammed["to"]) == (-600, 39400)


def test_every_state_of_the_run_is_named_in_the_key_and_on_the_band(pages):
    labels = {label["text"] for label in pages["troubled"].chart("depth")["layout"]["meta"]["labels"]}
    for state in {span["state"] for span in troubled_dive()["spans"]}:
        assert state in pages["troubled"].words
        assert state in labels


def test_a_state_this_page_does_not_know_keeps_its_word():
    dive = good_dive()
    dive["spans"][3]["state"] = "towed"
    assert "towed" in Reader(dive_page(dive)).words


def test_lines_of_one_chart_differ_by_dash_and_not_by_colour_alone(pages):
    for name in ("depth", "heat"):
        traces = pages["troubled"].chart(name)["data"]
        dashes = [trace["line"]["dash"] for trace in traces if trace.get("mode") == "lines"]
        assert len(dashes) == len(set(dashes)) > 1


def test_a_reading_that_is_missing_is_a_gap_and_no_zero(pages):
    volts = pages["troubled"].chart("volts")["data"][0]
    assert None in volts["y"] and 0 not in volts["y"]
    assert volts["connectgaps"] is False


def test_a_dive_without_a_series_says_so_and_shows_the_rest():
    dive = good_dive()
    dive["series"]["camera_c"] = [None] * len(dive["series"]["time_s"])
    del dive["series"]["sensed_depth_m"]
    dive["series"]["current_a"] = []
    page = Reader(dive_page(dive))
    assert "No readings of camera." in page.text
    assert "Battery current, A No readings of this kind in the run." in page.text
    assert [trace["name"] for trace in page.chart("heat")["data"]] == ["housing", "water"]
    assert [trace["name"] for trace in page.chart("depth")["data"] if trace.get("mode") == "lines"] == ["depth"]


def test_an_empty_dive_still_makes_a_page(pages):
    said = pages["bare"].text
    for sentence in ("No readings were kept of this run.", "No law was judged in this run.",
                     "No release was attempted.", "No fault was put into this dive.", "The journal holds no entry."):
        assert sentence in said


def test_a_chart_is_summed_up_in_words_for_who_cannot_see_it(pages):
    summary = pages["troubled"].text
    assert "Deepest 430.0 m at 0:10:10." in summary
    assert "4 release attempts, 2 controller resets, 4 faults. Surfaced at 5:51:10." in summary
    drawn = [attributes for attributes in pages["troubled"].named("div") if attributes.get("role") == "img"]
    assert len(drawn) == 4
    assert all(len(attributes["aria-label"]) > 40 for attributes in drawn)


# ---------------------------------------------------------------------------------------------- long series

def test_a_long_series_is_thinned_and_keeps_its_extremes_and_ends():
    count = 100_000
    values = np.random.default_rng(5).normal(size=count)
    values[61_803], values[31_415] = 99.0, -99.0
    xs, ys = charts.thin(np.arange(count, dtype=float), values)
    assert len(xs) == len(ys) <= charts.POINTS_MAX
    assert (xs[0], xs[-1]) == (0, count - 1)
    assert ys[xs == 61_803] == 99.0
    assert ys[xs == 31_415] == -99.0
    assert np.all(np.diff(xs) > 0)
    assert np.array_equal(ys, values[xs.astype(int)])


def test_thinning_loses_no_spike_wider_than_a_pixel_of_its_stretch():
    count = 50_000
    rng = np.random.default_rng(11)
    for at in rng.integers(0, count, size=40):
        values = np.zeros(count)
        values[at] = -1.0
        assert -1.0 in charts.thin(np.arange(count, dtype=float), values)[1]


def test_thinning_keeps_a_gap_a_gap():
    values = np.ones(90_000)
    values[40_000:50_000] = np.nan
    xs, ys = charts.thin(np.arange(90_000, dtype=float), values)
    inside = (xs > 40_100) & (xs < 49_900)
    assert inside.any() and np.isnan(ys[inside]).all()
    assert len(ys) <= charts.POINTS_MAX


def test_a_short_series_is_left_alone():
    xs, ys = charts.thin(np.arange(10.0), np.arange(10.0))
    assert xs.tolist() == ys.tolist() == list(range(10))


def test_a_page_of_a_hundred_thousand_readings_holds_no_more_than_it_can_draw():
    dive = good_dive()
    count = 100_000
    times = np.linspace(0, 36000, count)
    dive["series"] = series_of(times, np.interp(times, [600, 1206, 18780, 19298], [0, BOTTOM_M, BOTTOM_M, 0]), [])
    dive["series"]["depth_m"][54_321] = 431.75
    page = Reader(dive_page(dive))
    for name in ("depth", "volts", "amps", "heat"):
        for trace in page.chart(name)["data"]:
            assert len(trace["x"]) <= charts.POINTS_MAX
    depth = next(trace for trace in page.chart("depth")["data"] if trace["name"] == "depth")
    assert max(depth["y"]) == 431.75
    assert "Deepest 431.8 m" in page.text


# ---------------------------------------------------------------------------------------------- bad input

def nasty_dive():
    """Every string of the dive is an attempt to break out of the page."""
    def spoil(value):
        if isinstance(value, dict):
            return {key: entry if key in ("splash_utc", "path", "kind", "channel") else spoil(entry)
                    for key, entry in value.items()}
        if isinstance(value, list):
            return [spoil(entry) for entry in value]
        return NASTY + value if isinstance(value, str) else value
    return spoil(troubled_dive())


def test_a_hostile_string_anywhere_stays_text():
    plain, nasty = Reader(page_of(troubled_dive)), Reader(page_of(nasty_dive))
    assert len(nasty.named("script")) == len(plain.named("script"))
    assert not nasty.named("img")
    assert '<script>alert("x")</script>' in nasty.text
    assert not any(name.startswith("on") for _tag, attributes in nasty.tags for name in attributes)


def test_a_hostile_string_cannot_end_the_json_of_a_chart():
    page = page_of(nasty_dive)
    assert NASTY not in page
    for name in ("depth", "volts", "amps", "heat"):
        assert "<" not in Reader(page).islands[f"{name}-data"]
    words = json.dumps(Reader(page).chart("depth"))
    assert "<script" not in words  # what plotly would read as markup is escaped once more inside the JSON
    assert "&lt;script&gt;" in words


def test_data_for_the_script_cannot_end_its_element_and_comes_back_whole():
    # Source: WHATWG HTML, "Restrictions for contents of script elements": no "<!--", "<script" or "</script" inside.
    data = ["</script>", "<!--", "<SCRIPT>", "a & b", "\u2028", NASTY]
    written = str(parts.island("facts", data))
    assert written.count("<") == 2
    assert json.loads(Reader(written).islands["facts"]) == data


@pytest.mark.parametrize("key", ["outcome", "laws", "series", "command"])
def test_a_dive_with_a_part_missing_is_refused_by_name(key):
    dive = good_dive()
    del dive[key]
    with pytest.raises(ValueError, match=f"no '{key}'"):
        dive_page(dive)


def test_series_of_different_length_are_refused_with_both_lengths():
    dive = good_dive()
    dive["series"]["supply_v"] = dive["series"]["supply_v"][:-3]
    count = len(dive["series"]["time_s"])
    with pytest.raises(ValueError, match=f"supply_v has {count - 3} values and time_s has {count}"):
        dive_page(dive)


def test_a_splash_that_is_no_instant_is_refused_with_its_text():
    with pytest.raises(ValueError, match="splash_utc is 'tuesday'"):
        dive_page(good_dive() | {"splash_utc": "tuesday"})


# ---------------------------------------------------------------------------------------------- one file, for everybody

def test_the_page_asks_for_nothing_from_outside(pages):
    for page in pages.values():
        for tag, attributes in page.tags:
            assert tag not in ("link", "iframe", "object", "embed", "base", "audio", "video")
            assert not {"src", "srcset", "action", "data", "poster"} & set(attributes), (tag, attributes)
            assert attributes.get("href", "#").startswith("#"), "only to its own sections"
        for style in page.styles:
            assert "@import" not in style and "url(" not in style and "//" not in style


def test_the_page_forbids_itself_to_reach_out(pages):
    # Source: W3C Content Security Policy Level 3, directive default-src: 'none' covers every kind of fetch.
    policy = next(meta["content"] for meta in pages["good"].named("meta") if "http-equiv" in meta)
    directives = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert directives["default-src"] == "'none'"
    assert not any(word.startswith(("http", "*", "//")) for value in directives.values() for word in value.split())


def test_a_script_that_would_end_its_own_element_is_refused(monkeypatch):
    monkeypatch.setattr(parts, "get_plotlyjs", lambda: "let a = '</SCRIPT>';")
    with pytest.raises(ValueError, match="would end its element"):
        dive_page(good_dive())


def test_the_palette_is_the_one_of_okabe_and_ito():
    # Source: Okabe and Ito, "Color Universal Design" (2008), the table of RGB values (0-255).
    published = {"BLACK": (0, 0, 0), "ORANGE": (230, 159, 0), "SKY": (86, 180, 233), "GREEN": (0, 158, 115),
                 "YELLOW": (240, 228, 66), "BLUE": (0, 114, 178), "VERMILLION": (213, 94, 0), "PURPLE": (204, 121, 167)}
    for name, channels in published.items():
        assert getattr(palette, name) == "#{:02x}{:02x}{:02x}".format(*channels)


def test_no_two_states_look_alike_without_colour():
    # In print two states must differ in pattern, or in how dark their patch is.
    for one, other in combinations(palette.STATES.values(), 2):
        if one.pattern == other.pattern:
            greys = [luminance(palette.tint(look.colour, 0.4)) for look in (one, other)]
            assert not math.isclose(*greys, abs_tol=0.05), (one, other)


def test_the_plan_the_seed_the_version_and_the_replay_are_on_the_page():
    page = Reader(page_of(good_dive))
    assert "depth_m = 430 # invented & flat" in page.text
    assert "tumblehome rehearse --seed 7 --fault wire-jammed" in page.words
    assert "Seed 7 Version tumblehome 0.1.0 Mission code ran in cpython" in page.text
    assert "Copy the command" in page.words


def test_the_same_dive_gives_the_same_page():
    assert dive_page(troubled_dive()) == page_of(troubled_dive)


# ---------------------------------------------------------------------------------------------- in a browser

RANGE = "document.getElementById('%s')._fullLayout.xaxis.range.map(Number)"
CHARTS = ("depth", "volts", "amps", "heat")


def test_a_browser_without_network_draws_the_charts_and_complains_of_nothing(browser):
    drawn, complaints = browser.opened(page_of(nasty_dive))
    assert complaints == []
    assert 'data-drawn="yes"' in drawn
    assert drawn.count('class="main-svg"') >= 4
    body = re.sub(r"<(script|style)\b.*?</\1>", "", drawn, flags=re.S)
    assert set(re.findall(r"https?://[\w./-]+", body)) <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink",
                                                           "http://www.w3.org/2000/xmlns/"}
    elements = Reader(drawn).tags
    assert not [tag for tag, attributes in elements if tag == "img" or "onerror" in attributes]


def test_in_a_browser_all_charts_zoom_together_and_the_cursor_reads_them(browser):
    def tried(shown):
        def press(words):
            before = shown.evaluate(RANGE % "heat")
            shown.get_by_role("button", name=words, exact=True).click()
            until(shown, "%s[0] !== %f" % (RANGE % "heat", before[0]))
            return [shown.evaluate(RANGE % name) for name in CHARTS]

        whole = shown.evaluate(RANGE % "depth")
        for start, end in (zoomed := press("Release")):
            assert [start, end] == pytest.approx(zoomed[0])
            assert whole[0] < start < 18005 and 20560 < end < whole[1]
        assert press("Later")[0][0] > zoomed[0][0]
        shown.locator("#cursor").fill("18120")
        readout = shown.inner_text("#readout")
        assert readout.startswith("5:02:00 (2027-05-18 11:32:00 UTC): state backup, release attempt 3")
        assert "depth 430.0 m" in readout and "fault wire-jammed" in readout
        shown.evaluate("Plotly.relayout('heat', {'xaxis.range[0]': 100, 'xaxis.range[1]': 5100}).then(() => true)")
        until(shown, "%s[0] === 100" % (RANGE % "depth"))
        for name in CHARTS:
            assert shown.evaluate(RANGE % name) == pytest.approx([100, 5100])
        return whole

    used = browser.use(page_of(troubled_dive), tried)
    assert used.result[0] < -600 and used.result[1] > 39400
    assert used.asked == used.complaints == []
