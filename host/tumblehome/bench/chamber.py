"""The steps of the sequence `chamber` from the `[chamber]` of a plan: its proof factor, cycles and hold, at its depth.

The protocol is that of the worked plan (`seatrial.workings.pressure`), so that paper and bench say the same. How far
the sensor may be from the chamber's gauge, and how far the pressure may wander in a hold: common practice, no source.
"""

from collections.abc import Iterator
from math import ceil

from seatrial.handbook.chamber import Step as Stage
from seatrial.hull import MBAR_PER_MPA
from seatrial.plan import Plan, water_of
from seatrial.workings.pressure import pressure
from tumblehome.bench.sequence import Ask, Expect, Limits, Note, Person, SequenceError, Step

GAUGE_MBAR, GAUGE_SHARE = 300, 0.01
STEADY_MBAR, STEADY_SHARE = 50, 0.005
AIR_MBAR = 60  # a deep low, a strong high
REACHED_S = 600.0  # from somebody's word that it is there
REST_S, READ_S = 30.0, 5.0
FIRST = "First tests empty, then with dummy weights, then complete without lithium cells."
READY = "Is the housing closed, the chamber full of water without air, and does the operator say go?"
DRY: dict[str, int | str | Limits] = {"leak_wet": 0, "leak_ok": 1}


def steps_by(plan: Plan) -> tuple[Step, ...]:
    """What is done and must be seen. Raises SequenceError where the plan's own housing must not see such a test."""
    found = pressure(plan)
    if not found.steps:
        raise SequenceError("by this plan a wall or a window must not see the proof pressure of %.2f MPa: `tumblehome"
                            " plan` says which, and what to change" % found.proof_mpa)
    air_mbar, sensor_mbar = round(water_of(plan.site).air_mbar), _sensor_mbar(plan)
    steps: list[Step] = [Note(note=FIRST)]
    is_out = True
    for stage in found.steps:
        if stage.is_alone:
            steps.append(Note(note=stage.words))
            continue
        if is_out:
            steps += _closed(air_mbar)
        is_out = stage.to_mpa == 0.0
        steps += _let_go(stage, air_mbar) if is_out else _raised(stage, air_mbar, sensor_mbar)
    return tuple(steps)


def _closed(air_mbar: int) -> Iterator[Step]:
    yield Ask(ask=READY)
    yield Expect(expect={"state": "safe", "pressure_ok": 1, **_air(air_mbar)}, within_s=READ_S, for_s=REST_S)


def _sensor_mbar(plan: Plan) -> float:
    """Where the sensor's range ends."""
    return water_of(plan.site).pressure_mbar_at(plan.sensors.pressure.range_m)


def _raised(stage: Stage, air_mbar: int, sensor_mbar: float) -> Iterator[Step]:
    mbar = round(air_mbar + stage.to_mpa * MBAR_PER_MPA)
    yield Person(person="%s Go to %.1f bar absolute by the chamber's gauge, in %d min or slower." % (
        stage.words, mbar / 1000.0, ceil(stage.ramp_min)), touch={"pressure_mbar": mbar}, over_s=60.0 * stage.ramp_min)
    reads = mbar + GAUGE_MBAR + GAUGE_SHARE * mbar < sensor_mbar
    if not reads:
        yield Note(note="The lander's sensor ends at %.1f bar: the chamber's gauge alone tells the pressure here."
                        % (sensor_mbar / 1000.0))
    wanted: dict[str, int | str | Limits] = {"pressure_mbar": _near(mbar)} if reads else {}
    yield Expect(expect={**wanted, **DRY}, within_s=REACHED_S, for_s=60.0 * stage.hold_min)


def _near(mbar: int) -> Limits:
    return Limits(about=mbar, within=round(GAUGE_MBAR + GAUGE_SHARE * mbar),
                  steady=round(STEADY_MBAR + STEADY_SHARE * mbar))


def _let_go(stage: Stage, air_mbar: int) -> Iterator[Step]:
    yield Person(person="Let the pressure go, slowly, to that of the air.", touch={"pressure_mbar": air_mbar},
                 over_s=60.0 * stage.ramp_min)
    yield Expect(expect={"state": "safe", **_air(air_mbar)}, within_s=REACHED_S, for_s=REST_S)
    yield Ask(ask="%s Ends pointing away when it is opened. Is it dry and whole?" % stage.words)


def _air(air_mbar: int) -> dict[str, int | str | Limits]:
    return {"pressure_mbar": Limits(about=air_mbar, within=AIR_MBAR), **DRY}
