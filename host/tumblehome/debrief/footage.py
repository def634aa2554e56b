"""Video time against journal time, and what stands in captions and chapters beside the picture.

The slate is the lamps themselves. The step in which they come on at the bottom, and the one in which they go off before
a release, stand in the journal to a tenth of a second, and in the footage one frame is dark and the next is not. A
coded blink would not be known any better; it would be so many more load steps on a cold pack, and it would make the
lamps depend on a time that the exhaustive exploration of the mission leaves out, so that its proof would not hold for
them. So the person types at what video time the light came (or went), or when the video begins.

Two such marks or more also give the rate of the camera's clock, by least squares.
"""

import csv
import io
import math
import re
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from lander import journal as records
from lander import table, words
from lander.camera import RECORDING
from tumblehome.debrief.depths import Depths
from tumblehome.debrief.log import Log, LogError
from tumblehome.debrief.telling import state_of
from tumblehome.wording import to_the_second

MARK_S = 0.1  # how well a person reads the first bright frame, and a step of the journal is known
TYPED_S = 1.0  # a moment that was typed in comes from a clock that shows whole seconds
RATE_SIGMA = 1e-4  # the quartz of a camera, cold or warm, against the controller's: ordinarily so far apart
NEAR_S = 2.0  # a mark further from its change of light than this does not belong to it
RESET_S = 2.0  # after a reset mission time goes on by the real-time clock, which counts whole seconds
CUE_LEAST_S = 1.0  # captions never change oftener
CUE_MOST_S = 60.0  # and where readings are rarer, none stands longer than this without a newer one
CHAPTER_LEAST_S = 0.5
BOTTOM_BAND_M = 0.5  # the sensor's noise and the tide of a dive stay within it
RELEASING = (table.RELEASE, table.BACKUP)
ON_DECK = (table.SAFE, table.ARMED)
DARKENING = (records.E_PRESS, records.E_NO_ANSWER, records.E_CAMERA_OFF)  # it no longer counts as recording from there
WET = records.WET_CONTACT | records.DEEP_SIGN
WATER_OK = 1 << words.SIGNS.index("water_temp_ok")
CLOCK = re.compile(r"(?:(\d+):)?([0-5]?\d):([0-5]?\d(?:[.,]\d+)?)")


@dataclass(frozen=True)
class Change:
    """The lamps came on or went off, at most `within_s` before `mission_s`."""

    mission_s: float
    on: bool
    within_s: float


@dataclass(frozen=True)
class Mark:
    """A change of light as it was seen in the video; `number` is which one of its kind in the dive, None: unknown."""

    video_s: float
    on: bool = True
    number: int | None = None


@dataclass(frozen=True)
class Match:
    """Mission time = `begins_s` + `rate` x video time, all in seconds.

    `begins_sigma_s` and `rate_sigma` are standard uncertainties, `how` tells in sentences where they come from.
    """

    begins_s: float
    rate: float
    begins_sigma_s: float
    rate_sigma: float
    how: tuple[str, ...]

    def video_s(self, mission_s):
        """Video time of a mission time, or of an array of them."""
        return (mission_s - self.begins_s) / self.rate

    def mission_s(self, video_s: float) -> float:
        """Mission time of a video time."""
        return self.begins_s + self.rate * video_s


@dataclass(frozen=True)
class Cue:
    """A text from one video time to another, seconds."""

    from_s: float
    to_s: float
    text: str


@dataclass(frozen=True)
class Note:
    """What the person noted, at a mission time."""

    mission_s: float
    text: str


# --- times that a person types --------------------------------------------------------------------------------------


def clock_s(text: str) -> float:
    """Seconds of a time such as 00:03:12.4, 3:12 or 192.4. Raises LogError."""
    said = text.strip()
    if match := CLOCK.fullmatch(said):
        hours, minutes, seconds = match.groups()
        return int(hours or 0) * 3600.0 + int(minutes) * 60.0 + float(seconds.replace(",", "."))
    try:
        seconds_only = float(said)
    except ValueError:
        seconds_only = -1.0
    if not 0.0 <= seconds_only < 1e7:
        raise LogError("%r is no time in a video: write it like 00:03:12.4" % text)
    return seconds_only


