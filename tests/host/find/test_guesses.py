"""The table of guesses: the built-in one says what it is, and a person's own changes what it names."""

import pytest

from tumblehome.find.guesses import BUILT_IN, built_in, read
from tumblehome.find.mistakes import FindError


def refusal(tmp_path, text: str | bytes) -> str:
    path = tmp_path / "own.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(FindError) as refused:
        read(path)
    assert len(refused.value.sentences) == 1
    return str(refused.value)


def test_the_table_says_that_its_numbers_are_guesses_to_be_changed():
    text = BUILT_IN.read_text(encoding="utf-8")
    assert "GUESS" in text and "change them" in text
    ways = text.split("[ways]")[1].split("[drift]")[0].splitlines()
    assert all("guess, change it" in line for line in ways if "=" in line)
    assert read(None) == built_in()


def test_a_file_of_ones_own_changes_only_what_it_names(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text("[drift]\ncurrent_error_m_s = 0.05\n[ways]\nstays_down = 0.1\n")
    own = read(path)
    assert own.drift.current_error_m_s == 0.05
    assert own.ways == {**built_in().ways, "stays_down": 0.1}
    assert own.drift.jibes_per_h == built_in().drift.jibes_per_h


@pytest.mark.parametrize("text, said", [
    ("[drift]\ncurent_error_m_s = 1", "own.toml: drift.curent_error_m_s is not known; known are current_error_m_s,"),
    ("[drifts]\nx = 1", "own.toml: [drifts] is not known; known are ways, reports, drift"),
    ("drift = 3", "own.toml: drift is no section"),
    ("[drift]\ndiffusivity_m2_s = -1", "drift.diffusivity_m2_s is -1; allowed is a number from 0 to 1000"),
    ("[drift]\ncurrent_error_m_s = 13", "drift.current_error_m_s is 13; allowed is a number from 0 to 3"),
    ("[drift]\nlink_time = \"never\"", "drift.link_time is 'never'; allowed is \"even\" or \"log\""),
    ("[drift]\nwind_current = 3", "drift.wind_current is 3; allowed is \"held\" or \"added\""),
    ("[drift]\nwind_current = []", "drift.wind_current is []; allowed is \"held\" or \"added\""),
    ("[drift]\ncurrent_memory_h = 0", "drift.current_memory_h is 0; allowed is more than 0"),
    ("[ways]\ntimed = true", "ways.timed is True; allowed is a number"),
    ("[ways]\ntimed = nan", "ways.timed is nan; allowed is a number"),
    ("[ways]\n" + "\n".join(f"{key} = 0" for key in built_in().ways), "every chance in [ways] is 0"),
    ("[ways\n", "own.toml is no TOML file"),
    (b"\xff\xfe", "own.toml is no TOML file"),
    ("#" * 100_001, "own.toml is longer than 100000 bytes"),
])
def test_what_is_wrong_is_told_in_one_sentence(tmp_path, text, said):
    assert said in refusal(tmp_path, text)


def test_a_file_that_is_not_there_is_told_of(tmp_path):
    with pytest.raises(FindError, match="none.toml cannot be read .*: name another file"):
        read(tmp_path / "none.toml")
