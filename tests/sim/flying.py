"""Flying the sample plan in a test. No tests of its own."""

from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.laws import BROKEN, Verdict
from seatrial.plan import Plan, load_sample
from seatrial.result import DiveResult

SAMPLE = load_sample()


def changed(plan: Plan = SAMPLE, **sections) -> Plan:
    """The plan with other numbers: `changed(times={"timed_release_min": 60})`. The plan's own checks are passed over."""
    return plan.model_copy(update={
        name: getattr(plan, name).model_copy(update=numbers) for name, numbers in sections.items()})


# A dive of an hour, for tests that fly many or fly slowly.
SHORT = changed(
    dive={"watch_after_surfacing_min": 20.0}, journal={"reading_bottom_s": 30.0},
    times={"timed_release_min": 60.0, "latest_release_min": 80.0})


def dive(*faults: str, plan: Plan = SAMPLE, seed: int = 1, body=None) -> Dive:
    """A dive that is ready to run, with faults as they are written on the command line."""
    return Dive(plan, [parse(text) for text in faults], seed, body)


def fly(*faults: str, plan: Plan = SAMPLE, seed: int = 1, body=None) -> DiveResult:
    return dive(*faults, plan=plan, seed=seed, body=body).run()


def verdict(result: DiveResult, number: int) -> Verdict:
    return next(one for one in result.verdicts if one.number == number)


def broken(result: DiveResult) -> dict[int, str]:
    """Numbers of the laws that were broken, each with its sentence."""
    return {one.number: one.sentence for one in result.verdicts if one.verdict == BROKEN}