def read_mark(text: str, on: bool = True) -> Mark:
    """A mark such as 00:03:12.4, or 2@00:00:01.2 for the second change of its kind in the dive. Raises LogError."""
    number, at, time = text.rpartition("@")
    if not at:
        return Mark(clock_s(text), on)
    if not number.strip().isdecimal() or int(number) < 1:
        raise LogError("%r is no mark: write the number of the change, @ and the video time, like 2@00:03:12.4" % text)
    return Mark(clock_s(time), on, int(number))


def utc_of(text: str) -> datetime:
    """A moment in UTC, ISO 8601; one without a zone is UTC. Raises LogError."""
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise LogError("%r is no moment: write it like 2027-05-18T06:30:00Z" % text) from None
    try:
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    except OverflowError:
        raise LogError("%r is outside the calendar: correct it" % text) from None


# --- video time against mission time --------------------------------------------------------------------------------


def changes_of_light(log: Log) -> list[Change]:
    """When the lamps came on and went off while filming the bottom, in order; the blink on deck is none."""
    lit = log.records["lights_pct"] > 0
    found = []
    for after in (np.flatnonzero(lit[1:] != lit[:-1]) + 1).tolist():
        before, on = after - 1, bool(lit[after])
        if log.records["state"][before] in ON_DECK:
            continue
        at_s, last_s = float(log.mission_s[after]), float(log.mission_s[before])
        if _decided(log.fields(before), on):
            at_s = last_s
        found.append(Change(at_s, on, round(at_s - last_s, 1)))
    return found


def _decided(fields: dict[str, int], on: bool) -> bool:
    """Whether this record shows the lamps of the step before, and is of the step that changed them."""
    kind, filming = fields["kind"], fields["state"] == table.RECORD
    if kind == records.ROW:
        return (filming and fields["camera"] == RECORDING) if on else not filming
    if kind != records.EVENT:
        return False
    if on:
        return filming and fields["code"] == records.E_RECORDING
    return not filming or fields["code"] in DARKENING


def by_start(log: Log, starts: datetime) -> Match:
    """The video begins at this moment of UTC. Raises LogError where the journal knows no UTC."""
    begins_s = log.mission_s_at(starts)
    if begins_s is None:
        raise LogError("%s has no trusted clock, so UTC says nothing about its times: give the video time of the first"
                       " light instead" % log.source)
    return Match(begins_s, 1.0, TYPED_S, RATE_SIGMA, ("the video begins at %s, as it was typed in" % starts.strftime(
        "%Y-%m-%d %H:%M:%S UTC"),))


def by_offset(log: Log, offset_s: float) -> Match:
    """The video begins so many seconds after the splash (before it, when negative). Raises LogError without one."""
    if log.splash_s is None:
        raise LogError("%s tells of no splash to count the offset from: give the moment in UTC at which the video"
                       " begins" % log.source)
    return Match(log.splash_s + offset_s, 1.0, TYPED_S, RATE_SIGMA, (
        "the video begins %.1f s %s the splash, as it was typed in" % (
            abs(offset_s), "after" if offset_s >= 0.0 else "before"),))


