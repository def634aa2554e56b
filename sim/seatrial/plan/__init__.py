"""The plan file: the one place where a person writes down a dive, read, checked and turned into orders.

A plan is TOML. Each section is one model in `sections` or `body` and each key one field, with its unit in the name; the
built-in `sample.toml` shows all of them. Reading goes in two stages. First every key by itself: known, present, of the
right kind, in range (`sentences`); a plan that got so far is a draft. Then the keys against each other (`checks`): can
it be flown? Whatever is wrong is told as a list of sentences in a `PlanError`, all that were found, each with the key,
the value, what is allowed and the way out. What is legal but worth a second thought is told by `Plan.cautions()`. What
a draft comes to is worked out in `seatrial.workings`.

What goes where, each module importing only from those above it:

| module       | what it holds                                                            |
|--------------|--------------------------------------------------------------------------|
| `units`      | units as they end a key                                                  |
| `wording`    | how values stand in a sentence, and the error that carries sentences     |
| `sample`     | the built-in sample plan                                                 |
| `conversion` | keys that go into the mission record, and their rounding                 |
| `keys`       | how a key is declared: meaning and hard bounds                           |
| `totals`     | a list of parts summed up: mass, volume, drag, added mass                |
| `body`       | the lander's sections: parts, floats, ballast, shells                    |
| `sections`   | all other sections, one model each                                       |
| `attempts`   | the release attempts, made by the mission core itself                    |
| `reckoning`  | weights, speeds and times that follow from a plan                        |
| `energy`     | what the main pack holds and where it goes                               |
| `orders`     | the mission record of a plan                                             |
| `checks`     | keys against each other                                                  |
| `cautions`   | allowed, and worth a second thought                                      |
| `whole`      | the plan itself                                                          |
| `sentences`  | what is wrong with a single key, in words                                |
| `waters`     | rows, measured casts or the standard profile; the link that corrodes     |
| `reading`    | file or text to plan                                                     |
"""

from seatrial.plan.checks import faults_of
from seatrial.plan.energy import (
    DiveEnergy,
    EnergyBudget,
    affordable_release_min,
    cold_resistance_ohm,
    coldest_water_c,
    energy_budget,
    filming_load_ma,
    filming_supply_mv,
)
from seatrial.plan.orders import orders_of
from seatrial.plan.reading import draft, draft_file, draft_sample, load, load_sample, parse
from seatrial.plan.reckoning import (
    ascent_s,
    channels_of,
    descent_s,
    filming_from_min,
    gravity_m_s2,
    planned_readings,
    slowest_place,
    watches_s,
    water_of,
    weight_in_water_kg,
)
from seatrial.plan.sample import sample_text
from seatrial.plan.units import UNITS, Unit, symbol_of, unit_of
from seatrial.plan.whole import Plan
from seatrial.plan.wording import PlanError

__all__ = [
    "DiveEnergy", "EnergyBudget", "Plan", "PlanError", "UNITS", "Unit", "affordable_release_min", "ascent_s",
    "channels_of", "cold_resistance_ohm", "coldest_water_c", "descent_s", "draft", "draft_file", "draft_sample",
    "energy_budget", "faults_of", "filming_from_min", "filming_load_ma", "filming_supply_mv", "gravity_m_s2", "load",
    "load_sample", "orders_of", "parse", "planned_readings", "sample_text", "slowest_place", "symbol_of",
    "unit_of", "water_of", "watches_s", "weight_in_water_kg",
]
