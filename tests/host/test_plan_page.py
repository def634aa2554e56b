"""The page of a plan: what a reader sees of it, that its pictures hold its numbers, and that it is one safe file.

Chapters are made up by hand, or are those of the sample with some keys changed. Outside sources are named beside the
checks that use them; the others are checks of the page against its own input.
"""

import math
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import combinations, pairwise
from types import SimpleNamespace

import pytest

from seatrial.plan import draft_sample
from seatrial.workings import column, drift, light, motion, pressure, supply, times, warmth, weights
from seatrial.workings.chapter import Chapter, Column, Figure, Table
from seatrial.workings.whole import work_out
from tumblehome.page import charts, palette
from tumblehome.page.pictures import pictures, spending, time_lines
from tumblehome.page.pictures.drawing import span
from tumblehome.page.plan import plan_page
from tumblehome.planning import account_of

from .pages_for_tests import NASTY, Reader, luminance

REAL = {"times": times, "motion": motion, "drift": drift, "supply": supply, "warmth": warmth, "light": light,
        "pressure": pressure, "column": column, "weights": weights}
MINUTE = 60.0


# ---------------------------------------------------------------------------------------------- made-up plans

def plan_with(**keys):
    """The sample, not checked against itself, with keys set: `site__depth_m=500`."""
    def put(section, path, value):
        name, *rest = path
        return section.model_copy(update={name: put(getattr(section, name), rest, value) if rest else value})

    plan = draft_sample()
    for name, value in keys.items():
        plan = put(plan, name.split("__"), value)
    return plan


def worked(plan=None, chapters=(), faults=(), cautions=()):
    """A worked plan by hand."""
    return SimpleNamespace(plan=plan or draft_sample(), chapters=tuple(chapters), faults=tuple(faults),
                           cautions=tuple(cautions), adds_up=not faults)


def told(plan=None):
    return {"tool": "tumblehome", "version": "0.1.0", "plan_toml": (plan or draft_sample()).source_text}


def page_of(made):
    return plan_page(made, told(made.plan))


def really(plan=None, *keys):
    """The real chapters of a plan, all that have pictures or these."""
    plan = plan or draft_sample()
    return worked(plan, [REAL[key].chapter(plan) for key in keys or REAL])


@pytest.fixture(scope="module")
def sample():
    """The page of the sample, read."""
    return Reader(page_of(really()))


MADE_UP = Chapter(
    "made_up", "A chapter of its own",
    figures=(Figure("pull_n", "pull upward", 12.345, "N", 1, "at the seabed", leading=True),
             Figure("never_s", "time that does not exist", None, "s", 0),
             Figure("when_utc", "moment", datetime(2027, 5, 18, 11, 43, 37, tzinfo=UTC))),
    tables=(Table("rows", "Some rows", (Column("name", "name"), Column("kg", "weight, kg", 2)),
                  (("one", 1.005), ("none", None))), Table("empty", "No rows at all", (Column("a", "a"),), ())),
    faults=("site.depth_m is 430; the part holds 400 m: choose another",), cautions=("think again",),
    sources=("a handbook",), limits=("it certifies nothing",))


def chart(html, name):
    return Reader(html).chart(name)


def drawn(chapter, plan=None):
    """The charts of a chapter by name."""
    page = Reader("".join(pictures(chapter, plan or draft_sample())))
    return {name.removesuffix("-data"): page.chart(name.removesuffix("-data")) for name in page.islands}


def bars_of(figure):
    """All lying bars of a chart: (row, start, length), rows as whole numbers."""
    return sorted((round(row - 0.2), start, length) for trace in figure["data"] if trace["type"] == "bar"
                  for row, start, length in zip(trace["y"], trace["base"], trace["x"], strict=True))


# ---------------------------------------------------------------------------------------------- the verdict

def test_the_first_words_after_the_title_are_whether_it_adds_up():
    for faults, words in (((), "Adds up"), (("a is 1: change it",), "Does not add up")):
        page = Reader(page_of(worked(faults=faults)))
        assert page.words[page.words.index("Plan of a dive") + 3] == words


