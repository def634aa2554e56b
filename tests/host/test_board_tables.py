"""Every signal of a board has one place, and the documents read the places from the files that the board runs."""

import pytest

from tumblehome import board_tables, wiring_picture
from tumblehome.board_tables import PIN, REGISTER, SELECTOR

SELECT_LINES = ("select_0", "select_1", "select_2")


@pytest.mark.parametrize("board", board_tables.BOARDS)
def test_every_signal_of_the_wiring_has_exactly_one_place(board):
    wiring, table = board_tables.BOARDS[board]
    wanted = [row[0] for row in board_tables.tables(wiring)[table]]
    assert sorted(one.name for one in board_tables.signals(board)) == sorted(wanted)
    assert len(set(wanted)) == len(wanted)


@pytest.mark.parametrize("board", board_tables.BOARDS)
def test_no_place_is_given_twice(board):
    places = [(one.way, one.number) for one in board_tables.signals(board)]
    assert len(set(places)) == len(places)


@pytest.mark.parametrize("board", board_tables.MAIN)
def test_the_analogue_switch_has_as_many_channels_as_its_lines_can_select(board):
    channels = [one.number for one in board_tables.signals(board) if one.way == SELECTOR]
    assert channels and max(channels) < 2 ** len(SELECT_LINES)


@pytest.mark.parametrize("board", board_tables.MAIN)
def test_nothing_that_must_be_fast_or_be_read_stands_behind_the_shift_register(board):
    """A register only drives levels: a PWM, a bus or a reading through it would never work."""
    assert {one.kind for one in board_tables.signals(board) if one.way == REGISTER} == {"output"}
    assert {one.kind for one in board_tables.signals(board) if one.way == SELECTOR} == {"analogue"}


@pytest.mark.parametrize("board", board_tables.MAIN)
def test_the_release_needs_a_pin_and_the_register_both_so_that_no_one_chip_fires_it(board):
    ways = {one.name: one.way for one in board_tables.signals(board)}
    assert (ways["primary_arm"], ways["primary_fire"]) == (REGISTER, PIN)


@pytest.mark.parametrize("board", board_tables.BOARDS)
def test_every_output_that_drives_a_switch_is_held_off_by_a_resistor(board):
    """A pin is an input from reset until the first step: whatever it switches must be off without it."""
    for one in board_tables.signals(board):
        if one.kind in ("output", "PWM") and ("switch" in one.resistor or "bridge" in one.resistor):
            assert [way for _value, way in wiring_picture.hanging(one.resistor)] == [wiring_picture.DOWN], one
            assert one.at_reset in ("off", "low"), one


@pytest.mark.parametrize("board", board_tables.MAIN)
def test_all_loads_and_releases_are_among_those_that_a_resistor_holds_off(board):
    held = {one.name for one in board_tables.signals(board) if "10 kOhm to ground" in one.resistor}
    assert held >= {"primary_arm", "primary_fire", "backup_opener", "backup_locker", "camera_supply", "power_button",
                    "record_button", "lights", "fan", "beacon", "surface_supply"}


@pytest.mark.parametrize("board", board_tables.BOARDS)
def test_every_resistor_is_told_in_words_that_the_pictures_understand(board):
    words = {one.resistor for one in board_tables.signals(board)}
    assert [text for text in words if not list(wiring_picture.hanging(text))] == ["none"]


def test_a_resistor_in_other_words_is_refused():
    with pytest.raises(ValueError, match="no resistor"):
        list(wiring_picture.hanging("ten kOhm, somewhere"))


def test_a_resistor_in_series_and_a_second_one_are_both_understood():
    assert list(wiring_picture.hanging("47 kOhm in series, and 1 MOhm to ground")) == [
        ("47 kOhm", wiring_picture.ALONG), ("1 MOhm", wiring_picture.DOWN)]
    assert list(wiring_picture.hanging("none; 1 nF to ground")) == [("1 nF", wiring_picture.DOWN)]


def test_no_two_chips_on_the_bus_have_one_address():
    parts = board_tables.fitted()
    addresses = [value for name, value in parts.items() if name.endswith("_ADDRESS")]
    assert len(addresses) == 5 == len(set(addresses))


def test_the_numbers_of_the_probes_rise_as_their_driver_wants_them():
    """series above wet; wet, dry, broken rise: `drivers.probe` refuses others, on the board, where it is too late."""
    for name in ("LEAK_OHM", "CONTACT_OHM"):
        series, wet, dry, broken = board_tables.fitted()[name]
        assert 0 < wet < dry < broken and wet < series


def test_constants_follow_the_imports_between_board_files(tmp_path):
    source = tmp_path / "one.py"
    source.write_text('from boards.wiring import PWM as KIND\nimport os\nA, B = 1, "b"\nROWS = ((KIND, A),)\n'
                      "SIZE = len(ROWS)\nclass C:\n    D = 4\n", encoding="utf-8")
    assert board_tables.constants(source) == {"KIND": "PWM", "A": 1, "B": "b", "ROWS": (("PWM", 1),)}
