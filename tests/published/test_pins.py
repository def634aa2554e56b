"""The pins of the board files against what the chips can do on them.

Sources, all from memory: Raspberry Pi Ltd, "RP2040 Datasheet", section 1.4.3 (GPIO functions) and 4.5.2 (PWM), and
"Raspberry Pi Pico Datasheet" (header, pins used on the board itself); Espressif, "ESP32 Series Datasheet" (pin list,
strapping pins, input-only pins) and "ESP-IDF Programming Guide" (GPIO and ADC).
"""

import ast

import pytest

from tumblehome import board_tables, wiring_picture
from tumblehome.board_tables import PIN

ESP32 = "ESP32 datasheet and ESP-IDF Programming Guide (from memory)"
RP2040 = "RP2040 and Raspberry Pi Pico datasheets (from memory)"

# RP2040, section 1.4.3: GPIO by function, first instance and second.
SPI = {
    "spi_miso": ({0, 4, 16, 20}, {8, 12, 24, 28}),  # RX
    "spi_sck": ({2, 6, 18, 22}, {10, 14, 26}),
    "spi_mosi": ({3, 7, 19, 23}, {11, 15, 27}),  # TX
}
I2C = {
    "i2c_sda": ({0, 4, 8, 12, 16, 20, 24, 28}, {2, 6, 10, 14, 18, 22, 26}),
    "i2c_scl": ({1, 5, 9, 13, 17, 21, 25, 29}, {3, 7, 11, 15, 19, 23, 27}),
}
UART = {
    "gnss_rx": ({1, 13, 17, 29}, {5, 9, 21, 25}),
    "modem_tx": ({0, 12, 16, 28}, {4, 8, 20, 24}),
}
CONVERTERS = {26, 27, 28}  # ADC0 to ADC2; ADC3 on 29 measures the supply of the Pico
ON_THE_PICO_ITSELF = {23, 24, 29}  # power save, USB sense, supply
LAMP_OF_THE_PICO = 25

# ESP32
FLASH = {6, 7, 8, 9, 10, 11}
ABSENT = {20, 24, 28, 29, 30, 31}
SERIAL_LINE = {1, 3}
INPUTS_ONLY = {34, 35, 36, 37, 38, 39}
CONVERTER_1 = {32, 33, 34, 35, 36, 37, 38, 39}  # the second converter is not free while the radio of the chip works
STRAPPING_LEFT_FREE = {0, 2}
WANTED_AT_START = {12: wiring_picture.DOWN, 5: wiring_picture.UP, 15: wiring_picture.UP}  # 12 high: flash at 1.8 V, no start


def pins(board):
    return {one.name: one for one in board_tables.signals(board) if one.way == PIN}


def frequency_hz(board, name):
    """PWM frequencies as the firmware sets them; the latch's is that of a servo or of a motor."""
    numbers = board_tables.tables("second" if board == "second" else "gear")
    if name == "lights":
        return numbers["LIGHTS_HZ"]
    return numbers["FIRE_HZ"] if name.endswith("fire") else numbers["SERVO_HZ"]


@pytest.mark.published("memory", source=RP2040, tolerance="exact")
@pytest.mark.parametrize("board", ["pico", "second"])
def test_a_pico_has_every_pin_that_is_used_and_does_not_need_it_itself(board):
    numbers = {one.number for one in pins(board).values()}
    assert numbers <= set(range(29)) - ON_THE_PICO_ITSELF


@pytest.mark.published("memory", source=RP2040, tolerance="exact")
@pytest.mark.parametrize("board", ["pico", "second"])
def test_only_a_lamp_is_on_the_pin_that_the_header_does_not_have(board):
    assert [name for name, one in pins(board).items() if one.number == LAMP_OF_THE_PICO] == ["status"]
    assert [name for name, one in pins(board).items() if one.number not in wiring_picture.PICO_PLACES] == ["status"]


@pytest.mark.published("memory", source=RP2040, tolerance="exact")
@pytest.mark.parametrize("board", ["pico", "second"])
def test_the_buses_of_a_pico_are_on_pins_that_have_them_all_of_one_instance(board):
    for functions in (SPI, I2C, UART):
        found = {name: one.number for name, one in pins(board).items() if name in functions}
        assert not found or set(found) == set(functions)
        assert not found or any(all(number in functions[name][instance] for name, number in found.items())
                                for instance in (0, 1)), found