def test_the_number_of_things_to_change_is_counted():
    assert "1 thing to change:" in Reader(page_of(worked(faults=("a is 1: change it",)))).words
    assert "2 things to change:" in Reader(page_of(worked(faults=("a is 1: no", "b is 2: no")))).words


def test_each_fault_stands_whole_in_the_panel_before_everything_else():
    faults = ("a.b is 1; it is 2 too small: make it 3", 'lander.parts "x" rated_m is 400; too deep: choose 500')
    page = Reader(page_of(worked(chapters=[MADE_UP], faults=faults, cautions=("think again",))))
    places = [page.words.index(words) for words in (*faults, "think again", "A chapter of its own")]
    assert places == sorted(places)


def test_what_adds_up_still_proves_nothing_about_hardware():
    assert "It proves nothing about hardware that was not tested." in Reader(page_of(worked())).text


def test_the_panel_holds_when_it_comes_up_and_when_the_boat_must_leave(sample):
    assert "Up by the timed release, likely 18 May 11:4" in sample.text
    assert "Boat must leave 18 May 19:00Z" in sample.text


def test_a_plan_without_a_time_to_leave_does_not_show_one():
    plan = plan_with(dive__must_leave_utc=None)
    page = Reader(page_of(really(plan, "times")))
    assert "Boat must leave" not in page.text.split("Times and order")[0]


# ---------------------------------------------------------------------------------------------- chapters

def test_the_chapters_stand_in_their_order_and_are_led_to_by_name():
    other = Chapter("other", "Another")
    page = Reader(page_of(worked(chapters=[other, MADE_UP])))
    links = [attributes["href"] for attributes in page.named("a")]
    assert links == ["#other", "#made_up"]
    sections = [attributes["id"] for attributes in page.named("section") if "id" in attributes]
    assert sections == ["other", "made_up"]


def test_what_is_wrong_in_a_chapter_stands_there_again():
    page = Reader(page_of(worked(chapters=[MADE_UP], faults=MADE_UP.faults)))
    assert page.words.count(MADE_UP.faults[0]) == 2
    assert page.words[len(page.words) - 1 - page.words[::-1].index(MADE_UP.faults[0]) - 1] == "A chapter of its own"


def test_what_can_hurt_somebody_stands_in_its_chapter_and_is_led_to_from_the_top():
    danger = "a pack may burn: keep off"
    page = Reader(page_of(worked(chapters=[Chapter("calm", "Calm"), replace(MADE_UP, dangers=(danger,))])))
    assert [attributes["href"] for attributes in page.named("a")] == ["#made_up", "#calm", "#made_up"]
    assert page.text.index("can hurt people") < page.text.index("Calm") < page.text.index(f"Danger {danger}")
    assert "hurt" not in Reader(page_of(worked(chapters=[MADE_UP]))).text


def test_a_chapter_without_pictures_shows_figures_tables_limits_and_sources():
    text = Reader(page_of(worked(chapters=[MADE_UP]))).text
    assert "Pull upward 12.3 N at the seabed" in text
    assert "Time that does not exist –" in text and "– s" not in text
    assert "Moment 18 May 11:43Z" in text
    assert "Some rows name weight, kg one 1.00 none –" in text or "Some rows name weight, kg one 1.01 none –" in text
    assert "No rows at all" not in text
    assert "What the numbers do not tell It certifies nothing Sources A handbook" in text


def test_a_leading_figure_is_a_card_and_stands_among_the_others_too():
    text = Reader(page_of(worked(chapters=[MADE_UP]))).text
    assert text.count("12.3 N") == 2 and text.count("11:43Z") == 1


def test_the_plan_as_it_was_written_is_on_the_page(sample):
    assert "# Every key carries its unit." in sample.text
    assert 'name = "Half-Moon Shelf, first light (invented)"' in sample.text


# ---------------------------------------------------------------------------------------------- times

