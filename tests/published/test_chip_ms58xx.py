"""Pressure chips against the examples that their datasheets print."""

from fractions import Fraction

import pytest

from drivers.ms58xx import MS58xx as Driver
from drivers.ms58xx import crc4
from seatrial.chips.buses import I2CBus
from seatrial.chips.ms58xx import MS58xx, burnt, crc_of

# TE Connectivity, MS5837-30BA datasheet, "Pressure and temperature calculation": typical values of C1 to C6, D1, D2.
EXAMPLE_30BA = (34982, 36352, 20328, 22354, 26646, 26146)
# TE Connectivity, MS5837-02BA datasheet, same section.
EXAMPLE_02BA = (46372, 43981, 29059, 27842, 31553, 28165)
# TE Connectivity, MS5803-14BA datasheet, same section (D1, D2 read; coefficients and result from memory).
EXAMPLE_14BA = (46546, 42845, 29751, 29457, 32745, 29059)
# TE Connectivity, application note AN520, "CRC-4": the sequence 3132h 3334h 3536h 3738h 3940h 4142h 4344h 4500h.
EXAMPLE_AN520 = (0x3132, 0x3334, 0x3536, 0x3738, 0x3940, 0x4142, 0x4344, 0x4500)


def read(variant: str, coefficients: tuple, raw: tuple, first_word: int = 0) -> Driver:
    chip = MS58xx(variant)
    chip.prom = burnt(variant, coefficients, first_word)
    chip.raw = raw
    bus = I2CBus()
    bus.chips[0x76] = chip
    driver = Driver(bus, variant)
    for now_ms in range(100):
        chip.now_s = now_ms / 1000
        driver.tick(now_ms)
    assert driver.ok == 1
    assert driver.faults == 0
    return driver


@pytest.mark.published(
    "printed", ids="8.1", tolerance="exact",
    source='TE Connectivity, MS5837-30BA datasheet, "Pressure and temperature calculation"')
def test_the_example_of_the_ms5837_30ba_reads_3999_8_mbar_at_19_81_c():
    # Same datasheet; the second order leaves both as they are. dT is negative: C's division would print 19.82.
    driver = read("MS5837-30BA", EXAMPLE_30BA, (4958179, 6815414))
    assert (driver.pressure_steps, driver.steps_per_mbar, driver.centi_c) == (39998, 10, 1981)
    assert driver.pressure_mbar == 4000


@pytest.mark.published(
    "printed", ids="8.2", tolerance="exact",
    source='TE Connectivity, MS5837-02BA datasheet, "Pressure and temperature calculation"')
def test_the_example_of_the_ms5837_02ba_reads_1100_02_mbar_at_20_c():
    driver = read("MS5837-02BA", EXAMPLE_02BA, (6465444, 8077636))
    assert (driver.pressure_steps, driver.steps_per_mbar, driver.centi_c) == (110002, 100, 2000)
    assert driver.pressure_mbar == 1100


@pytest.mark.published(
    "memory", ids="8.3", tolerance="exact",
    source="TE Connectivity, MS5803-14BA datasheet (D1 and D2 read; coefficients and result from memory)")
def test_the_example_of_the_ms5803_14ba_reads_1000_5_mbar_at_20_15_c():
    driver = read("MS5803-14BA", EXAMPLE_14BA, (4311550, 8387300))
    assert (driver.pressure_steps, driver.steps_per_mbar, driver.centi_c) == (10005, 10, 2015)
    assert driver.pressure_mbar == 1001


@pytest.mark.published(
    "printed", ids="8.4", tolerance="exact",
    source='TE Connectivity, application note AN520, "CRC-4"')
@pytest.mark.parametrize("crc", [crc4, crc_of], ids=["of the driver", "of the simulated chip"])
def test_the_crc_of_the_sequence_in_an520_is_b(crc):
    assert crc(EXAMPLE_AN520) == 0xB


@pytest.mark.published(
    "printed", ids="8.4", tolerance="exact",
    source="AN520's method on the MS5837-30BA's coefficients; results as in published driver tests")
@pytest.mark.parametrize("crc", [crc4, crc_of], ids=["of the driver", "of the simulated chip"])
@pytest.mark.parametrize(("first_word", "expected"), [(0x0340, 0x9), (0x0000, 0x2)])
def test_the_crc_of_the_example_prom_stands_in_the_first_four_bits(crc, first_word, expected):
    assert crc((first_word, *EXAMPLE_30BA, 0)) == expected


