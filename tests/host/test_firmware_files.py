"""What a board gets: all that its first file needs, and nothing that it does not.

Rules of this project; no outside source. That the files really are enough is asked of a real MicroPython.
"""

import json
import subprocess
from pathlib import Path

import pytest

from seatrial.bodies import find_micropython, firmware_folder
from tumblehome import board_tables, firmware_files
from tumblehome.firmware_files import BOARDS, LISTS, ROLES, MissingFile, sources
from tumblehome.flashing import compiled

FIRMWARE = firmware_folder()
EVERY = [(board, role) for board, kind in BOARDS.items() for role in kind.roles]
FOR_PEOPLE = {"lander/words.py", "boards/wiring.py", "boards/second_wiring.py", "boards/deck_words.py"}
# What the stock MicroPython of a board has and the one of a PC has not.
STAND_INS = "import sys\nclass Nothing: pass\n" + "".join(
    "sys.modules.setdefault(%r, Nothing)\n" % name for name in ("machine", "rp2", "esp32", "onewire", "vfs"))


def written(folder: Path, files: dict[str, str]) -> Path:
    for name, text in {"main.py": "", "lander/__init__.py": "", "boards/__init__.py": "", "drivers/__init__.py": "",
                       **files}.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    return folder


# --- the firmware as it is -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("board, role", EVERY)
def test_every_file_of_a_board_loads_where_only_its_files_are(tmp_path, board, role):
    for name, data in compiled(board, FIRMWARE, role).items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(data)
    load = STAND_INS + "".join("import %s\n" % name.removesuffix(".py").replace("/", ".").removesuffix(".__init__")
                               for name in sources(FIRMWARE, board, role))
    done = subprocess.run([find_micropython(), "-X", "heapsize=4M", "-c", load], cwd=tmp_path, timeout=60, check=False,
                          env={"MICROPYPATH": str(tmp_path)}, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr + done.stdout


@pytest.mark.parametrize("board, role", EVERY)
def test_no_board_gets_what_is_for_people_or_for_a_pc(board, role):
    names = set(sources(FIRMWARE, board, role))
    assert not names & {*FOR_PEOPLE, "boards/simulated.py", "launcher.py", "second_main.py"}
    assert "main.py" in names


def test_a_board_gets_the_pins_of_its_own_kind_only():
    files = {"boards/%s.py" % board for board in board_tables.MAIN} | {"boards/lockstep.py", "boards/stock.py"}
    own = {board: files & set(sources(FIRMWARE, board)) for board in BOARDS}
    assert own == {"unix": {"boards/lockstep.py"}, **{
        board: {"boards/%s.py" % board, "boards/stock.py", "boards/lockstep.py"} for board in board_tables.MAIN}}


@pytest.mark.parametrize("board", board_tables.MAIN)
def test_what_only_a_person_on_deck_asks_for_is_told_from_what_flies(board):
    late = firmware_files.late_sources(FIRMWARE, board)
    assert late < set(sources(FIRMWARE, board))
    assert {"boards/deck_poke.py", "boards/deck_session.py", "lander/console.py", "lander/session.py"} <= late
    assert not late & {"boards/deck_line.py", "boards/flight.py", "lander/mission.py", "lander/wire.py"}


def test_the_second_board_gets_its_own_mind_and_the_first_one_does_not():
    assert {"deadman.py", "boards/second.py"} <= set(sources(FIRMWARE, "pico", "second"))
    assert not {"deadman.py", "boards/second.py"} & set(sources(FIRMWARE, "pico"))
    assert "lander/mission.py" not in sources(FIRMWARE, "pico", "second")


def test_no_file_of_the_firmware_is_left_over():
    there = {path.relative_to(FIRMWARE).as_posix() for path in FIRMWARE.rglob("*.py")}
    needed = {here for role in ROLES for here in sources(FIRMWARE, None, role).values()}
    assert there - needed == {"lander/words.py", "boards/wiring.py", "boards/second_wiring.py", "boards/simulated.py",
                              "boards/deck_words.py", "launcher.py"}


@pytest.mark.parametrize("line, comes, stays", [
    ("PRESSURE = 'MS5837-30BA'", "drivers/ms58xx.py", "drivers/ads1115.py"),
    ("PRESSURE = 'transducer'", "drivers/ads1115.py", "drivers/ms58xx.py"),
    ("RADIO_HZ = 433000000\nGNSS = 0", "drivers/sx127x.py", "drivers/gnss.py"),
    ("RADIO_HZ = 0\nGNSS = 1", "drivers/gnss.py", "drivers/lora_air.py"),
])
def test_a_board_gets_the_drivers_of_what_is_fitted(tmp_path, line, comes, stays):
    for path in FIRMWARE.rglob("*.py"):
        (tmp_path / path.relative_to(FIRMWARE)).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path.relative_to(FIRMWARE)).write_bytes(path.read_bytes())
    with (tmp_path / "boards" / "fitted.py").open("a") as fitted:
        fitted.write(line + "\n")
    names = sources(tmp_path, "pico")
    assert comes in names and stays not in names