def times_chapter(**series):
    """Two paths home by hand: one by command, one by the link; times in minutes after the splash."""
    at = draft_sample().dive.splash_utc.timestamp()

    def seconds(*minutes):
        return [None if each is None else at + each * MINUTE for each in minutes]

    made = {
        "path_name": ["timed release", "corroding link"], "path_command_s": seconds(300, None),
        "path_freed_s": seconds(302, 1800), "path_early_s": seconds(311, 1810), "path_likely_s": seconds(313, 1812),
        "path_late_s": seconds(317, 1815), "event_name": ["splash", "boat must leave", "pack empty"],
        "event_s": seconds(0, 750, 3000), "light_name": ["daylight", "civil twilight", "night", "daylight"],
        "light_from_s": seconds(-180, 900, 935, 1400), "light_to_s": seconds(900, 935, 1400, 3180)}
    return Chapter("times", "Times", series={**made, **series})


def ms(minutes):
    return (draft_sample().dive.splash_utc + timedelta(minutes=minutes)).timestamp() * 1000


def test_a_path_is_a_bar_from_early_to_late_in_utc():
    # Source: ECMA-262, time values: milliseconds since 1970-01-01 UTC; 2027-05-18T11:41:00Z by Python's calendar.
    figure = drawn(times_chapter())["whole-dive"]
    assert bars_of(figure)[:2] == [(0, ms(311), 6 * MINUTE * 1000), (1, ms(1810), 5 * MINUTE * 1000)]
    assert ms(311) == datetime(2027, 5, 18, 11, 41, tzinfo=UTC).timestamp() * 1000
    assert figure["layout"]["xaxis"]["type"] == "date"


def test_commanded_freed_and_likely_moments_are_marked_by_shape():
    marks = {trace["name"]: (trace["marker"]["symbol"], trace["x"])
             for trace in drawn(times_chapter())["whole-dive"]["data"] if trace["type"] == "scatter"}
    assert marks["commanded"] == ("square-open", [ms(300)])
    assert marks["freed"] == ("diamond-open", [ms(302), ms(1800)])
    assert marks["likely at the surface"] == ("star", [ms(313), ms(1812)])


def test_the_close_picture_holds_the_commanded_paths_only():
    figures = drawn(times_chapter())
    assert bars_of(figures["coming-up"]) == [(0, ms(311), 6 * MINUTE * 1000)]
    begin, end = figures["coming-up"]["layout"]["xaxis"]["range"]
    assert ms(290) < begin < ms(300) and ms(317) < end < ms(330)


def test_the_time_to_leave_is_a_line_and_night_is_darker_than_twilight():
    shapes = drawn(times_chapter())["whole-dive"]["layout"]["shapes"]
    lines = [shape["x0"] for shape in shapes if shape["type"] == "line"]
    shades = {(shape["x0"], shape["x1"]): shape["fillcolor"] for shape in shapes if shape["type"] == "rect"}
    assert lines == [ms(750)]
    assert set(shades) == {(ms(900), ms(935)), (ms(935), ms(1400))}, "daylight has no shade"
    grey = {ends: int(colour[1:3], 16) for ends, colour in shades.items()}
    assert grey[ms(935), ms(1400)] < grey[ms(900), ms(935)] - 25


def test_a_path_that_never_comes_up_says_so_and_has_no_bar():
    nothing = {key: [None, None] for key in ("path_early_s", "path_likely_s", "path_late_s", "path_freed_s")}
    figures = drawn(times_chapter(**nothing))
    assert "coming-up" not in figures
    assert [row for row, *_rest in bars_of(figures["whole-dive"])] == [2], "the pack alone"
    assert sum("never comes up" in note["text"] for note in figures["whole-dive"]["layout"]["annotations"]) == 2


def test_the_summary_of_the_times_names_local_time_too():
    text = Reader("".join(pictures(times_chapter(), draft_sample()))).text
    assert "timed release 18 May 11:43Z (09:43); corroding link 19 May 12:42Z (10:42)" in text
    assert "The boat must leave 18 May 19:00Z (17:00)." in text


# ---------------------------------------------------------------------------------------------- down, up, sideways

