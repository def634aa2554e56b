"""A plan with some of its keys changed: a variant of a dive that is checked like a plan from a file."""

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from seatrial.plan.checks import faults_of, rows_out_of_order
from seatrial.plan.sentences import sentences_of
from seatrial.plan.whole import Plan
from seatrial.plan.wording import PlanError


def changed(plan: Plan, changes: Mapping[str, Any]) -> Plan:
    """This plan with other values at some dotted keys, such as {"times.timed_release_min": 200}.

    A key may be a whole section where a table is given; it then replaces what stood there. Measured water and the
    range of a corroding link stay as they were read. Raises PlanError with every sentence there is to say, as `load`
    does.
    """
    if not changes:
        return plan
    tables = plan.model_dump()
    for key, value in changes.items():
        _put(tables, key, value)
    try:
        variant = Plan.model_validate(tables)
    except ValidationError as error:
        raise PlanError(sentences_of(error, tables)) from None
    sentences = rows_out_of_order(variant) or faults_of(variant)
    if sentences:
        raise PlanError(sentences)
    said = "\n".join("# changed: %s = %r" % change for change in changes.items())
    variant._source_text, variant._notes = "%s\n%s" % (said, plan.source_text), plan.notes
    return variant


def _put(tables: dict[str, Any], key: str, value: Any) -> None:
    """Set it where it stands; a key that is not known is made, for the models to refuse by its name."""
    *way, last = key.split(".")
    for name in way:
        inner = tables.get(name)
        if not isinstance(inner, dict):
            raise PlanError(["%s cannot be changed: the plan has no section %s" % (key, name)])
        tables = inner
    tables[last] = value
