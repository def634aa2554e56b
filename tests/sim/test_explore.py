"""The exploration of the core: it ends, finds nothing in the true core, and finds broken cores with a way that replays."""

import pytest

from lander import table
from lander.orders import unpack
from seatrial.broken_core import mission_class, read_edits
from seatrial.exploration import acts
from seatrial.exploration.retelling import VoyageError, as_rehearsal, as_text, read, replay
from seatrial.exploration.search import Search
from seatrial.exploration.snapshot import Copier
from seatrial.exploration.voyage import Voyage, short_orders
from seatrial.exploration.watch import CHECKS
from seatrial.explore import explore, files_of, main, sentences, wander
from seatrial.faults import parse
from seatrial.known_bad import LIST
from seatrial.laws import LAWS
from seatrial.plan import load_sample

SHORT = short_orders(load_sample())
TO_THE_BOTTOM = ["wait", "magnet", "wait", "wait", "sink", "wait", "wait", "wait"]
EDITS = {edit.breaks: edit for edit in read_edits(LIST)}


@pytest.fixture(scope="module")
def planned():
    """Every course of a dive without a surprise."""
    return explore(SHORT, 0)


def test_the_planned_dive_is_explored_to_its_end_and_no_law_is_broken(planned):
    assert planned.exhausted
    assert planned.violations == []
    assert planned.states > 500
    assert planned.mission_states == set(range(len(table.STATES)))


def test_the_same_search_finds_the_same_situations(planned):
    again = explore(SHORT, 0)
    assert (again.states, again.transitions, again.steps, again.depth) == (
        planned.states, planned.transitions, planned.steps, planned.depth)


def test_the_search_says_what_it_did_and_that_it_was_exhausted(planned):
    told = "\n".join(sentences(planned))
    assert "%d situations" % planned.states in told
    assert "exhausted: every course with at most 0 surprises" in told
    assert told.endswith("no law was broken")


def test_a_search_that_is_ended_early_does_not_call_itself_exhausted():
    found = explore(SHORT, 1, states_max=200)
    assert not found.exhausted
    assert "not exhausted" in "\n".join(sentences(found))


def test_one_surprise_in_the_first_part_of_a_dive_breaks_no_law(planned):
    found = explore(SHORT, 1, states_max=planned.states + 1500)
    assert found.violations == []
    assert found.layers[1] >= 1500


def test_voyages_at_random_come_everywhere_break_no_law_and_are_the_same_again():
    found, again = (wander(SHORT, 2, 60, seed=3) for _ in range(2))
    assert found.violations == []
    assert (found.transitions, found.steps, found.depth) == (again.transitions, again.steps, again.depth)
    assert found.mission_states == set(range(len(table.STATES)))
    assert wander(SHORT, 2, 60, seed=4).steps != found.steps


@pytest.mark.parametrize("breaks", ["an outage does not count", "at the latest release the descent goes on"])
def test_voyages_at_random_find_a_broken_core_and_the_way_replays(breaks):
    core = mission_class([EDITS[breaks]])
    found = wander(SHORT, 2, 1000, core, first_only=True).violations[0]
    assert found.surprises == sum(leap.surprise for leap in replay(Voyage(SHORT, core), found.acts))
    assert replay(Voyage(SHORT, core), found.acts)[-1].broken[0] == "law %d: %s" % (found.law, found.sentence)
    assert replay(Voyage(SHORT), found.acts)[-1].broken == ()


def test_a_lander_that_is_home_may_go_out_again_as_a_surprise():
    voyage = Voyage(SHORT)
    for leap in range(120):
        if voyage.mission.state == table.SAFE and voyage.watch.drove:
            break
        planned = [act for act, cost in voyage.possible() if not cost and act != acts.WAIT]
        voyage.perform(planned[0] if planned and leap % 4 == 1 else acts.WAIT)  # each gesture has time to take effect
    assert voyage.possible() == [("magnet", 1)]
    for act in ("magnet", "wait", "wait"):
        voyage.perform(act)
    assert voyage.mission.state == table.ARMED


# --- copies --------------------------------------------------------------------------------------------------------