@pytest.mark.published("memory", source=RP2040, tolerance="exact")
def test_the_instances_are_those_that_the_board_file_asks_for():
    """`buses` of the board files: SPI, I2C, UART, by number; read from the class, which no constant table has."""
    for board in ("pico", "second"):
        tree = ast.parse((board_tables.FIRMWARE / "boards" / f"{board}.py").read_text(encoding="utf-8"))
        buses = next(ast.literal_eval(node.value) for node in ast.walk(tree)
                     if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "buses")
        for functions, instance in zip((SPI, I2C, UART), buses, strict=True):
            for name, one in pins(board).items():
                assert name not in functions or one.number in functions[name][instance], (board, name)


@pytest.mark.published("memory", source=RP2040, tolerance="exact")
@pytest.mark.parametrize("board", ["pico", "second"])
def test_every_reading_of_a_pico_is_on_a_pin_with_a_converter(board):
    assert {one.number for one in pins(board).values() if one.kind == "analogue"} <= CONVERTERS


@pytest.mark.published("memory", source=RP2040, tolerance="exact")
@pytest.mark.parametrize("board", ["pico", "second"])
def test_pwm_outputs_of_one_slice_have_one_frequency_and_a_channel_each(board):
    """RP2040, 4.5.2: GPIO n is on slice n / 2 modulo 8, channel n modulo 2."""
    seen = {}
    for name, one in pins(board).items():
        if one.kind == "PWM":
            seen.setdefault(one.number // 2 % 8, []).append((one.number % 2, frequency_hz(board, name)))
    for users in seen.values():
        assert len({channel for channel, _hz in users}) == len(users)
        assert len({hz for _channel, hz in users}) == 1


@pytest.mark.published("memory", source=ESP32, tolerance="exact")
def test_an_esp32_has_every_pin_that_is_used_and_does_not_need_it_itself():
    numbers = {one.number for one in pins("esp32").values()}
    assert numbers <= set(range(40)) - FLASH - ABSENT - SERIAL_LINE - STRAPPING_LEFT_FREE


@pytest.mark.published("memory", source=ESP32, tolerance="exact")
def test_pins_of_an_esp32_that_only_listen_are_only_listened_to():
    listening = {"input", "analogue"}
    for name, one in pins("esp32").items():
        assert one.number not in INPUTS_ONLY or one.kind in listening or name == "gnss_rx", name


@pytest.mark.published("memory", source=ESP32, tolerance="exact")
def test_an_input_without_a_pull_up_in_the_chip_has_one_beside_it():
    for name, one in pins("esp32").items():
        if one.number in INPUTS_ONLY and one.kind == "input":
            assert wiring_picture.UP in [way for _value, way in wiring_picture.hanging(one.resistor)], name


@pytest.mark.published("memory", source=ESP32, tolerance="exact")
def test_pins_that_tell_an_esp32_how_to_start_have_the_level_that_it_wants():
    by_number = {one.number: one for one in pins("esp32").values()}
    for number, wanted in WANTED_AT_START.items():
        assert [way for _value, way in wiring_picture.hanging(by_number[number].resistor)] == [wanted], number


@pytest.mark.published("memory", source=ESP32, tolerance="exact")
def test_the_reading_of_an_esp32_is_on_the_converter_that_the_radio_leaves_alone():
    assert {one.number for one in pins("esp32").values() if one.kind == "analogue"} <= CONVERTER_1


@pytest.mark.published("memory", source=RP2040, tolerance="at least 0.7 of the supply")
def test_every_line_that_wants_a_level_at_reset_gets_it_against_the_pull_of_the_chip():
    """RP2040 datasheet, 5.5.3 (from memory): pulls of the chip 50 to 80 kOhm, high from 2.0 V, low to 0.8 V at 3.3 V.

    74HC parts at 3.3 V take 0.7 of the supply for high, common practice, no source; the stronger demand is used.
    """
    for one in pins("pico").values():
        for value, way in wiring_picture.hanging(one.resistor):
            if value.endswith("kOhm") and " to " not in value and way == wiring_picture.UP:
                assert 50 / (50 + float(value.split()[0])) >= 0.7, one.name
