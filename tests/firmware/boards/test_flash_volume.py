"""The volume of the journal, as far as it can be held without a littlefs; the rest is tried in MicroPython."""

import importlib.util
import sys
from types import SimpleNamespace

import boards


class Listings:
    """A file system of folders that notes which of its listings were not read to their end."""

    def __init__(self, _device, **_named) -> None:
        self.folders = {"": ["going", "gone", "making", "dive", "plan_0"], "gone": ["0", "size"], "making": [],
                        "dive": ["size"]}
        self.open_listings = 0

    def ilistdir(self, name: str):
        self.open_listings += 1
        yield from [(entry, 0x8000, 0, 0) for entry in self.folders[name]]
        self.open_listings -= 1

    def remove(self, path: str) -> None:
        folder, name = path.split("/")
        self.folders[folder].remove(name)

    def rmdir(self, name: str) -> None:
        self.folders[""].remove(name)

    def open(self, _path: str, _mode: str):
        raise OSError(5)


def test_no_listing_of_the_flash_is_left_in_its_middle(monkeypatch):
    """MicroPython closes a listing that was left when it collects it, in the middle of whatever littlefs does then; a
    storm of lines found the crash at `clear`."""
    monkeypatch.setitem(sys.modules, "vfs", SimpleNamespace(VfsLfs2=Listings))
    spec = importlib.util.spec_from_file_location("flash_volume_here", boards.__path__[0] + "/flash_volume.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    volume = module.FlashVolume(object(), 1000)
    assert volume.mount() == module.UNREADABLE
    assert volume.fs.folders[""] == ["going", "dive", "plan_0"]
    assert volume.fs.open_listings == 0