def test_a_copy_that_is_put_back_goes_the_same_way_again():
    voyage = Voyage(SHORT)
    for act in TO_THE_BOTTOM:
        voyage.perform(act)
    before = voyage.take()
    ways = []
    for _ in range(2):
        voyage.put(before)
        for act in ("leak:wet", "wait", "wait", "rise"):
            voyage.perform(act)
        ways.append((voyage.take(), voyage.mission.state))
    assert ways[0] == ways[1]
    assert ways[0][1] in (table.RELEASE, table.ASCEND)


def test_every_attribute_of_the_controller_is_copied():
    voyage = Voyage(SHORT)
    copied = set(voyage.copier.names)
    assert {"state", "descent_ds", "depth.rising.on", "release.phase", "camera.step"} <= copied
    for prefix, part in voyage.copier.parts:
        names = vars(part) if hasattr(part, "__dict__") else type(part).__slots__
        for name in names:
            value = getattr(part, name)
            assert prefix + name in copied or isinstance(value, bytearray) or name == "orders" or hasattr(
                value, "__slots__") or hasattr(value, "__dict__"), prefix + name


def test_an_attribute_that_cannot_be_copied_is_an_error():
    voyage = Voyage(SHORT)
    voyage.mission.diary = []
    with pytest.raises(TypeError, match="diary is a list"):
        Copier(voyage.mission)


def test_two_controllers_that_differ_in_a_flag_a_class_of_time_or_a_depth_are_not_the_same():
    voyage = Voyage(SHORT)
    for act in TO_THE_BOTTOM:
        voyage.perform(act)
    key = voyage.key(voyage.take())
    for name, value in (("sure", not voyage.mission.sure), ("descent_ds", voyage.mission.descent_ds - 100)):
        before = voyage.take()
        setattr(voyage.mission, name, value)
        assert voyage.key(voyage.take()) != key, name
        voyage.put(before)
    assert voyage.key(voyage.take()) == key


# --- broken cores --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("breaks", "law"), [
    ("it fires without waiting for the loads", 12),  # the core finds it itself
    ("rows are not written", 12),
    ("after the backup nothing more is tried", 4),
    ("the timed release never comes due", 2),
])
def test_a_broken_core_is_caught_and_the_way_replays(breaks, law):
    core = mission_class([EDITS[breaks]])
    first = explore(SHORT, 0, core, first_only=True).violations[0]
    told = replay(Voyage(SHORT, core), first.acts)
    assert first.law == law
    assert told[-1].broken[0] == "law %d: %s" % (first.law, first.sentence)
    assert len(told) == len(first.acts)
    assert replay(Voyage(SHORT), first.acts)[-1].broken == ()  # the true core goes the same way and breaks nothing


def test_a_rise_that_stops_and_is_not_fired_at_again_is_seen():
    way = ["wait", "magnet", *["wait"] * 3, "sink", *["wait"] * 15, "rise", "stop", *["wait"] * 8]
    core = mission_class([EDITS["a rise that stops is not fired at again before the slowest ascent is over"]])
    assert "a rise has stopped in plain sight" in replay(Voyage(SHORT, core), way)[-1].broken[0]
    assert replay(Voyage(SHORT), way)[-1].broken == ()


def test_a_core_that_stops_with_an_error_is_a_violation_of_its_own():
    class Stops(Voyage(SHORT).mission.__class__):
        def step(self, inputs, outputs):
            if self.state == table.RECORD:
                raise ZeroDivisionError("on the bottom")
            return super().step(inputs, outputs)

    found = explore(SHORT, 0, Stops, first_only=True)
    assert found.violations[0].law == 0
    assert "ZeroDivisionError: on the bottom" in found.violations[0].sentence


def test_the_way_to_a_violation_is_the_shortest():
    core = mission_class([EDITS["it fires without waiting for the loads"]])
    found = explore(SHORT, 0, core, first_only=True)
    longer = Search(lambda: Voyage(SHORT, core), 0).run()
    ways = [len(one.acts) for one in longer.violations if one.sentence == found.violations[0].sentence]
    assert ways == [len(found.violations[0].acts)]


# --- files ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def voyage_file(tmp_path):
    core = mission_class([EDITS["rows are not written"]])
    found = explore(SHORT, 0, core, first_only=True)
    (name, text), = files_of(found, SHORT, core).items()
    path = tmp_path / name
    path.write_text(text)
    return path, found.violations[0]


def test_a_voyage_file_holds_the_orders_and_the_acts(voyage_file):
    path, violation = voyage_file
    given, todo = read(path)
    assert todo == violation.acts
    assert vars(given) == vars(unpack(bytes.fromhex(given_hex(path))))
    assert given.latest_release_ds == SHORT.latest_release_ds


