"""Plans for the tests of the chapters: the sample with some keys changed, not checked against itself. No tests."""

from seatrial import plan as plans
from seatrial.plan import Plan


def sample() -> Plan:
    return plans.load_sample()


def with_keys(plan: Plan | None = None, **values) -> Plan:
    """The sample, or a plan, with keys set: `with_keys(site__depth_m=500.0)`; a double underscore stands for a dot."""
    plan = sample() if plan is None else plan
    for name, value in values.items():
        plan = _set(plan, name.split("__"), value)
    return plan


def _set(section, path, value):
    name, *rest = path
    return section.model_copy(update={name: _set(getattr(section, name), rest, value) if rest else value})
