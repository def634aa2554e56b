"""The table of the published checks tells of every check, says what the markers say, and of none that did not pass."""

from collections import Counter

import pytest

from .table import (
    COMMAND,
    KNOWN,
    README,
    TESTS,
    Outcomes,
    checks,
    checks_in,
    every_test,
    page,
    passed_in,
    place_of,
    tree_of,
)

CHECKS = checks()
TEXT = README.read_text(encoding="utf-8")
NOT_CHECKS = {"test_table.py"}


def test_the_table_is_up_to_date():
    assert page(CHECKS, passed_in(TEXT, CHECKS)) == TEXT, "run: " + COMMAND


@pytest.mark.parametrize("name", sorted(path.name for path in (TESTS / "published").glob("test_*.py")))
def test_every_test_beside_the_table_says_what_it_is_compared_with(name):
    tree = tree_of(TESTS / "published" / name)
    marked = {check.name for check in CHECKS if check.file == "published/" + name}
    assert marked == (set() if name in NOT_CHECKS else {one for one, _node in every_test(tree)})


def test_every_check_is_known_in_one_of_the_ways_and_says_so_where_it_is_from_memory():
    for check in CHECKS:
        assert check.known in KNOWN and check.source and check.tolerance, check.place
        assert check.known != "memory" or "from memory" in check.source, check.place


def test_no_check_of_the_table_has_failed_or_was_left_out():
    told = passed_in(TEXT, CHECKS)
    for check in CHECKS:
        passed, cases = told[check.place].split(" of ")
        assert passed == cases != "0", check.place


def test_the_table_counts_every_case_that_is_in_this_run(cases):
    told = passed_in(TEXT, CHECKS)
    assert {place: told[place].split(" of ")[1] for place in cases} == {place: str(one) for place, one in cases.items()}


def test_two_checks_of_one_file_are_never_told_by_the_same_words():
    assert [words for words, count in Counter((one.file, one.sentence) for one in CHECKS).items() if count > 1] == []


# --- the table itself -----------------------------------------------------------------------------------------------


class Report:
    def __init__(self, nodeid, when, passed):
        self.nodeid, self.when, self.passed = nodeid, when, passed


def test_a_case_that_fails_or_never_begins_is_not_counted_as_passed():
    outcomes = Outcomes()
    for nodeid, *steps in (("tests/a.py::test_b[1]", ("setup", True), ("call", True)),
                           ("tests/a.py::test_b[2]", ("setup", True), ("call", False)),
                           ("tests/a.py::test_b[3]", ("setup", False))):
        for when, passed in steps:
            outcomes.pytest_runtest_logreport(Report(nodeid, when, passed))
    assert outcomes.told() == {"a.py::test_b": "1 of 3"}


def test_a_place_is_the_file_and_the_test_without_its_parameters():
    assert place_of("tests/sim/test_x.py::TestY::test_z[a::b-1]") == "sim/test_x.py::TestY::test_z"
    assert place_of("tests/test_house.py::test_z") == "test_house.py::test_z"


def test_a_marker_that_cannot_be_read_is_named_with_its_test():
    path = TESTS / "published" / "test_never.py"
    for marker in ("source='a', tolerance='b'", "'printed', sauce='a', tolerance='b'", "'printed', source=NONE, tolerance='b'"):
        with pytest.raises(ValueError, match="published/test_never.py::test_it"):
            list(checks_in(path, "@pytest.mark.published(%s)\ndef test_it(): pass" % marker))


def test_a_check_that_was_not_run_is_told_so():
    assert "| not run |" in page(CHECKS[:1], {})