def by_marks(log: Log, marks: Sequence[Mark]) -> Match:
    """Fit the video to the changes of light that were marked in it. Raises LogError where they do not fit.

    A mark without a number may be any change of its kind; the marks together decide, and where several ways fit alike,
    the earliest counts and is told.
    """
    changes = changes_of_light(log)
    if not marks:
        raise LogError("no mark is given: write the video time at which the lamps come on, like 00:03:12.4")
    for on, word in ((True, "come on"), (False, "go off")):
        if any(mark.on is on for mark in marks) and not any(change.on is on for change in changes):
            raise LogError("%s has no moment at which the lamps %s at the bottom: give the moment in UTC at which the"
                           " video begins" % (log.source, word))
    ways = sorted(_ways(sorted(marks, key=lambda mark: mark.video_s), changes), key=lambda way: way[0])
    if not ways:
        raise LogError("the %d marks do not fit the changes of light in %s (%s): look at them again, and give only"
                       " those of one video file" % (len(marks), log.source, _listed(log, changes)))
    best = ways[0]
    alike = [way for way in ways if way[0] <= best[0] + 1.0]
    chosen = min(alike, key=lambda way: way[1][0].mission_s)
    others = {way[1][0].mission_s for way in alike} - {chosen[1][0].mission_s}
    return _fitted(log, sorted(marks, key=lambda mark: mark.video_s), chosen[1], len(others))


def _ways(marks: list[Mark], changes: list[Change]) -> Iterator[tuple[float, list[Change]]]:
    """Every way in which the marks can lie on changes of light, with its sum of squared misfits in sigmas."""
    kinds = {on: [change for change in changes if change.on is on] for on in (True, False)}
    for first in _candidates(marks[0], kinds):
        chosen = [first]
        for mark in marks[1:]:
            expected_s = first.mission_s + mark.video_s - marks[0].video_s
            near = _nearest(_candidates(mark, kinds), expected_s)
            slack_s = NEAR_S + near.within_s + first.within_s + 5 * RATE_SIGMA * (mark.video_s - marks[0].video_s)
            if abs(near.mission_s - expected_s) > slack_s:
                break
            chosen.append(near)
        if len(chosen) == len(marks) and all(a.mission_s < b.mission_s for a, b in pairwise(chosen)):
            begins_s, rate, _ = _line(marks, chosen)
            off_s = [change.mission_s - begins_s - rate * mark.video_s
                     for mark, change in zip(marks, chosen, strict=True)]
            if all(abs(off) <= NEAR_S + change.within_s for off, change in zip(off_s, chosen, strict=True)):
                yield (((rate - 1.0) / RATE_SIGMA) ** 2 + sum(
                    (off / _sigma_s(change)) ** 2 for off, change in zip(off_s, chosen, strict=True)), chosen)


def _candidates(mark: Mark, kinds: dict[bool, list[Change]]) -> list[Change]:
    of_kind = kinds[mark.on]
    if mark.number is None:
        return of_kind
    if mark.number > len(of_kind):
        raise LogError("mark %d@%s names a change of light that was not: they %s %d times in this dive" % (
            mark.number, stamp(mark.video_s), "come on" if mark.on else "go off", len(of_kind)))
    return [of_kind[mark.number - 1]]


def _nearest(candidates: list[Change], mission_s: float) -> Change:
    at = bisect_left(candidates, mission_s, key=lambda change: change.mission_s)
    return min(candidates[max(0, at - 1):at + 1], key=lambda change: abs(change.mission_s - mission_s))


def _sigma_s(change: Change) -> float:
    """Ordinarily the lamps change in the step of the reading that first shows it, since every step takes one; where
    there was another step before, they may have changed then."""
    return float(np.hypot(MARK_S, change.within_s / 12 ** 0.5))


def _line(marks: list[Mark], chosen: list[Change]) -> tuple[float, float, np.ndarray]:
    """Begin, rate and their covariance: least squares, each mark weighted with how well it is known, and the rate held
    to 1 as well as two quartz clocks agree."""
    sigma_s = np.array([*map(_sigma_s, chosen), RATE_SIGMA])
    video_s = np.array([mark.video_s for mark in marks])
    design = np.stack([np.append(np.ones_like(video_s), 0.0), np.append(video_s, 1.0)], axis=1) / sigma_s[:, None]
    seen = np.append(np.array([change.mission_s for change in chosen]) - video_s, 0.0) / sigma_s
    covariance = np.linalg.inv(design.T @ design)
    begins_s, rate_off = covariance @ design.T @ seen
    return float(begins_s), 1.0 + float(rate_off), covariance


