"""Odds: how likely the lander is lost, and each way home, given how often its parts fail.

| module        | what it holds                                                                         |
|---------------|---------------------------------------------------------------------------------------|
| `rates`       | how often parts fail, in which ways, and together: read from a table, into events      |
| `drawing`     | which events a dive has: drawn by their number, so that rare ones are flown often      |
| `proportions` | bounds of a share that was counted                                                    |
| `reckoning`   | from flown dives to probabilities with bounds, what loses it, and what would help most |
| `summary`     | all of it as plain data                                                               |
"""
