"""The board's own modules in this process: they are firmware and no part of what is installed, but lie beside it."""

import sys
from importlib import import_module
from types import ModuleType

from seatrial.bodies import firmware_folder


def board_module(name: str) -> ModuleType:
    """The module of this name from `boards` or `drivers`. Raises BodyError where this installation lacks them."""
    folder = str(firmware_folder())
    if folder not in sys.path:
        sys.path.append(folder)
    return import_module(name)