def _fitted(log: Log, marks: list[Mark], chosen: list[Change], others: int) -> Match:
    begins_s, rate, covariance = _line(marks, chosen)
    begins_sigma_s, rate_sigma = (float(value) ** 0.5 for value in np.diag(covariance))
    how = ["the lamps %s at %s is %s of the video" % (
        "coming on" if change.on else "going off", _when(log, change.mission_s), stamp(mark.video_s))
        for mark, change in zip(marks, chosen, strict=True)]
    if len(marks) > 1:
        how.append("the camera's clock loses %.0f ± %.0f parts in a million against the controller's" % (
            1e6 * (rate - 1.0), 1e6 * rate_sigma))
    worst_s = max(abs(change.mission_s - begins_s - rate * mark.video_s)
                  for mark, change in zip(marks, chosen, strict=True))
    if len(marks) > 2:
        how.append("the marks are off the line by %.2f s at most" % worst_s)
    starts = len(np.unique(log.records["boot"]))
    if starts > 1:
        how.append("the controller started anew %d times, and its time may have moved by %g s each time: mark the light"
                   " in each file" % (starts - 1, RESET_S))
    if others:
        how.append("%d other changes of light fit as well; the first of them is taken: number a mark (2@00:03:12.4) if"
                   " that is wrong" % others)
    return Match(begins_s, rate, begins_sigma_s, rate_sigma, tuple(how))


def _when(log: Log, mission_s: float) -> str:
    utc = log.utc(mission_s)
    return "%s UTC" % to_the_second(utc).partition(" ")[2] if utc else "mission time %.1f s" % mission_s


def _listed(log: Log, changes: list[Change]) -> str:
    said = ["%s at %s" % ("on" if change.on else "off", _when(log, change.mission_s)) for change in changes[:6]]
    return ", ".join(said) + (" and %d more" % (len(changes) - 6) if len(changes) > 6 else "")


# --- what is told beside the picture --------------------------------------------------------------------------------


def captions(log: Log, match: Match, depths: Depths, video_ends_s: float | None = None,
             every_s: float = CUE_LEAST_S) -> list[Cue]:
    """One cue a reading: depth, water temperature, time and state. Readings before the video, or behind its end, give
    none; nothing is filled in between them."""
    step_s = max(every_s, CUE_LEAST_S)
    moments = _last_of_each_moment(log)
    video_s = match.video_s(log.mission_s[moments])
    kept: list[int] = []  # places in `moments`
    next_s = -math.inf
    for place, time_s in enumerate(video_s.tolist()):
        if time_s >= next_s - 1e-6:
            kept.append(place)
            next_s = time_s + step_s
    starts_s = video_s[kept]
    ends_s = np.minimum(np.append(starts_s[1:], np.inf), starts_s + max(CUE_MOST_S, step_s))
    cues = []
    texts = _captions(log, moments[kept], depths)
    for text, from_s, to_s in zip(texts, starts_s.tolist(), ends_s.tolist(), strict=True):
        from_s, to_s = max(from_s, 0.0), to_s if video_ends_s is None else min(to_s, video_ends_s)
        if to_s - from_s >= 1e-3:
            cues.append(Cue(from_s, to_s, text))
    return cues


def _last_of_each_moment(log: Log) -> NDArray[np.int64]:
    times = log.records["mission_ds"]
    return np.flatnonzero(np.append(times[1:] != times[:-1], True))


def _captions(log: Log, chosen: NDArray[np.int64], depths: Depths) -> list[str]:
    records = log.records[chosen]
    return [_caption(log, *told) for told in zip(
        log.mission_s[chosen].tolist(), depths.metres[chosen].tolist(), records["water_centi_c"].tolist(),
        (records["signs"] & WATER_OK != 0).tolist(), (records["flags"] & WET != 0).tolist(), records["state"].tolist(),
        strict=True)]


