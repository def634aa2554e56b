"""What a search takes where nothing was measured: how likely each way home is, and how well drift is known.

One small table, `guesses.toml`; a person's own file needs only the keys that it changes.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from math import isfinite
from pathlib import Path
from typing import Any

from seatrial.complaints import complaint
from tumblehome.find.mistakes import FindError

BUILT_IN = Path(__file__).parent / "guesses.toml"
BYTES_MAX = 100_000
EVENLY, LOGARITHM = "even", "log"
HELD, ADDED = "held", "added"
CHOICES = {"link_time": (EVENLY, LOGARITHM), "wind_current": (HELD, ADDED)}
CHANCE_MAX = 1e6  # only proportions count
# The most that is taken for a number and not for a slip of the unit.
DRIFT_MAX = {
    "current_error_m_s": 3.0, "current_memory_h": 1e9, "plan_wind_error_m_s": 30.0, "file_wind_error_m_s": 30.0,
    "crosswind_pct": 10.0, "jibes_per_h": 60.0, "diffusivity_m2_s": 1000.0,
}


@dataclass(frozen=True)
class DriftGuesses:
    """How well the drift is known; the errors are standard deviations, east and north each.

    That of the wind is steady in a search, that of the current falls to 1/e of itself in `current_memory_h`.
    """

    current_error_m_s: float
    current_memory_h: float
    plan_wind_error_m_s: float
    file_wind_error_m_s: float
    crosswind_pct: float
    wind_current: str
    jibes_per_h: float
    diffusivity_m2_s: float
    link_time: str


@dataclass(frozen=True)
class Guesses:
    """`ways`: how likely each way home is, in proportion; `drift`: how well the drift is known; `heard`: how likely a
    beacon that calls is heard by those who listen, 0 to 1.
    """

    ways: Mapping[str, float]
    drift: DriftGuesses
    heard: float


@cache
def built_in() -> Guesses:
    """The table that the tool brings along."""
    return _guesses(_tables(BUILT_IN), BUILT_IN.name)


def read(path: Path | None) -> Guesses:
    """The guesses of a person's file over the built-in ones. Raises FindError, a sentence for each thing wrong."""
    if path is None:
        return built_in()
    theirs, ours = _tables(path), _tables(BUILT_IN)
    wrong = [f"{path.name}: [{key}] is not known; known are {', '.join(ours)}" for key in theirs if key not in ours]
    for section in ours.keys() & theirs.keys():
        if not isinstance(theirs[section], dict):
            wrong.append(f"{path.name}: {section} is no section: write [{section}] and its keys below it")
            continue
        wrong += [f"{path.name}: {section}.{key} is not known; known are {', '.join(ours[section])}"
                  for key in theirs[section] if key not in ours[section]]
    if wrong:
        raise FindError(wrong)
    return _guesses({section: {**ours[section], **theirs.get(section, {})} for section in ours}, path.name)


def _tables(path: Path) -> dict[str, Any]:
    try:
        with open(path, "rb") as file:
            content = file.read(BYTES_MAX + 1)
        if len(content) > BYTES_MAX:
            raise FindError([f"{path.name} is longer than {BYTES_MAX} bytes: this is no table of guesses"])
        return tomllib.loads(content.decode("utf-8-sig"))
    except OSError as error:
        raise FindError([f"{path.name} cannot be read ({complaint(error)}): name another file"]) from None
    except (ValueError, RecursionError) as error:  # of UTF-8 and of TOML alike
        raise FindError([f"{path.name} is no TOML file ({complaint(error)}): mend it there"]) from None


def _guesses(tables: dict[str, dict[str, Any]], name: str) -> Guesses:
    ways, drift = tables["ways"], tables["drift"]
    wrong = [sentence for key, value in ways.items()
             for sentence in _not_within(name, f"ways.{key}", value, CHANCE_MAX)]
    wrong += [sentence for key, most in DRIFT_MAX.items()
              for sentence in _not_within(name, f"drift.{key}", drift[key], most)]
    wrong += _not_within(name, "reports.heard", tables["reports"]["heard"], 1.0)
    if drift["current_memory_h"] == 0:
        wrong.append(f"{name}: drift.current_memory_h is 0; allowed is more than 0 to"
                     f" {DRIFT_MAX['current_memory_h']:g}")
    wrong += [f"{name}: drift.{key} is {drift[key]!r}; allowed is \"{one}\" or \"{other}\""
              for key, (one, other) in CHOICES.items() if drift[key] not in (one, other)]
    if not wrong and not sum(ways.values()) > 0:
        wrong.append(f"{name}: every chance in [ways] is 0; give one of them more")
    if wrong:
        raise FindError(wrong)
    return Guesses({key: float(value) for key, value in ways.items()},
                   DriftGuesses(**{field.name: drift[field.name] for field in fields(DriftGuesses)}),
                   float(tables["reports"]["heard"]))


def _not_within(name: str, key: str, value: Any, most: float) -> list[str]:
    number = isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)
    if number and 0 <= value <= most:
        return []
    return [f"{name}: {key} is {value!r}; allowed is a number from 0 to {most:g}"]
