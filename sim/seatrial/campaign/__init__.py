"""Campaigns: many dives with faults, chosen by a rule, each judged by every law.

| module      | what it holds                                                                  |
|-------------|--------------------------------------------------------------------------------|
| `phases`    | the moments of a dive at which a fault may begin                               |
| `cover`     | few dives with many faults in which every triple of faults meets               |
| `choosing`  | which dives a campaign flies                                                   |
| `flying`    | one dive becomes one row                                                       |
| `results`   | the rows on disk: they come one by one, and an interrupted campaign goes on    |
| `running`   | processes or a cluster that fly the dives                                      |
| `shrinking` | the shortest scenario that still does the same harm                            |
| `blaming`   | which faults of a dive did the harm, each kind of harm once                    |
| `summary`   | counts, causes, the picture of fault against fault, as plain data              |
"""