def _caption(log: Log, mission_s: float, depth_m: float, centi_c: int, valid: bool, wet: bool, state: int) -> str:
    parts = ["depth unknown" if math.isnan(depth_m) else "depth %.1f m" % depth_m]
    if valid:
        parts.append("%s %.2f °C" % ("water" if wet else "outside", centi_c / 100))
    utc = log.utc(mission_s)
    parts += ["%s UTC" % to_the_second(utc) if utc else "mission time %.1f s" % mission_s,
              state_of({"state": state})]
    return ", ".join(parts)


def chapters(log: Log, match: Match, depths: Depths, notes: Sequence[Note] = (),
             video_ends_s: float | None = None) -> list[Cue]:
    """The events of the dive and the person's notes, in order; each chapter lasts until the next."""
    marks = sorted([*events(log, depths), *notes], key=lambda note: note.mission_s)
    ends_s = match.video_s(float(log.mission_s[-1])) if video_ends_s is None else video_ends_s
    told: list[tuple[float, str]] = []
    for mark in marks:
        at_s = match.video_s(mark.mission_s)
        if not 0.0 <= at_s <= ends_s:
            continue
        if told and at_s - told[-1][0] < CHAPTER_LEAST_S:  # two at once are one chapter
            told[-1] = (told[-1][0], "%s; %s" % (told[-1][1], mark.text))
        else:
            told.append((at_s, mark.text))
    stops = [at_s for at_s, _text in told[1:]] + [max(ends_s, told[-1][0] + CHAPTER_LEAST_S)] if told else []
    return [Cue(at_s, to_s, text) for (at_s, text), to_s in zip(told, stops, strict=True)]


def events(log: Log, depths: Depths) -> list[Note]:
    """Splash, recording, landed, lamps on and off, release commanded, left the bottom, surfaced, resets, in order."""
    found = []
    if log.splash_s is not None:
        found.append(Note(log.splash_s, "in the water"))
    for at, fields in log.told():
        if fields["descent_ds"] >= 0 and (text := _event(fields)):
            found.append(Note(float(log.mission_s[at]), text))
    found += [Note(change.mission_s, "lamps on" if change.on else "lamps off") for change in changes_of_light(log)]
    left = left_bottom_s(log, depths)
    if left is not None:
        found.append(Note(left, "left the bottom"))
    return sorted(found, key=lambda note: note.mission_s)


def _event(fields: dict[str, int]) -> str:
    kind, code = fields["kind"], fields["code"]
    if kind == records.ROW and code < len(table.ROWS):
        row = table.ROWS[code]
        came_from, to = row[table.FROM], row[table.TO]
        if to == table.RECORD:
            return "landed" if table.label(code).endswith("settled") else "landed, by time"
        if to in RELEASING and came_from not in RELEASING:
            return "release: %s" % table.because(code)
        if to == table.ASCEND:
            return "rise confirmed"
        return "surfaced" if to == table.SURFACE else ""
    if kind == records.ATTEMPT:
        return "%s release fires" % words.CHANNELS[code] if code < len(words.CHANNELS) else "release fires"
    if kind == records.EVENT and code == records.E_RECORDING:
        return "recording"
    return "controller started again" if kind == records.BOOT else ""


def left_bottom_s(log: Log, depths: Depths) -> float | None:
    """The last mission time at the depth of the bottom before the lander rose; None where it did not, or where no
    depth shows it.

    At the bottom is whatever is within `BOTTOM_BAND_M` of the median depth between landing and the first rise.
    """
    state, kind = log.records["state"], log.records["kind"]
    landed = np.flatnonzero((kind == records.ROW) & (state == table.RECORD))
    rising = np.flatnonzero((kind == records.ROW) & (state == table.ASCEND))
    if not len(landed) or not len(rising) or rising[0] < landed[0]:
        return None
    metres = depths.metres[landed[0]:rising[0] + 1]
    if not np.isfinite(metres).any():
        return None
    there = np.flatnonzero(np.abs(metres - np.nanmedian(metres)) <= BOTTOM_BAND_M)
    return float(log.mission_s[landed[0] + there[-1]])


