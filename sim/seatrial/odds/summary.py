"""What the odds came to, as plain data: the content of `odds.json`, and what the terminal tells."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from lander import VERSION
from seatrial.account import CAUTIONS
from seatrial.campaign.flying import Row
from seatrial.odds.rates import Rates
from seatrial.odds.reckoning import (
    DOUBT,
    LOST,
    Cause,
    Estimate,
    Flown,
    Improvement,
    causes,
    estimate,
    improvements,
    loss_fitted,
    path_of,
    paths,
    with_nothing_failed,
)
from seatrial.plan import Plan
from seatrial.scenario import plan_hash, replay_command

FITTED = "fitted"
GUESSES = ("Of the %d rates and common causes of this table %d are guesses: the odds are no better than they are."
           " Give your own with --rates.")
NO_GUESSES = "The odds are no better than the rates that were given."
LEFT_OUT = "Failures that the table does not name are not in the odds, nor are mistakes in the plan or on deck."
FLOWN_ANYWAY = "A failure that a test on deck would find is flown all the same."


def summary(plan: Plan, plan_path: Path | None, rates: Rates, hours: float, flown: Flown, dives: int, seed: int,
            command: str, fitted: Mapping[tuple[str, str], Sequence[Row]]) -> dict[str, Any]:
    """All that is to be told. `rates` are those of the parts that are fitted; `fitted`: for what is not and could be,
    by what its parts need and in words, the lost dives flown again with it; `command` does it all again."""
    lost, quiet, highest = with_nothing_failed(flown)
    loss = dict(paths(flown))[LOST]
    return {
        "tool": "tumblehome", "version": VERSION, "plan_name": plan.dive.name, "plan_hash": plan_hash(plan),
        "command": command, "seed": seed, "dives_asked": dives, "dives": len(flown.rows),
        "hours": round(hours, 3), "confidence": 1.0 - DOUBT,
        "loss": _estimate(loss),
        "nothing_failed": {"chance": flown.sample.strata[0].chance, "dives": quiet, "lost": lost,
                           "highest_share_lost": highest},
        "paths": [{"path": name, **_estimate(one)} for name, one in paths(flown)],
        "possible": _estimate(estimate(flown, lambda row: path_of(row) == LOST and row.possible)),
        "together": _together(flown),
        "rest_chance": flown.sample.rest,
        "causes": [_cause(cause, plan_path) for cause in causes(flown)],
        "improvements": _improvements(flown, rates, hours, loss.value, fitted),
        "rates": [{"name": part.name, "chance": part.chance(hours), "source": part.source, "guess": part.guess}
                  for part in rates.parts],
        "commons": [{"name": one.name, "parts": list(one.parts), "beta": one.beta, "source": one.source,
                     "guess": one.guess} for one in rates.commons],
        "failed": [{"faults": list(row.faults), "seed": row.seed, "error": row.error,
                    "command": replay_command(plan_path, row.faults, row.seed)} for row in flown.rows if row.error],
        "took_s": round(sum(row.took_s for row in flown.rows), 1),
        "sea_s": round(sum(row.sea_s for row in flown.rows)),
        "cautions": [_guesses(rates), LEFT_OUT, FLOWN_ANYWAY, *CAUTIONS],
    }


def _together(flown: Flown) -> list[dict[str, Any]]:
    """By the number of failures in a dive: their chance, the dives flown with so many, and those lost."""
    found: dict[int, dict[str, Any]] = {}
    for stratum, rows in flown.by_stratum():
        one = found.setdefault(stratum.together, {"failures": stratum.together, "chance": 0.0, "dives": 0, "lost": 0})
        one["chance"] += stratum.chance
        one["dives"] += len(rows)
        one["lost"] += sum(path_of(row) == LOST for row in rows)
    return list(found.values())


def _guesses(rates: Rates) -> str:
    guesses = sum(part.guess for part in rates.parts) + sum(one.guess for one in rates.commons)
    if not guesses:
        return NO_GUESSES
    return GUESSES % (len(rates.parts) + len(rates.commons), guesses)


def _estimate(one: Estimate) -> dict[str, Any]:
    return {"value": one.value, "lowest": one.lowest, "highest": one.highest, "dives": one.dives}


def _cause(cause: Cause, plan_path: Path | None) -> dict[str, Any]:
    return {"failures": list(cause.events), "chance": cause.chance, "dives": cause.dives,
            "faults": list(cause.example.faults), "seed": cause.example.seed,
            "command": replay_command(plan_path, cause.example.faults, cause.example.seed)}


def _improvements(flown: Flown, rates: Rates, hours: float, loss: float,
                  fitted: Mapping[tuple[str, str], Sequence[Row]]) -> list[dict[str, Any]]:
    """What would help, with the part of the loss that would be gone; what helps most comes first."""
    found = improvements(flown, rates, hours)
    for (needs, words), again in fitted.items():
        found.append(Improvement(words, FITTED, *loss_fitted(flown, again, rates, needs, hours)))
    return [{"name": one.name, "what": one.what, "loss": one.loss, "dives": one.dives,
             "part_gone": 1.0 - one.loss / loss if loss else 0.0}
            for one in sorted(found, key=lambda one: (one.loss, one.name))]
