"""The journal on littlefs under real MicroPython: cuts of power, faults of the flash, and what it costs.

The flash is one in memory with the geometry of common serial flash, 256-byte pages and 4 KiB sectors, 100 000 erases a
sector (common practice, no source). littlefs itself is the one inside MicroPython, not ours.
"""

import shutil

import pytest
from test_micropython import run

from lander.journal import RECORD_BYTES
from seatrial import powercuts
from seatrial.powercuts import COURSES, dive_records, measure, renumbered, wrong

EVERY = 151  # the command `python -m seatrial.powercuts` cuts at each
SCRIPT = "scripts/flash_faults.py"
ERASES_A_SECTOR_LASTS = 100_000
SLOTS_OF_THE_SAMPLE = 16384


@pytest.fixture(scope="module")
def records(micropython) -> bytes:
    return dive_records()


@pytest.fixture(scope="module")
def told(micropython, firmware, request) -> dict[str, str]:
    """What the script of faults printed, by case."""
    lines = run([micropython, "-X", "heapsize=8M", str(request.path.parent / SCRIPT)], firmware).splitlines()
    return dict(line.split(" = ", 1) for line in lines)


class TestCuts:
    @pytest.mark.parametrize("course", COURSES, ids=[course.name for course in COURSES])
    def test_no_acknowledged_record_is_lost_and_no_mission_falls_back(self, course, records):
        given = renumbered(records, course.records) if course.records else records
        counted, broken = measure(given, course.slots, every=EVERY)
        assert not broken
        assert not wrong(counted)
        assert counted["cuts"] == 4 * -(-counted["operations"] // EVERY)
        assert counted["second_cuts"] > counted["cuts"]

    def test_the_last_course_fills_every_slot_that_the_flash_has(self, records):
        course = COURSES[-1]
        counted, _ = measure(renumbered(records, course.records), course.slots, every=1000)
        assert counted["records"] - 20 > counted["slots"] > 1000


class TestTheCutsNotice:
    """A journal that is wrong in one place each is found out."""

    @pytest.mark.parametrize(("file", "right", "spoilt"), [
        pytest.param("flash_journal", "        self._tail_file.flush()\n", "", id="the record is not flushed"),
        pytest.param("flash_journal", "_file.write(self._records)\n            self._file.flush()\n",
                     "_file.write(self._records)\n", id="the tail is not flushed into the long file"),
        pytest.param("flash_journal", "if struct.unpack_from(\"<I\", self._tail, 0)[0] == self._end:", "if True:",
                     id="a tail that was copied is taken once more"),
        pytest.param("flash_journal", "            self._recall_tail()\n", "            pass\n", id="the tail is not read"),
        pytest.param("flash_journal", "\"r+b\")", "\"wb\")", id="the heel begins empty at each start"),
        pytest.param("flash_journal", "self._file.seek(0, 2) ==", "self._file.tell() ==", id="the end is misjudged"),
        pytest.param("flash_volume", "self.fs.rename(DIVE, _GONE)", "self._remove(DIVE)", id="erasing file by file"),
        pytest.param("flash_volume", "            self._remove(_MAKING)\n", "", id="half a journal is left in the way"),
    ])
    def test_a_spoilt_journal_is_found_out(self, file, right, spoilt, records, firmware, tmp_path, monkeypatch):
        folder = tmp_path / "firmware"
        shutil.copytree(firmware, folder, ignore=shutil.ignore_patterns("__pycache__"))
        path = folder / "boards" / (file + ".py")
        whole = path.read_text(encoding="utf-8")
        assert whole.count(right) == 1
        path.write_text(whole.replace(right, spoilt), encoding="utf-8")
        monkeypatch.setattr(powercuts, "firmware_folder", lambda: folder)
        # 40 records in 80 slots: 16 in front, the others round the heel.
        counted, broken = measure(records[:60 * RECORD_BYTES], 80, every=11)
        assert wrong(counted) and broken


class TestFaults:
    @pytest.mark.parametrize(("flash", "answer"), [
        ("blank", "blank"), ("garbage", "unreadable"), ("dead", "unreadable"), ("no superblock", "unreadable"),
        ("foreign", "foreign"), ("no room", "no room")])
    def test_a_flash_that_holds_no_journal_is_told_and_never_touched(self, told, flash, answer):
        # No free slots refuse the arming on deck; lost records are told to the core, which goes on without.
        assert told[flash] == answer + " free=0 lost=1 unchanged"

    def test_it_formats_only_when_asked(self, told):
        assert told["format"] == "ready 600"
        assert told["format on a dead chip"] == "unreadable 0"

    def test_the_number_of_slots_never_changes_in_a_journal(self, told):
        assert told["slots"] == "600 ready 600"

    def test_a_slot_is_written_once_and_absent_ones_are_refused(self, told):
        assert told["written or absent slots"] == str([False] * 6) + " [False, False]"

    def test_a_leap_leaves_blank_slots_and_what_is_beyond_is_found(self, told):
        assert told["a leap"] == "True False ('ready', 100)"
        assert told["slots as they must be"] == "600"

    def test_a_flash_that_refuses_for_a_while_loses_nothing_that_it_acknowledged(self, told):
        assert told["refusals"] == "missing 0 some refused True"

    def test_a_lost_block_costs_its_own_records_and_never_the_newest(self, told):
        assert told["damage"] == "('ready', 1219) True"

    def test_erasing_begins_an_empty_journal(self, told):
        assert told["erase"] == "ready 600 ('ready', -1) None"
        assert told["then"] == "0 ('ready', 1000)"
        assert told["once more"] == "ready ('ready', -1)"

    def test_the_flash_is_proved_by_writing_and_reading_back_and_nothing_stays(self, told):
        assert told["proof"] == "True ['dive']"
        assert told["proof on a flash that refuses"] == "False"
        assert told["proof without a volume"] == "False"

    def test_the_plan_lies_beside_the_journal_in_two_copies(self, told):
        assert told["no plan yet"] == "False -1"
        assert told["plan kept"] == "True True 0"
        assert told["plan after a restart"] == "True True 19"
        assert told["one copy spoilt"] == "True 1 True 0"
        assert told["plan without a volume"] == "False"


class TestCost:
    def test_a_record_makes_no_object_where_no_file_is_opened(self, told):
        assert told["writes without an object"] == "5"
        assert told["in the heel"] == "True"

    def test_the_heap_does_not_grow_with_the_records(self, told):
        assert int(told["bytes more after 600 records"]) < 512

    def test_the_object_and_the_file_system_are_small(self, told):
        # Words of this process are twice as wide as those of a 32-bit board.
        assert int(told["bytes before mount"]) < 2048
        assert int(told["bytes after mount"]) < 8192

    def test_the_sector_that_wears_most_lasts_for_hundreds_of_full_journals(self, records):
        course = COURSES[-1]
        counted, _ = measure(renumbered(records, course.records), course.slots, every=10 ** 6)
        assert 500 * counted["wear_most"] < ERASES_A_SECTOR_LASTS

    def test_the_tail_saves_most_of_the_erases(self, records):
        with_tail, _ = measure(records, SLOTS_OF_THE_SAMPLE, every=10 ** 6)
        without, _ = measure(records, SLOTS_OF_THE_SAMPLE, tail=1)
        assert 3 * with_tail["erases_permille"] < without["erases_permille"]
        assert 2 * with_tail["pages_permille"] < without["pages_permille"]