def test_depth_points_down_and_both_ways_have_their_band():
    plan = draft_sample()
    figure = drawn(motion.chapter(plan), plan)["passage"]
    deep, shallow = figure["layout"]["yaxis"]["range"]
    assert deep > plan.site.depth_m > 0 > shallow
    bands = [trace for trace in figure["data"] if trace.get("fill") == "toself"]
    lines = {trace["name"]: trace for trace in figure["data"] if trace.get("fill") != "toself"}
    found = motion.motion(plan)
    assert len(bands) == 2 and len(lines) == 2
    down, up = lines["down, from the splash on"], lines["up, once it is free"]
    assert down["x"][-1] * MINUTE == pytest.approx(found.descent_likely_s, rel=1e-3)
    assert up["x"][-1] * MINUTE == pytest.approx(found.ascent_likely_s, rel=1e-3)
    assert max(bands[0]["x"]) * MINUTE == pytest.approx(found.descent_slow_s, rel=1e-3)


def test_a_lander_that_never_sinks_has_no_picture_of_its_descent():
    made = Chapter("motion", "Down and up", series={"down_s": [], "down_depth_m": [], "up_s": [0.0, 600.0],
                                                    "up_depth_m": [430.0, 0.0]})
    figure = drawn(made)["passage"]
    assert [trace["name"] for trace in figure["data"]] == ["up, once it is free"]
    assert drawn(Chapter("motion", "Down and up")) == {}


def test_maps_have_one_scale_for_both_axes_and_north_up():
    plan = draft_sample()
    figures = drawn(drift.chapter(plan), plan)
    for name in ("track", "afloat"):
        layout = figures[name]["layout"]
        assert (layout["yaxis"]["scaleanchor"], layout["yaxis"]["scaleratio"]) == ("x", 1)
        assert layout["yaxis"]["range"][0] < layout["yaxis"]["range"][1]
        assert any("N ↑" in note["text"] for note in layout["annotations"])


def test_where_it_floats_is_marked_with_its_circle_up_to_a_day_on():
    plan = draft_sample()
    chapter = drift.chapter(plan)
    rows = next(table for table in chapter.tables if table.key == "afloat").rows
    keys = [each.key for each in next(table for table in chapter.tables if table.key == "afloat").columns]
    wanted = [dict(zip(keys, row, strict=True)) for row in rows if row[0] <= 24]
    figure = drawn(chapter, plan)["afloat"]
    marks = next(trace for trace in figure["data"] if trace["mode"] == "markers")
    assert marks["x"] == pytest.approx([row["east_m"] / 1000 for row in wanted])
    circles = [shape for shape in figure["layout"]["shapes"] if shape["type"] == "circle"]
    assert [(each["x1"] - each["x0"]) / 2 for each in circles] == pytest.approx(
        [row["radius_m"] / 1000 for row in wanted])
    assert {1, 3, 6, 12, 24} <= {row["after_surfacing_h"] for row in wanted}


# ---------------------------------------------------------------------------------------------- energy, heat

def test_each_phase_of_the_spending_begins_where_the_one_before_ended():
    plan = draft_sample()
    chapter = supply.chapter(plan)
    bars = bars_of(drawn(chapter, plan)["spending"])
    for (_row, start, length), (_next_row, following, _length) in pairwise(bars):
        assert start + length == pytest.approx(following)
    total = sum(sum(values) for key, values in chapter.series.items()
                if key.endswith("_mah") and key not in ("left_mah", "stuck_left_mah"))
    assert bars[-1][1] + bars[-1][2] == pytest.approx(total)


def test_what_the_pack_holds_is_a_line_across_the_spending():
    plan = draft_sample()
    line = next(shape for shape in drawn(supply.chapter(plan), plan)["spending"]["layout"]["shapes"])
    assert line["x0"] == line["x1"] == supply.supply(plan).budget.capacity_mah
    text = Reader("".join(pictures(supply.chapter(plan), plan))).text
    assert f"{supply.supply(plan).budget.spare_at_latest_mah:.0f} mAh to spare." in text