# --- notes of the person --------------------------------------------------------------------------------------------


def read_notes(text: str, log: Log, match: Match, origin: str = "the notes") -> tuple[list[Note], list[str]]:
    """The notes of a CSV of time and text, and a sentence for each row that could not be read.

    A time is UTC (2027-05-18T06:40:00Z), video time (00:03:12.4) or mission time in seconds (s1234.5). A first row
    whose time is no time is a heading.
    """
    found, refused = [], []
    for number, row in enumerate(_rows(text.removeprefix("\ufeff"), origin), start=1):
        if not any(cell.strip() for cell in row):
            continue
        said = " ".join(cell.strip() for cell in row[1:] if cell.strip())
        try:
            mission_s = _note_time_s(row[0], log, match)
        except LogError as error:
            if number > 1:
                refused.append("row %d of %s is left out: %s" % (number, origin, error))
            elif re.search(r"\d", row[0]):
                refused.append("row 1 of %s is left out: %s" % (origin, error))
            continue
        if not said:
            refused.append("row %d of %s is left out: it has a time and no text" % (number, origin))
            continue
        found.append(Note(mission_s, said))
    if not found and not refused:
        refused.append("%s has no notes in it: write a row each, a time, a comma and the text" % origin)
    return found, refused


def _rows(text: str, origin: str) -> list[list[str]]:
    """Rows of a CSV; the first comma, semicolon or tab in it is what parts the columns."""
    parted = re.search(r"[,;\t]", text)
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=parted.group() if parted else ","))
    except csv.Error as error:
        raise LogError("%s is no CSV of time and text: %s" % (origin, error)) from None


def _note_time_s(text: str, log: Log, match: Match) -> float:
    said = text.strip()
    if re.fullmatch(r"s-?\d+(\.\d+)?", said):
        return float(said[1:])
    if re.match(r"\d{4}-\d\d-\d\d", said):
        mission_s = log.mission_s_at(utc_of(said))
        if mission_s is None:
            raise LogError("its time is UTC, and the journal has no trusted clock")
        return mission_s
    try:
        return match.mission_s(clock_s(said))
    except LogError:
        raise LogError("%r is no time: write UTC (2027-05-18T06:40:00Z), video time (00:03:12.4) or mission time"
                       " (s1234.5)" % said) from None


# --- files ----------------------------------------------------------------------------------------------------------


def stamp(seconds: float, comma: str = ".") -> str:
    """Hours, minutes, seconds and milliseconds, as captions have them; `comma` parts the last two."""
    whole = round(seconds * 1000)
    return "%02d:%02d:%02d%s%03d" % (whole // 3_600_000, whole // 60_000 % 60, whole // 1000 % 60, comma, whole % 1000)


def web_vtt(cues: Sequence[Cue], title: str = "") -> str:
    """Captions or chapters as WebVTT (W3C WebVTT: The Web Video Text Tracks Format)."""
    lines = ["WEBVTT%s" % (" - " + _one_line(title).replace("-->", "→") if title else ""), ""]
    for number, cue in enumerate(cues, start=1):
        lines += [str(number), "%s --> %s" % (stamp(cue.from_s), stamp(cue.to_s)), _escaped(cue.text), ""]
    return "\n".join(lines)


def sub_rip(cues: Sequence[Cue]) -> str:
    """Captions as SubRip, which most players read."""
    lines = []
    for number, cue in enumerate(cues, start=1):
        lines += [str(number), "%s --> %s" % (stamp(cue.from_s, ","), stamp(cue.to_s, ",")),
                  _one_line(cue.text).replace("-->", "→"), ""]
    return "\n".join(lines)


def _escaped(text: str) -> str:
    return _one_line(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _one_line(text: str) -> str:
    return " ".join(text.split())
