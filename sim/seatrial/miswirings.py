"""Ten controllers that were built wrong, each as a real fault is: in a circuit, on the flash, in the files.

For practice: the person at the line has to find them, and so has every check of the bench.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from lander.orders import RECORD_BYTES
from seatrial.board_files import constants
from seatrial.chips.flash import FlashChip
from seatrial.electronics import WET_SHARE
from seatrial.on_deck import DeckElectronics

WRONG_SHUNT = 2  # times what the board was told
OTHER_VERSION = '\nVERSION = "0.0.1"\n'


def _nothing(_part) -> None:
    """This part is as it should be."""


@dataclass(frozen=True)
class Miswiring:
    """`words` says what is wrong; `wire` does it to the electronics, `spoil` to the flash after the plan was put there,
    `appended` to the ends of files.
    """

    words: str
    wire: Callable[[DeckElectronics], None] = _nothing
    spoil: Callable[[FlashChip], None] = _nothing
    appended: dict[str, str] = field(default_factory=dict)


def _swap_channels(electronics: DeckElectronics) -> None:
    electronics.swapped = True


def _cut_camera(electronics: DeckElectronics) -> None:
    electronics.held.update(camera_supply=0, power_button=0, record_button=0)


def _freeze_pressure(electronics: DeckElectronics) -> None:
    electronics.world.pressure.frozen = True


def _take_other_shunt(electronics: DeckElectronics) -> None:
    electronics.supply.shunt_micro_ohm *= WRONG_SHUNT


def _bridge_leak(electronics: DeckElectronics) -> None:
    electronics.leak.end_ohm = WET_SHARE * electronics.fitted["LEAK_OHM"][1]


def _stop_clock(electronics: DeckElectronics) -> None:
    electronics.clock.oscillator_stopped = True


def _weld_lamp(electronics: DeckElectronics) -> None:
    electronics.held.update(lights_pct=100)


def _protect(flash: FlashChip) -> None:
    flash.refuses = True


def _damage_plan(flash: FlashChip) -> None:
    """Every place that holds a copy, or held one before: bits that fell to 0, as in worn pages."""
    plan_copies = constants("boards/plan_copies.py")
    magic, header = plan_copies["MAGIC"], plan_copies["HEADER_BYTES"]
    length = RECORD_BYTES.to_bytes(2, "little")
    at = flash.image.find(magic)
    while at >= 0:
        if flash.image[at + header - 2:at + header] == length:
            flash.image[at + header:at + header + RECORD_BYTES] = bytes(RECORD_BYTES)
        at = flash.image.find(magic, at + 1)


MISWIRINGS = {
    "channels-swapped": Miswiring("the two releases are plugged into each other's terminals", _swap_channels),
    "camera-dead": Miswiring("the camera's cable is not through: no supply, no buttons", _cut_camera),
    "pressure-frozen": Miswiring("the pressure sensor stands still at what it read first", _freeze_pressure),
    "supply-wrong": Miswiring("the shunt of the supply is twice what the board was told", _take_other_shunt),
    "leak-stuck": Miswiring("something conducts across the leak probe: always wet", _bridge_leak),
    "clock-stopped": Miswiring("the crystal of the clock does not swing, also when it is set", _stop_clock),
    "lamp-on": Miswiring("the switch of the lamps conducts whatever its pin says", _weld_lamp),
    "store-read-only": Miswiring("the flash takes no write", spoil=_protect),
    "plan-damaged": Miswiring("both copies of the plan on the flash are damaged", spoil=_damage_plan),
    "firmware-wrong": Miswiring("a file of another version is among the firmware",
                                appended={"lander/__init__.py": OTHER_VERSION}),
}