def test_a_pack_that_is_too_small_is_too_little_in_words():
    plan = plan_with(power__capacity_ah=12.0)
    text = Reader("".join(pictures(supply.chapter(plan), plan))).text
    short = -supply.supply(plan).budget.spare_at_latest_mah
    assert short > 0 and f"{short:.0f} mAh too little." in text


def test_every_load_of_the_energy_is_drawn():
    assert set(spending._LOADS) == set(supply.LOADS)


def test_the_limit_of_the_camera_is_a_level_line_and_its_fan_makes_two_lines():
    plan = draft_sample()
    figure = drawn(warmth.chapter(plan), plan)["temperatures"]
    assert [shape["y0"] for shape in figure["layout"]["shapes"]] == [plan.camera.hot_c]
    assert [trace["name"] for trace in figure["data"]] == [
        "camera, fan as driven", "housing", "camera without the fan"]


# ---------------------------------------------------------------------------------------------- light, pressure, water

def test_zero_degrees_is_up_and_bearings_run_clockwise():
    layout = drawn(light.chapter(draft_sample()))["light-around"]["layout"]["polar"]["angularaxis"]
    assert (layout["rotation"], layout["direction"]) == (90, "clockwise")


def test_a_blind_sector_is_hatched_where_the_chapter_found_it():
    plan = plan_with(lights__ring__bearings_deg=(300.0,), lights__count=1)
    blind = light.light(plan).blind
    sectors = [trace for trace in drawn(light.chapter(plan), plan)["light-around"]["data"]
               if trace["type"] == "barpolar"]
    assert blind and len(sectors) == len(blind)
    for sector, found in zip(sectors, blind, strict=True):
        middle, width = sector["theta"][0], sector["width"][0]
        assert (middle - width / 2) % 360 == pytest.approx(found.from_deg % 360)
        assert (middle + width / 2) % 360 == pytest.approx(found.to_deg % 360)
        assert sector["marker"]["pattern"]["shape"] == "x"


def test_the_sample_has_no_blind_sector_and_says_so():
    chapter = light.chapter(draft_sample())
    assert not [trace for trace in drawn(chapter)["light-around"]["data"] if trace["type"] == "barpolar"]
    assert "toward 0° no blind sector" in Reader("".join(pictures(chapter, draft_sample()))).text


def test_ten_times_the_light_is_always_one_ring_further_out():
    figure = drawn(light.chapter(draft_sample()))["light-around"]
    axis = figure["layout"]["polar"]["radialaxis"]
    assert [after - before for before, after in pairwise(axis["tickvals"])] == pytest.approx(
        [1.0] * (len(axis["tickvals"]) - 1))
    ring = dict(zip(axis["ticktext"], axis["tickvals"], strict=True))
    asked = next(trace for trace in figure["data"] if trace["name"] == "asked for")
    assert asked["r"][0] == pytest.approx(ring["10 lx"] + math.log10(4), rel=1e-4)  # the sample asks for 40 lx


def test_without_a_view_or_lamps_there_is_no_picture_of_the_light():
    for plan in (plan_with(camera__view=None), plan_with(lights__ring=None)):
        assert drawn(light.chapter(plan), plan) == {}


def test_a_view_all_around_has_no_edges():
    plan = plan_with(camera__view__width_deg=360.0)
    names = [trace["name"] for trace in drawn(light.chapter(plan), plan)["light-around"]["data"]]
    assert "here" in names and "edge of the view" not in names


def test_parts_and_walls_are_drawn_in_multiples_of_the_working_pressure():
    made = Chapter(
        "pressure", "Pressure", figures=(Figure("working_mpa", "working pressure", 5.0, "MPa"),),
        tables=(Table("ratings", "ratings", (Column("what", "what"), Column("rated_mpa", "MPa", 2)), (("mast", 6.0),)),),
        series={"shell": ["tube"], "shell_mpa": [20.0]})
    figure = drawn(made)["factors"]
    assert bars_of(figure) == [(0, 0.0, pytest.approx(1.2)), (1, 0.0, pytest.approx(4.0))]
    assert [shape["x0"] for shape in figure["layout"]["shapes"]] == [1.0, pressure.LEAST_FACTOR]


