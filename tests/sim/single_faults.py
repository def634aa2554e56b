"""Single faults, and what must come of each: a table. No tests of its own.

`path` is what freed the ballast, "none" where nothing could; `because` is the reason of the first release command, as
the mission table has it; `said` stands in the sentence of the outcome. An outcome other than home by the primary
release at its time has its physical reason beside it.
"""

from dataclasses import dataclass

DUE = "timed release due"
WATER = "water inside"
LOW = "battery down to the reserve"
UNKNOWN = "time unknown: counts as overdue"
GAP = "power was gone too long"


@dataclass(frozen=True)
class Scenario:
    group: str
    name: str
    faults: tuple[str, ...]
    path: str
    because: str
    said: str
    excused: tuple[int, ...] = ()  # laws that the world left no way to keep
    both_bodies: bool = False  # one of the dozen that real MicroPython flies too


def _scenario(group, name, faults, path="primary", because=DUE, said="freed by the primary release", **more):
    return Scenario(group, name, tuple(faults.split()), path, because, said, **more)


BY_BACKUP = ("backup", DUE, "freed by the backup release")
BY_LINK = ("passive", DUE, "freed by the corroding link alone")

BY_SECOND = ("second board", "", "freed by the second board")

SCENARIOS = (
    _scenario("release", "a jammed primary leaves the backup", "jammed", *BY_BACKUP, both_bodies=True),
    _scenario("release", "both jammed leave the link", "jammed:channel=both", *BY_LINK),
    _scenario("release", "an open primary circuit leaves the backup", "bad-circuit", *BY_BACKUP),
    _scenario("release", "a shorted primary circuit leaves the backup", "bad-circuit:how=shorted", *BY_BACKUP,
              both_bodies=True),
    _scenario("release", "a wire that erodes slowly loses to the backup", "slow-release:rate=0.1", *BY_BACKUP),
    _scenario("release", "all of the ballast hangs on", "ballast-hangs", "none", DUE,
              "100 % of the ballast hangs on", excused=(4,)),
    _scenario("release", "half of the ballast falls and that is enough", "ballast-hangs:part=0.3"),
    # Afloat, its clock goes on: the release of the latest time comes at the surface and harms nobody.
    _scenario("release", "an early link brings it up before any command", "link-early:after_min=120", "passive",
              "timed release due, clock runs", "freed by the corroding link alone"),
    _scenario("release", "the mud lets go in the end", "deep-mud"),
    # The drive of a full attempt pulls the supply below the brownout; half of it does not.
    _scenario("power", "a release drive browns the controller out", "weak-supply:mohm=10000@release", both_bodies=True),
    _scenario("release", "a late link leaves it down longer", "jammed:channel=both link-late:later_h=10", *BY_LINK),
    _scenario("release", "with a link that never parts it stays down", "jammed:channel=both link-never", "none", DUE,
              "corroding link never opens", excused=(4,)),
    _scenario("power", "the step of the camera resets it, which is then left off", "load-resets", excused=(9,)),
    _scenario("power", "the step of the beacon resets it at the surface", "load-resets:load=beacon@ascend",
              excused=(8,)),
    _scenario("power", "a weak supply from the start counts as an empty battery", "weak-supply", because=LOW),
    _scenario("power", "a cell gone counts as an empty battery", "cell-gone", because=LOW),
    _scenario("power", "an old battery releases at its reserve voltage", "old-battery", because=LOW, excused=(6,)),
    _scenario("power", "no power at all leaves the second board", "power-gone@record+10min", *BY_SECOND,
              excused=(1, 2, 8, 9)),
    _scenario("power", "a long outage on the bottom ends the dive", "power-gone:for_s=1200@record+10min", because=GAP,
              both_bodies=True),
    _scenario("power", "a short outage on the bottom changes nothing", "power-gone:for_s=60@record+10min"),
    # A fifth of a second at a time the latch does not get far; the second board has no spike of that kind.
    _scenario("controller", "every attempt resets the controller", "attempt-resets", "second board", DUE,
              "freed by the second board", both_bodies=True),
    _scenario("controller", "every attempt resets it after two seconds", "attempt-resets:after_s=2", *BY_BACKUP),
    _scenario("controller", "only the primary's attempts reset it", "attempt-resets:channel=primary", *BY_BACKUP),
    _scenario("controller", "a reset on the bottom changes nothing", "reset@record+10min", both_bodies=True),
    _scenario("controller", "a hang until the watchdog bites changes nothing", "hang@record+10min", both_bodies=True),
    _scenario("controller", "a torn record changes nothing", "torn-record@record+10min", both_bodies=True),
    _scenario("controller", "a program that comes up at the sixth start changes nothing", "half-loaded@record+10min"),
    _scenario("controller", "damaged records and a reset change nothing", "records-damaged@record+10min",
              both_bodies=True),
    _scenario("controller", "a journal damaged as a whole counts as overdue", "records-damaged:records=100000@record+1h",
              because="under water with no journal to go by", excused=(12,)),
    _scenario("controller", "a full journal flies on", "flash-full:slots=0@splash"),
    _scenario("controller", "a journal that refuses is flown without", "flash-refuses@splash", excused=(12,),
              both_bodies=True),
    _scenario("controller", "a dead main board leaves the second one", "main-dead@record+10min", *BY_SECOND,
              excused=(1, 2, 8, 9)),
    _scenario("second board", "both boards dead leave the link", "main-dead@record+10min second-dead@record", "passive",
              "", "freed by the corroding link alone", excused=(1, 2, 8, 9, 13)),
    _scenario("second board", "a dead second board alone changes nothing", "second-dead@record"),
    _scenario("second board", "it loses its power for a moment and counts as overdue",
              "main-dead@record+10min second-reset@record+20min", *BY_SECOND, excused=(9,)),
    _scenario("second board", "its watchdog ends a hang", "main-dead@record+10min second-hangs@record+20min", *BY_SECOND,
              excused=(1, 2, 8, 9)),
    _scenario("second board", "its pressure alone is gone", "main-dead@record+10min second-pressure-gone@splash",
              *BY_SECOND, excused=(1, 2, 8, 9)),
    # From the start on the contact alone cannot tell the time before it: the second board brings it up early.
    _scenario("second board", "its pressure is gone from the start", "second-pressure-gone", *BY_SECOND),
    _scenario("second board", "its contact alone is dead", "main-dead@record+10min second-contact-dead", *BY_SECOND,
              excused=(1, 2, 8, 9)),
    _scenario("second board", "its contact is bridged from the splash on",
              "main-dead@record+10min second-contact-bridged@splash", *BY_SECOND, excused=(1, 2, 8, 9)),
    _scenario("second board", "blind, it leaves the link",
              "main-dead@record+10min second-contact-dead second-pressure-gone", "passive", "",
              "freed by the corroding link alone", excused=(1, 2, 8, 9, 13)),
    _scenario("time", "a lost clock alone changes nothing", "clock-lost@record"),
    _scenario("time", "a lost clock and a reset make the time unknown", "clock-lost@record reset@record+10min",
              because=UNKNOWN, both_bodies=True),
    _scenario("time", "a clock that jumped and a reset make the time unknown", "clock-jumps@record reset@record+10min",
              because=UNKNOWN),
    _scenario("time", "a clock that drifts and a power failure keep the time", "clock-drifts@record power-gone:for_s=60@2h"),
    _scenario("time", "a clock that was never set and does not say so", "clock-never-set:says=set"),
    _scenario("time", "a count of time that falls back", "counter-wraps@record+2h", both_bodies=True),
    _scenario("time", "a clock that jumps ahead releases nothing early", "clock-jumps:by_s=7200@record"),
    _scenario("sensors", "a frozen pressure on the bottom", "pressure-frozen@record+10min"),
    _scenario("sensors", "no pressure from the splash on", "pressure-gone@splash"),
    _scenario("sensors", "a saturated pressure never shows the bottom", "pressure-saturated", both_bodies=True),
    _scenario("sensors", "a noisy pressure", "pressure-noisy"),
    _scenario("sensors", "a battery that is read too full", "battery-misread"),
    _scenario("sensors", "nothing of the battery is read", "supply-unread@splash"),
    _scenario("sensors", "no current is read", "current-unread@splash"),
    _scenario("sensors", "no temperature is read", "temperature-unread:which=all@splash"),
    _scenario("sensors", "a thermometer that shows the camera hot", "temperature-misread@splash",
              excused=(9,)),
    _scenario("sensors", "a thermometer that shows the camera cold", "temperature-misread:by_c=-40@splash"),
    _scenario("sensors", "a pressure that drifts with the temperature", "pressure-drifts-warm@splash"),
    _scenario("sensors", "a leak that is not felt", "leak@record+10min leak-dead"),
    _scenario("sensors", "water in the housing brings it up at once", "leak@record+10min", because=WATER,
              both_bodies=True),
    _scenario("sensors", "a dead wet contact", "contact-dead"),
    _scenario("camera", "it records as soon as it is on", "records-early", both_bodies=True),
    _scenario("camera", "three presses are missed", "press-missed:presses=3"),
    _scenario("camera", "it crashes on the bottom", "camera-crashed@record+10min", both_bodies=True),
    _scenario("camera", "its fan stands still", "fan-dead@splash"),
    _scenario("camera", "its card is full from the start", "card-full", excused=(9,)),
    _scenario("camera", "a shorted lamp empties the battery", "lamp-shorted@record", because=LOW),
    _scenario("surface", "heavy swell over the floating lander", "heavy-swell", both_bodies=True),
    _scenario("surface", "waves over the antenna", "antenna-awash@afloat"),
    _scenario("surface", "no position is found", "no-fix"),
    _scenario("surface", "the radio is dead", "radio-dead"),
    _scenario("surface", "the beacon lamp is dead", "strobe-dead@afloat"),
    _scenario("site and people", "the seabed is deeper", "deeper"),
    _scenario("site and people", "the seabed is shallower", "shallower"),
    _scenario("site and people", "the water is colder", "colder"),
    _scenario("site and people", "the warm water reaches deeper", "deep-thermocline"),
    _scenario("site and people", "the current is faster", "fast-current"),
    _scenario("site and people", "it is not thrown in", "hauled-back", "none", "", "never went under"),
    _scenario("site and people", "it is caught on the way up and let go", "caught:for_s=3600@ascend+2min"),
    _scenario("site and people", "it is caught in mid-water", "caught@100m", "none", DUE, "caught at 100 m and held",
              excused=(4,)),
    _scenario("site and people", "it is caught in mid-water for an hour", "caught:for_s=3600@100m"),
    _scenario("site and people", "it is hauled back from the bottom", "hauled-back@record+10min", "none", "",
              "Hauled back on deck"),
    _scenario("site and people", "a magnet is brushed on the bottom", "magnet-brushed:for_s=8@record+10min"),
    _scenario("site and people", "the line is noisy all the way", "line-noise", both_bodies=True),
)