def given_hex(path) -> str:
    return path.read_text().split('orders = "')[1].split('"')[0]


def test_a_voyage_file_is_replayed_on_the_true_core_which_breaks_nothing(voyage_file, capsys):
    assert main(["--replay", str(voyage_file[0])]) == 0
    assert capsys.readouterr().out.endswith("no law was broken\n")


@pytest.mark.parametrize(("content", "said"), [
    ("acts = []", "acts must be a list of words"),
    ("acts = 3", "acts must be a list of words"),
    ("acts = [", "no voyage file"),
    ('acts = ["wait"]\norders = "00"', "no mission record of this version"),
    ('acts = ["wait"]\norders = "xyz"', "no mission record of this version"),
])
def test_a_file_that_is_no_voyage_is_refused_in_one_sentence(tmp_path, content, said):
    path = tmp_path / "voyage.toml"
    path.write_text(content)
    with pytest.raises(VoyageError, match=said):
        read(path)


def test_an_act_that_is_not_possible_is_refused_with_its_number():
    with pytest.raises(VoyageError, match="act 2 is 'dance'"):
        replay(Voyage(SHORT), ["wait", "dance"])


def test_surprises_are_told_as_faults_that_a_rehearsal_knows():
    told = replay(Voyage(SHORT), [*TO_THE_BOTTOM, "wait", "wait", "pressure:invalid", "wait", "leak:wet", "wait"])
    written = as_rehearsal(told)
    assert written.startswith("tumblehome rehearse --fault pressure-gone@record")
    for text in written.split("--fault ")[1:]:
        parse(text.strip())


def test_a_surprise_that_no_fault_is_like_is_not_told_as_a_dive():
    assert as_rehearsal(replay(Voyage(SHORT), [*TO_THE_BOTTOM, "say:disarm"])) == ""


def test_the_file_of_a_violation_tells_each_leap(voyage_file):
    path, violation = voyage_file
    text = path.read_text()
    assert text.count("\n#") > len(violation.acts)
    assert "python -m seatrial.explore --replay" in text
    assert as_text(violation, SHORT, replay(Voyage(SHORT), violation.acts)).splitlines()[0] == text.splitlines()[0]


# --- the alphabet and the checks -----------------------------------------------------------------------------------


def test_every_act_can_be_performed_somewhere():
    voyage = Voyage(SHORT)
    seen = set()
    for act in [*TO_THE_BOTTOM, "wait", "pressure:invalid", "pressure:true", "clock:lost", "clock:good", "contact:dry",
                "contact:true", "leak:invalid", "leak:dry", "supply:low", "supply:good", "store:refuses", "store:works"]:
        seen |= {name for name, _cost in voyage.possible()}
        voyage.perform(act)
    assert {acts.WAIT, acts.MAGNET, *acts.MOTIONS, *acts.TURNS, *acts.RESETS, *acts.COMMANDS, acts.BENCH,
            acts.CUT_ATTEMPT, acts.CUT_ROW, *acts.SPIKES, *acts.JUMPS} <= seen


def test_the_planned_course_costs_no_surprise_and_the_rest_does():
    voyage = Voyage(SHORT)
    for act in TO_THE_BOTTOM:
        assert dict(voyage.possible())[act] == 0, act
        voyage.perform(act)
    costs = dict(voyage.possible())
    assert [act for act in costs if costs[act] == 0] == [acts.WAIT]


def test_both_signs_of_water_never_lie_at_once():
    voyage = Voyage(SHORT)
    for act in [*TO_THE_BOTTOM, "pressure:air"]:
        voyage.perform(act)
    costs = dict(voyage.possible())
    assert "contact:dry" not in costs
    assert "contact:invalid" in costs


def test_the_checks_are_of_the_laws_and_cover_those_that_a_core_can_keep():
    assert {check.law for check in CHECKS} == {law.number for law in LAWS}
    assert len({check.sentence for check in CHECKS}) == len(CHECKS)


def test_the_command_says_what_is_wrong_with_a_plan(tmp_path, capsys):
    with pytest.raises(SystemExit) as ended:
        main([str(tmp_path / "none.toml")])
    assert ended.value.code == 2
    assert "none.toml" in capsys.readouterr().err
