"""The lander's report on the air, by the published formula of LoRa.

Semtech SX1276/77/78/79 datasheet, section 4.1.1.7. A public time-on-air sheet gives 164.864 ms for 13 bytes at a
spreading factor of 9, 125 kHz, 4/5, preamble of 8, explicit header and CRC; the other rows were worked out by the same
formula with independent code.
"""

import pytest

from drivers import lora_air
from lander import report

KHZ_125 = lora_air.bandwidth_code(125000)


@pytest.mark.published(
    "printed", ids="6.9", tolerance="exact",
    source="Semtech SX1276 datasheet, section 4.1.1.7; 164.864 ms in a public time-on-air sheet, the rest by "
           "independent code")
@pytest.mark.parametrize(("factor", "count", "air_ms"), [
    (9, 13, 164.864), (7, 20, 56.576), (10, 20, 370.688), (11, 30, 905.216), (12, 20, 1318.912), (12, 64, 2793.472)])
def test_the_time_on_air_is_that_of_the_published_table(factor, count, air_ms):
    assert lora_air.air_us(count, factor, KHZ_125, 1) == round(1000 * air_ms)


@pytest.mark.published("worked", ids="6.9", source="the same formula by hand", tolerance="exact")
def test_a_report_leaves_room_for_its_double_in_one_percent_of_the_time():
    # Symbols of 29 bytes by hand: 8 x 29 - 4 x 9 + 28 + 16 = 240 bits, 7 blocks of 36, 8 + 7 x 5 = 43 and 12.25 before.
    air_us = lora_air.air_us(report.FRAME_BYTES, 9, KHZ_125, 1)
    assert air_us == int((43 + 12.25) * 4096)
    doubled_every_s = report.PACE[0][1] / 10
    assert air_us / 1e6 / doubled_every_s <= 0.01, "the ordinary pace by itself stays below one percent"