def test_what_lifts_stands_left_of_the_zero_and_what_pulls_down_right_of_it():
    chapter = weights.chapter(draft_sample())
    rows = next(table for table in chapter.tables if table.key == "parts").rows
    figure = drawn(chapter)["weights-by-part"]
    lengths = [length for _row, start, length in bars_of(figure) if start == 0.0]
    assert len(lengths) == len(rows)
    for row, length in zip(rows, lengths, strict=True):
        assert (length < 0) == (row[1] == "float"), row[0]
    assert any(shape["x0"] == shape["x1"] == 0.0 for shape in figure["layout"]["shapes"])


def test_the_lander_is_drawn_with_half_its_ballast_stuck_too():
    chapter = weights.chapter(draft_sample())
    traces = {trace["name"]: trace["x"] for trace in drawn(chapter)["weight-by-depth"]["data"]}
    assert list(traces) == ["with ballast", "half the ballast stuck", "without ballast"]
    assert traces["with ballast"] == pytest.approx(list(chapter.series["laden_kg"]), rel=1e-4)
    assert max(traces["without ballast"]) < 0 < min(traces["with ballast"])


def test_the_water_is_drawn_downward_one_picture_for_each_measure():
    figures = drawn(column.chapter(draft_sample()))
    assert len(figures) == 4
    for figure in figures.values():
        deep, shallow = figure["layout"]["yaxis"]["range"]
        assert deep > 400 and shallow < 0


# ---------------------------------------------------------------------------------------------- without colour

def test_lines_of_one_chart_differ_by_dash_and_not_by_colour_alone(sample):
    for name in (name.removesuffix("-data") for name in sample.islands):
        dashes = [trace["line"]["dash"] for trace in sample.chart(name)["data"]
                  if trace.get("mode") == "lines" and trace.get("fill") != "toself"
                  and trace["name"] not in ("edge of the view",)]
        assert len(dashes) == len(set(dashes)), name


@pytest.mark.parametrize("looks", [spending._LOADS, {each.meaning: each for each in (
    time_lines._UP, time_lines._UNTIL, time_lines._LONGER)}])
def test_no_two_bars_of_a_chart_look_alike_without_colour(looks):
    for one, other in combinations(looks.values(), 2):
        if one.pattern == other.pattern:
            greys = [luminance(palette.tint(look.colour, 0.4)) for look in (one, other)]
            assert not math.isclose(*greys, abs_tol=0.05), (one, other)


def test_every_chart_is_summed_up_in_words_for_who_cannot_see_it(sample):
    charts_drawn = [attributes for attributes in sample.named("div") if attributes.get("role") == "img"]
    assert len(charts_drawn) == len(sample.islands) >= 12
    for attributes in charts_drawn:
        assert len(attributes["aria-label"]) > 40
    assert not any("nan" in attributes["aria-label"].lower().split() for attributes in charts_drawn)


def test_a_span_of_one_value_still_has_a_width():
    for values in ([4.0, 4.0], [0.0], [-3.0, None]):
        low, high = span(values)
        assert low < min(value for value in values if value is not None) < high


def test_a_long_line_is_thinned_and_a_missing_number_stays_a_gap():
    count = 20_000
    values = [float(number) for number in range(count)]
    values[500] = None
    line = charts.curve("long", range(count), values, charts.Stroke(palette.BLUE), "%{y}")
    assert len(line.x) <= charts.POINTS_MAX and None in line.y and line.connectgaps is False


# ---------------------------------------------------------------------------------------------- one safe file

def nasty_plan():
    plan = plan_with(dive__name=NASTY)
    parts = tuple(part.model_copy(update={"name": f"{NASTY} {number}"}) for number, part in enumerate(plan.lander.parts))
    shells = tuple(shell.model_copy(update={"name": f"{NASTY} {number}"})
                   for number, shell in enumerate(plan.lander.shells))
    return plan.model_copy(update={"lander": plan.lander.model_copy(update={"parts": parts, "shells": shells})})


