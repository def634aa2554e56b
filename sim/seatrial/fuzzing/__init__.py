"""Dives drawn at random from everything that plan, sea, parts and people may be, and shrunk where a law breaks.

| module     | what it holds                                                                        |
|------------|--------------------------------------------------------------------------------------|
| `variants` | plans: keys of the given one with other values, within what the plan's checks allow  |
| `drawing`  | a whole dive as Hypothesis draws it: the plan, the faults and deeds, the seed        |
| `coverage` | what a dive has reached: rows, conditions both ways, faults in each state            |
| `flying`   | one drawn dive flown and judged                                                      |
| `search`   | a round of dives, its findings shrunk to the shortest dive                           |
| `running`  | rounds on several processes, each finding once                                       |
"""
