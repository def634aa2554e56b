"""Every name and number of the core has its words for people, and no words are left over."""

import pytest

from lander import camera, journal, lamps, orders, release, report, scribe, signals, table, words


def numbered(module, prefix: str) -> set:
    return {value for name, value in vars(module).items() if name.startswith(prefix) and isinstance(value, int)}


PAIRS = {
    "orders": (set(orders.NAMES), words.ORDERS),
    "inputs": ({row[0] for row in signals.INPUTS}, words.INPUTS),
    "outputs": ({row[0] for row in signals.OUTPUTS}, words.OUTPUTS),
    "conditions": ({1 << place for place in range(len(table.CONDITIONS))}, words.CONDITIONS),
    "journal": (set(journal.NAMES), words.JOURNAL),
    "events": (numbered(journal, "E_"), words.EVENTS),
    "kinds": (set(range(journal.BOOT, journal.EVENT + 1)), words.KINDS),
    "flags": ({1 << place for place in range(journal.FLAG_BUG.bit_length())}, words.FLAGS),
    "refusals": (set(range(signals.CALLED_OFF + 1)), words.REFUSALS),
    "commands": (set(range(signals.ASK_ARM_ANYWAY + 1)), words.COMMANDS),
    "status lamp": (set(range(len(lamps.STATUS))), words.STATUS_LAMP),
    "self-test": (numbered(orders, "TEST_") - {orders.TEST_ALL}, words.SELF_TEST),
    "beacon lamp": (set(range(len(lamps.BEACON))), words.BEACON_LAMP),
    "report": (set(report.NAMES), words.REPORT),
    "report paths": (set(range(report.UNCOMMANDED + 1)), words.REPORT_PATHS),
    "report flags": ({report.FIX_KNOWN, report.FIX_NEW, report.AWASH, report.CLOCK_SURE}, words.REPORT_FLAGS),
    "phases": ({release.IDLE, release.SHED, release.FIRE_NOW, release.PAUSE}, words.PHASES),
    "attempt ends": ({release.TIME_UP, release.RISE, release.RESET, release.LEFT}, words.ATTEMPT_ENDS),
    "camera steps": (set(range(camera.WAIT + 1)), dict(enumerate(words.CAMERA_STEPS))),
    "channels": ({release.PRIMARY, release.BACKUP}, dict(enumerate(words.CHANNELS))),
}


@pytest.mark.parametrize("names, meanings", PAIRS.values(), ids=PAIRS)
def test_each_name_has_its_words_and_nothing_is_without_a_name(names, meanings):
    assert set(meanings) == names
    assert all(isinstance(text, str) and text.strip() == text and text for text in meanings.values())


def test_the_bits_of_a_record_are_named_in_their_order():
    inputs = signals.Inputs()
    for name in words.SIGNS:
        setattr(inputs, name, 0)
    for place, name in enumerate(words.SIGNS):
        setattr(inputs, name, 1)
        assert scribe.signs(inputs) == 1 << place, name
        setattr(inputs, name, 0)


def test_the_bits_of_the_outputs_are_named_in_their_order():
    attributes = {"beacon": "beacon_code", "primary": "release_primary_pct", "backup": "release_backup_pct"}
    for place, name in enumerate(words.DRIVES):
        outputs = signals.Outputs()
        for row in signals.OUTPUTS:
            setattr(outputs, row[0], 0)
        setattr(outputs, attributes.get(name, name), 1)
        assert scribe.drives(outputs) == 1 << place, name


def test_an_input_that_is_a_yes_or_a_no_takes_no_other_number_and_nothing_is_believed_at_the_start():
    for name, lowest, highest, start in signals.INPUTS:
        if name.endswith(("_ok", "_wet")) or name == "magnet":
            assert (lowest, highest, start) == (0, 1, 0), name
        assert lowest <= start <= highest <= signals.LARGEST, name


def test_all_flags_and_paths_of_a_report_at_once_fit_the_range_of_their_number():
    highest = {name: most for name, _code, _least, most in zip(*[iter(report.FIELDS)] * 4, strict=True)}
    assert sum(words.REPORT_FLAGS) == highest["flags"]
    assert max(words.REPORT_PATHS) == highest["path"]


def test_each_refusal_and_command_fits_the_range_of_its_number():
    ranges = {row[0]: row for row in (*signals.INPUTS, *signals.OUTPUTS)}
    assert max(words.COMMANDS) == ranges["command"][2]
    assert max(words.REFUSALS) <= ranges["refused"][2]
    assert max(words.STATUS_LAMP) <= ranges["status_code"][2]
    assert len(lamps.GROUPS) == max(words.REFUSALS) + 1
    assert len(table.STATES) - 1 == ranges["state"][2]
    assert ranges["record_count"][2] == signals.RECORDS_MAX