def nasty_page():
    plan = nasty_plan()
    made = really(plan)
    evil = Chapter("evil", NASTY, figures=(Figure("x", NASTY, NASTY, NASTY, note=NASTY, leading=True),),
                   tables=(Table("x", NASTY, (Column("x", NASTY),), ((NASTY,),)),),
                   faults=(NASTY,), cautions=(NASTY,), dangers=(NASTY,), sources=(NASTY,), limits=(NASTY,))
    return plan_page(worked(plan, (*made.chapters, evil), (NASTY,), (NASTY,)), told() | {"plan_toml": NASTY})


def test_a_hostile_string_anywhere_stays_text():
    plain, nasty = Reader(page_of(really())), Reader(nasty_page())
    assert len(nasty.named("script")) == len(plain.named("script"))
    assert not nasty.named("img")
    assert nasty.text.count('<script>alert("x")</script>') > 20
    assert not any(name.startswith("on") for _tag, attributes in nasty.tags for name in attributes)


def test_a_hostile_string_cannot_end_the_json_of_a_chart():
    page = nasty_page()
    assert NASTY not in page
    islands = Reader(page).islands
    assert not any("<" in data for data in islands.values())
    assert "&lt;script&gt;" in str(Reader(page).chart("factors"))
    assert "<script" not in str(Reader(page).chart("factors"))


def test_the_page_asks_for_nothing_from_outside(sample):
    for tag, attributes in sample.tags:
        assert tag not in ("link", "iframe", "object", "embed", "base", "audio", "video")
        assert not {"src", "srcset", "action", "data", "poster"} & set(attributes), (tag, attributes)
        assert attributes.get("href", "#").startswith("#")
    # Source: W3C Content Security Policy Level 3, directive default-src: 'none' covers every kind of fetch.
    policy = next(meta["content"] for meta in sample.named("meta") if "http-equiv" in meta)
    assert policy.startswith("default-src 'none';") and "http" not in policy


def test_the_same_plan_gives_the_same_page():
    assert page_of(really()) == page_of(really())


def test_the_page_of_a_plan_worked_out_by_the_tool_tells_its_faults_and_all_its_chapters():
    made = work_out(plan_with(power__capacity_ah=12.0))
    page = Reader(plan_page(made, account_of(made)))
    assert made.faults and [fault for fault in made.faults if fault.replace("degC", "°C") not in page.words] == []
    assert [chapter.title for chapter in made.chapters if chapter.title not in page.words] == []


@pytest.mark.parametrize("keys", [
    {"lander__parts": ()}, {"lander__shells": ()}, {"release__passive__fitted": False}, {"site__wind__speed_m_s": 0.0},
    {"release__passive__earliest_h": None}, {"times__timed_release_min": 700.0}, {"lights__count": 0},
    {"power__capacity_ah": 1.0}, {"beacon__lamp_cd": None}, {"site__mud_suction_n": 500.0},
    {"camera__supply": "own_pack"}], ids=lambda keys: next(iter(keys)))
def test_a_plan_that_is_broken_or_bare_still_has_its_page(keys):
    page = Reader(page_of(really(plan_with(**keys))))
    assert [title for title in ("Times and order", "Energy", "Light", "Pressure") if title not in page.words] == []


# ---------------------------------------------------------------------------------------------- in a browser

def test_a_browser_without_network_draws_all_pictures_and_complains_of_nothing(browser):
    html, complaints = browser.opened(nasty_page())
    assert complaints == []
    assert 'data-drawn="yes"' in html
    assert html.count('class="chart') >= 12 and html.count('class="main-svg"') >= 12
    elements = Reader(html).tags
    assert not [tag for tag, attributes in elements if tag == "img" or "onerror" in attributes]


@pytest.mark.long
def test_it_prints_on_as_many_pages_as_its_chapters_ask_for(browser):
    # A page that prints nothing, or each picture on a sheet of its own, would be out of these bounds.
    pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", browser.printed(page_of(really()))))
    assert 6 <= pages <= 30
