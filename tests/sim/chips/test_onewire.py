"""The simulated 1-Wire bus: addressing and search bit by bit."""

from seatrial.chips.onewire import DS18B20, OneWireBus

SERIALS = (b"\x11\x22\x33\x44\x55\x66", b"\x11\x22\x33\x44\x55\x67", b"\x01\x00\x00\x00\x00\x00")


def chips():
    return [DS18B20(serial, 10.0 * place) for place, serial in enumerate(SERIALS)]


def search(bus):
    """The binary search of Maxim Application Note 187: every ROM code on the bus (from memory)."""
    found, pending = [], [[]]
    while pending:
        path = pending.pop()
        if not bus.reset():
            break
        bus.writebyte(0xF0)
        code = []
        for place in range(64):
            bit, complement = bus.readbit(), bus.readbit()
            if bit and complement:
                return found
            if place < len(path):
                chosen = path[place]
            else:
                chosen = bit
                if not bit and not complement:
                    pending.append([*code, 1])
            bus.writebit(chosen)
            code.append(chosen)
        found.append(bytes(sum(code[8 * at + place] << place for place in range(8)) for at in range(8)))
    return found


def test_a_search_finds_every_chip_on_the_bus():
    on_bus = chips()
    assert sorted(search(OneWireBus(*on_bus))) == sorted(chip.rom for chip in on_bus)


def test_only_the_chip_addressed_measures():
    on_bus = chips()
    bus = OneWireBus(*on_bus)
    bus.reset()
    for byte in (0x55, *on_bus[1].rom, 0x44):
        bus.writebyte(byte)
    bus.now_s = 1.0
    assert bus.readbyte() == 0xFF
    assert [chip.conversions for chip in on_bus] == [0, 1, 0]


def test_chips_that_answer_together_give_the_and_of_their_bits():
    on_bus = chips()
    bus = OneWireBus(*on_bus)
    bus.reset()
    bus.writebyte(0x33)
    together = bytes(bus.readbyte() for _ in range(8))
    assert together == bytes(a & b & c for a, b, c in zip(*(chip.rom for chip in on_bus), strict=True))


def test_a_chip_that_was_not_reset_stays_silent():
    bus = OneWireBus(DS18B20(SERIALS[0]))
    bus.writebyte(0xCC)
    bus.writebyte(0xBE)
    assert bus.readbyte() == 0xFF


def test_a_copy_survives_a_loss_of_power_and_a_write_alone_does_not():
    chip = DS18B20(SERIALS[0])
    bus = OneWireBus(chip)
    for extra in ([], [0x48]):
        bus.reset()
        for byte in (0xCC, 0x4E, 1, 2, 0x3F):
            bus.writebyte(byte)
        if extra:
            bus.reset()
            for byte in (0xCC, *extra):
                bus.writebyte(byte)
        chip.power_cycle()
        assert (list(chip.scratchpad[2:5]) == [1, 2, 0x3F]) == bool(extra)