@pytest.mark.published("printed", ids="8.4", source="results as in published driver tests", tolerance="exact")
def test_a_prom_with_its_crc_in_word_0_is_taken_as_it_stands_in_the_chip():
    assert burnt("MS5837-30BA", EXAMPLE_30BA, 0x0340)[0] == 0x9340
    assert read("MS5837-30BA", EXAMPLE_30BA, (4958179, 6815414), 0x0340).centi_c == 1981


# Second order of the datasheets (section "Second order temperature compensation"): of dT and of the first-order T in
# hundredths of a degree, the terms taken from T, OFF and SENS. In exact fractions, so that nothing is cut.
def second_order_30ba(dt: Fraction, t: Fraction) -> tuple:
    if t >= 2000:
        return 2 * dt**2 / 2**37, (t - 2000)**2 / 2**4, 0
    further = (t + 1500)**2 if t < -1500 else 0
    return 3 * dt**2 / 2**33, 3 * (t - 2000)**2 / 2 + 7 * further, 5 * (t - 2000)**2 / 2**3 + 4 * further


def second_order_02ba(dt: Fraction, t: Fraction) -> tuple:
    if t >= 2000:
        return 0, 0, 0
    return 11 * dt**2 / 2**35, 31 * (t - 2000)**2 / 2**3, 63 * (t - 2000)**2 / 2**5


def second_order_14ba(dt: Fraction, t: Fraction) -> tuple:
    less_t, less_off, less_sens = second_order_30ba(dt, t)
    return (less_t if t < 2000 else 7 * dt**2 / 2**37), less_off, less_sens


MAKES = {  # coefficients, D1, bits of the shifts, second order, first-order degrees that stay within the chip's range
    "MS5837-30BA": (EXAMPLE_30BA, 5600000, (16, 7, 15, 8, 13), second_order_30ba, (-15, -14, 0, 4, 19, 21, 40, 80)),
    "MS5837-02BA": (EXAMPLE_02BA, 6400000, (17, 6, 16, 7, 15), second_order_02ba, (-13, 0, 4, 19, 21, 40, 80)),
    "MS5803-14BA": (EXAMPLE_14BA, 5600000, (16, 7, 15, 8, 15), second_order_14ba,
                    (-30, -17, -14, 0, 4, 19, 21, 40, 80)),
}


@pytest.mark.published(
    "printed", ids="8.1a", tolerance="2 steps",
    source='TE Connectivity datasheets, "Second order temperature compensation", in exact fractions')
@pytest.mark.parametrize(("variant", "degrees"), [(name, degrees) for name in MAKES for degrees in MAKES[name][4]])
def test_the_second_order_follows_the_formulas_of_the_datasheet(variant, degrees):
    coefficients, raw_pressure, scales, second_order, _ = MAKES[variant]
    c1, c2, c3, c4, c5, c6 = map(Fraction, coefficients)
    a, b, c, d, e = (Fraction(2)**bits for bits in scales)
    raw_temperature = int(c5 * 2**8 + (100 * degrees - 2000) * 2**23 / c6)
    dt = raw_temperature - c5 * 2**8
    t = 2000 + dt * c6 / 2**23
    less_t, less_off, less_sens = second_order(dt, t)
    off, sens = c2 * a + c4 * dt / b - less_off, c1 * c + c3 * dt / d - less_sens
    driver = read(variant, coefficients, (raw_pressure, raw_temperature))
    assert -2 < driver.centi_c - (t - less_t) < 2
    assert -2 < driver.pressure_steps - (raw_pressure * sens / 2**21 - off) / e < 2


@pytest.mark.published("memory", source='MS5837-30BA datasheet, "Commands" (from memory)', tolerance="exact")
@pytest.mark.parametrize(("oversampling", "pressure", "temperature"), [
    # MS5837-30BA datasheet, "Commands" (from memory).
    (256, 0x40, 0x50), (512, 0x42, 0x52), (1024, 0x44, 0x54), (2048, 0x46, 0x56), (4096, 0x48, 0x58), (8192, 0x4A, 0x5A)])
def test_the_chip_is_sent_the_commands_of_the_datasheet_and_no_others(oversampling, pressure, temperature):
    class Wire(I2CBus):
        def writeto(self, address, data, stop=True):
            seen.append(data[0])
            return super().writeto(address, data, stop)

    seen: list[int] = []
    bus, chip = Wire(), MS58xx("MS5837-30BA")
    bus.chips[0x76] = chip
    driver = Driver(bus, "MS5837-30BA", oversampling=oversampling)
    for now_ms in range(70):
        chip.now_s = now_ms / 1000
        driver.tick(now_ms)
    assert seen == [0x1E, 0xA0, 0xA2, 0xA4, 0xA6, 0xA8, 0xAA, 0xAC, temperature, 0x00, pressure, 0x00]
