"""The simulated SPI bus: everybody hears, the line floats high, and faults are those of a bus."""

import pytest

from seatrial.chips.buses import SPIBus


class Device:
    """Hears every byte and answers with what it is told to."""

    def __init__(self, answer: int | None = None) -> None:
        self.heard: list[int] = []
        self.answer = answer

    def exchange(self, byte: int) -> int | None:
        self.heard.append(byte)
        return self.answer


def test_every_device_hears_every_byte_in_order():
    one, other = Device(), Device()
    bus = SPIBus(one, other)
    bus.write(b"\x01\x02")
    bus.write_readinto(b"\x03", bytearray(1))
    bus.readinto(bytearray(2), 0x55)
    assert one.heard == other.heard == [1, 2, 3, 0x55, 0x55] and bus.moved == 5


@pytest.mark.parametrize("answers, line, conflicts", [((), 0xFF, 0), ((None, None), 0xFF, 0), ((0x3C, None), 0x3C, 0),
                                                      ((0x3C, 0x0F), 0x0C, 2)])
def test_the_line_shows_who_drives_it_and_floats_high(answers, line, conflicts):
    bus = SPIBus(*(Device(answer) for answer in answers))
    into = bytearray(2)
    bus.write_readinto(b"\x00\x00", into)
    assert list(into) == [line, line] and bus.conflicts == conflicts
    bus.readinto(into)
    assert list(into) == [line, line]


def test_a_dead_bus_moves_nothing():
    device = Device()
    bus = SPIBus(device)
    bus.dead = True
    for transfer in (lambda: bus.write(b"\1"), lambda: bus.readinto(bytearray(1)),
                     lambda: bus.write_readinto(b"\1", bytearray(1))):
        with pytest.raises(OSError):
            transfer()
    bus.dead = False
    bus.fail_next = 1
    with pytest.raises(OSError):
        bus.write(b"\1")
    assert device.heard == []
    bus.write(b"\1")
    assert device.heard == [1]


def test_buffers_of_two_lengths_are_refused():
    with pytest.raises(ValueError, match="2 and 1 bytes"):
        SPIBus().write_readinto(b"\0\0", bytearray(1))
