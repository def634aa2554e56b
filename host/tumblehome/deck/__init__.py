"""The last check before the splash: `tumblehome deck`.

| module     | what it holds                                                          |
|------------|------------------------------------------------------------------------|
| `watch`    | this machine's clock                                                   |
| `reading`  | everything that is read of the controller, and what moves meanwhile    |
| `asking`   | questions that only the person can answer                              |
| `checks`   | the table of items, each judged from what was read                     |
| `judging`  | go or no-go, and what a person has accepted                            |
| `arming`   | arm, wait for the self-test, verify                                    |
| `conduct`  | the check from its beginning to its end                                |
| `record`   | the signed-off record                                                  |
| `page`     | the same as one page                                                   |
| `command`  | the command itself                                                     |
"""