# --- how they are found --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("source", [
    "import drivers.one", "from drivers import one", "from drivers.one import A",
    "def run():\n    from drivers import one", "try:\n    from drivers import one\nexcept ImportError:\n    pass",
    "try:\n    pass\nexcept ImportError:\n    from drivers import one",
    "class A:\n    def b(self):\n        while 1:\n            import drivers.one",
    "if sys.platform == 'rp2':\n    from drivers import one", "if b:\n    pass\nelse:\n    import drivers.one",
    "if b:\n    import drivers.one", "if fitted.GONE:\n    import drivers.one",
    "if fitted.A == 1 and not fitted.B:\n    import drivers.one",
    "def f():\n    if fitted.B:\n        return 1\n    import drivers.one",
    "def f():\n    if fitted.A:\n        b = 1\n    import drivers.one",
])
def test_an_import_counts_wherever_it_stands(tmp_path, source):
    folder = written(tmp_path, {"main.py": source, "drivers/one.py": "", "boards/fitted.py": "A, B = 1, 0"})
    assert list(sources(folder, "pico")) == ["drivers/__init__.py", "drivers/one.py", "main.py"]


@pytest.mark.parametrize("source", [
    "# import drivers.one", "'import drivers.one'", "if sys.platform == 'esp32':\n    from drivers import one",
    "if sys.platform == 'rp2':\n    pass\nelse:\n    from drivers import one", "if fitted.B:\n    import drivers.one",
    "def f():\n    if fitted.A:\n        return 1\n    import drivers.one",
])
def test_an_import_that_is_never_reached_on_this_board_does_not_count(tmp_path, source):
    folder = written(tmp_path, {"main.py": source, "drivers/one.py": "", "boards/fitted.py": "A, B = 1, 0"})
    assert list(sources(folder, "pico")) == ["main.py"]
    if "if" in source:
        assert "drivers/one.py" in sources(folder), "the list for every board has it"


def test_what_is_imported_brings_what_it_imports_and_circles_end(tmp_path):
    folder = written(tmp_path, {"main.py": "import lander.a", "lander/a.py": "from lander import b",
                                "lander/b.py": "import lander.a\nfrom lander.c import C", "lander/c.py": "C = 1"})
    assert set(sources(folder, "pico")) == {"main.py", "lander/__init__.py", "lander/a.py", "lander/b.py", "lander/c.py"}


@pytest.mark.parametrize("source", ["import lander.gone", "from lander import gone", "from lander.gone import A"])
def test_an_import_of_what_is_not_there_is_told(tmp_path, source):
    with pytest.raises(MissingFile, match=r"main\.py imports lander\.gone.*, and that is not in the firmware folder"):
        sources(written(tmp_path, {"main.py": source}), "pico")


def test_what_micropython_itself_has_is_not_looked_for(tmp_path):
    assert list(sources(written(tmp_path, {"main.py": "import machine, struct\nfrom vfs import VfsLfs2"}), "pico")) == [
        "main.py"]


# --- the lists of mip ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name, role", LISTS.items())
def test_the_lists_of_mip_are_up_to_date(name, role):
    assert (FIRMWARE / name).read_text(encoding="utf-8") == firmware_files.package_json(FIRMWARE, role), (
        "run: python -m tumblehome.firmware_files")


@pytest.mark.parametrize("name, role", LISTS.items())
def test_a_list_of_mip_has_what_any_kind_of_board_needs(name, role):
    # docs.micropython.org, "Package management", package.json: "urls" has pairs of target and source
    listed = {target for target, _source in json.loads((FIRMWARE / name).read_text())["urls"]}
    for board, kind in BOARDS.items():
        if role in kind.roles:
            assert set(sources(FIRMWARE, board, role)) < listed


def test_a_list_that_is_not_up_to_date_is_written_anew_and_one_that_is_stays(tmp_path):
    folder = written(tmp_path, {"main.py": "import lander", "second_main.py": ""})
    assert firmware_files.renew(folder) == ["package.json", "second.json"]
    assert firmware_files.renew(folder) == []
    (folder / "main.py").write_text("import boards")
    assert firmware_files.renew(folder) == ["package.json"]
    assert ["boards/__init__.py", "boards/__init__.py"] in json.loads((folder / "package.json").read_text())["urls"]
