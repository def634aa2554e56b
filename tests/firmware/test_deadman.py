"""The second board's laws: it fires at its deadline, a reset makes nothing later, never on deck, it never gives up."""

import ast
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from test_micropython import run

import deadman
from deadman import BOTH, CONTACT_ONLY, COUNTING, DISARMED, PRESSURE_ONLY, WAITING, DeadMan
from lander import lamps
from lander.orders import Orders, pack, unpack

LATEST_DS = 12000
MARGIN_DS = 3000
DEADLINE_DS = LATEST_DS + MARGIN_DS
DECK_MBAR = 1013
FIRMWARE = Path(deadman.__file__).parent
SCRIPT = Path(__file__).parent / "scripts" / "deadman_dive.py"


def orders_of(**numbers) -> Orders:
    made = Orders()
    for name, value in {"timed_release_ds": 9000, "latest_release_ds": LATEST_DS, "fire_backup_ds": 120,
                        "one_sign_wait_ds": 3000, **numbers}.items():
        setattr(made, name, value)
    return unpack(pack(made))


class Boat:
    """A second board on its lander, told what happens. Times are tenths of a second since its first power."""

    def __init__(self, signs: int = BOTH, orders=None, slots=(b"", b"")) -> None:
        self.orders = orders or orders_of()
        self.signs = signs
        self.slots = list(slots)
        self.now_ds = 0
        self.depth_cm = 0
        self.wet = False
        self.shown: dict = {}
        self.rises = False  # whether the ballast falls when it fires
        self.fired: list[int] = []
        self.fired_at_cm: list[int] = []
        self.writes = 0
        self.start(1)

    def start(self, power_failed: int) -> None:
        self.boot_ds = self.now_ds
        self.inputs = deadman.Inputs()
        self.outputs = deadman.Outputs()
        self.man = DeadMan(self.orders, self.slots, power_failed, self.signs, MARGIN_DS)
        self.firing = False
        self.step()

    def step(self) -> None:
        inputs = self.inputs
        inputs.uptime_ds = self.now_ds - self.boot_ds
        inputs.pressure_mbar = DECK_MBAR + self.depth_cm * 1000 // self.orders.cm_per_bar
        inputs.pressure_ok = inputs.contact_ok = 1
        inputs.contact_wet = int(self.wet)
        for name, value in self.shown.items():
            setattr(inputs, name, value)
        self.man.step(inputs, self.outputs)
        if self.outputs.write:
            self.writes += 1
            self.slots[self.outputs.slot] = bytes(self.outputs.record)
        if self.outputs.fire_pct and not self.firing:
            self.fired.append(self.now_ds)
            self.fired_at_cm.append(self.depth_cm)
        self.firing = bool(self.outputs.fire_pct)

    def wait(self, seconds: float, cm_s: int = 0, to_cm: int = 0):
        """Time passes; `cm_s` is how fast it sinks (or, negative, rises) until `to_cm`."""
        end_ds = self.now_ds + int(seconds * 10)
        while self.now_ds < end_ds:
            span_ds = min(self.outputs.wake_ds, end_ds - self.now_ds)
            self.now_ds += span_ds
            if cm_s:
                goal = self.depth_cm + cm_s * span_ds // 10
                self.depth_cm = min(goal, to_cm) if cm_s > 0 else max(goal, to_cm)
            elif self.rises and self.fired and self.depth_cm > 0:
                self.depth_cm = max(0, self.depth_cm - 100 * span_ds // 10)
            self.step()
        return self

    def splash(self, to_cm: int = 4000):
        self.wet = True
        self.splash_ds = self.now_ds
        return self.wait(60, 100, to_cm)

    def haul(self):
        self.wait(self.depth_cm // 80 + 20, -80)
        self.wet = False
        return self

    def reset(self, power_failed: int, away_s: float):
        self.now_ds += int(away_s * 10)
        self.start(power_failed)
        return self

    def hold_magnet(self, seconds: float = 8):
        for level in (1, 0):  # the line wakes the board
            self.shown["magnet"] = level
            self.step()
            self.wait(seconds if level else 1)
        return self


def on_the_bottom(signs: int = BOTH, **numbers) -> Boat:
    return Boat(signs, orders_of(**numbers)).wait(60).splash()


# --- law 1: home ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("signs", [BOTH, PRESSURE_ONLY, CONTACT_ONLY])
def test_it_fires_at_its_deadline_and_not_long_before(signs):
    boat = on_the_bottom(signs).wait(1600)
    early_ds = boat.splash_ds + DEADLINE_DS - boat.fired[0]
    assert 0 <= early_ds <= 2 * deadman.WATCH_DS


@pytest.mark.parametrize("blind", [
    {"pressure_ok": 0}, {"contact_wet": 0}, {"pressure_mbar": DECK_MBAR}, {"pressure_mbar": 5000}, {"contact_ok": 0}])
def test_one_sign_that_is_left_is_enough(blind):
    boat = Boat().wait(60)
    boat.shown = blind
    boat.splash().wait(1600)
    assert boat.fired and boat.fired[0] <= boat.splash_ds + DEADLINE_DS


def test_sensors_that_die_on_the_bottom_stop_nothing():
    boat = on_the_bottom().wait(100)
    boat.shown = {"pressure_ok": 0, "contact_ok": 0}
    boat.wait(1500)
    assert boat.fired[0] <= boat.splash_ds + DEADLINE_DS


def test_readings_of_air_that_no_rise_came_before_stop_nothing():
    boat = on_the_bottom().wait(100)
    boat.shown = {"pressure_mbar": DECK_MBAR, "contact_wet": 0}
    boat.wait(1500)
    assert boat.fired[0] <= boat.splash_ds + DEADLINE_DS


@pytest.mark.parametrize("beats", [True, False])
def test_the_heartbeat_makes_no_difference_to_the_deadline(beats):
    boat, quiet = on_the_bottom(), on_the_bottom()
    for tick in range(32):
        boat.shown["heartbeats"] = tick if beats else 0
        boat.wait(50)
        quiet.wait(50)
    assert boat.fired and boat.fired == quiet.fired


def test_the_heartbeat_is_on_its_lamp_and_in_its_record():
    boat = on_the_bottom()
    assert boat.outputs.heard == 0
    boat.shown["heartbeats"] = 1
    boat.wait(120)
    assert boat.outputs.heard == 1
    boat.wait(700)
    assert boat.outputs.heard == 0
    assert 600 <= deadman.struct.unpack_from("<I", boat.slots[boat.man.slot], 10)[0] <= 900


def test_a_damaged_mission_record_fires_once_it_is_surely_submerged():
    boat = Boat(orders=unpack(b""))
    assert boat.outputs.lamp == lamps.REFUSED
    boat.wait(600)
    assert not boat.fired
    boat.splash()
    assert boat.fired and boat.fired[0] - boat.splash_ds < 600


@pytest.mark.parametrize("cut_ds", [0, 1, 599, 3000, 14000])
def test_power_for_ten_seconds_past_the_deadline_is_enough(cut_ds):
    boat = on_the_bottom().wait(cut_ds / 10).reset(1, 2000).wait(10)
    assert boat.fired


# --- law 2: time never restarts ------------------------------------------------------------------------------------


@pytest.mark.parametrize("after_s", [1, 59, 61, 700])
@pytest.mark.parametrize("away_s", [1, 14])
def test_a_watchdog_reset_makes_nothing_later_and_at_most_a_minute_and_a_half_earlier(after_s, away_s):
    boat = on_the_bottom().wait(after_s).reset(0, away_s).wait(1500)
    early_ds = boat.splash_ds + DEADLINE_DS - boat.fired[0]
    assert 0 <= early_ds <= 2 * deadman.WATCH_DS + deadman.AWAY_DS


def test_many_watchdog_resets_make_nothing_later():
    boat = on_the_bottom()
    while not boat.fired:
        boat.wait(30).reset(0, 14)
    assert boat.fired[0] <= boat.splash_ds + DEADLINE_DS + 140 + deadman.LOOK_DS


def test_time_that_nobody_knows_counts_as_overdue():
    assert on_the_bottom().wait(100).reset(1, 1).wait(10).fired


def test_both_slots_torn_count_as_overdue_once_it_is_surely_submerged():
    boat = on_the_bottom().wait(100)
    boat.slots = [b"\xff" * deadman.RECORD_BYTES] * 2
    assert boat.reset(0, 5).wait(30).fired


@pytest.mark.parametrize("broken", [0, 1])
def test_one_torn_slot_leaves_the_other(broken):
    boat = on_the_bottom().wait(300)
    boat.slots[broken] = boat.slots[broken][:9] + bytes(13)
    boat.reset(0, 5).wait(30)
    assert not boat.fired
    boat.wait(1400)
    assert boat.fired[0] <= boat.splash_ds + DEADLINE_DS + deadman.RECORD_EVERY_DS


def test_the_newest_slot_is_found_when_the_numbers_go_round():
    boat = on_the_bottom()
    boat.man.sequence = 65530
    boat.wait(130)
    for _ in range(6):
        boat.wait(61)
        elapsed_ds = boat.now_ds - boat.man.began_ds
        fresh = DeadMan(boat.orders, boat.slots, 0, BOTH, MARGIN_DS)
        assert 0 <= -fresh.began_ds - elapsed_ds <= deadman.AWAY_DS


def test_a_record_is_written_every_minute_under_water_and_none_while_nothing_happens_on_deck():
    boat = Boat().wait(7200)
    assert boat.writes == 2  # one at the start, one when all signs have said air
    boat.splash()
    before = boat.writes
    boat.wait(1200)
    assert boat.writes - before == 20 or boat.writes - before == 19


def test_a_splash_while_it_was_off_counts_from_the_unknown():
    boat = Boat().wait(600)
    boat.wet, boat.depth_cm = True, 4000
    assert boat.reset(1, 900).wait(30).fired


def test_a_clock_that_runs_back_counts_as_overdue():
    boat = on_the_bottom().wait(100)
    boat.boot_ds = boat.now_ds
    assert boat.wait(30).fired


# --- law 3: not on deck --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("signs", [BOTH, PRESSURE_ONLY, CONTACT_ONLY])
def test_it_waits_on_deck_for_days_without_firing(signs):
    assert not Boat(signs).wait(3 * 86400).fired


def test_spray_on_the_contact_for_less_than_the_wait_starts_nothing():
    boat = Boat().wait(60)
    for _ in range(20):
        boat.wet = True
        boat.wait(280)
        assert boat.man.state == WAITING
        boat.wet = False
        boat.wait(60)
    assert boat.man.state == WAITING and not boat.fired


def test_a_clock_that_spray_started_stops_when_the_contact_dries():
    boat = Boat().wait(60)
    boat.wet = True
    boat.wait(400)
    assert boat.man.state == COUNTING
    boat.wet = False
    assert not boat.wait(3000).fired
    assert boat.man.state == WAITING


def air_is_shown(boat: Boat) -> Boat:
    boat.shown = {"pressure_mbar": DECK_MBAR, "contact_wet": 0}
    return boat.wait(1600)


def test_a_clock_that_spray_started_goes_on_once_the_pressure_has_shown_water():
    boat = Boat().wait(60)
    boat.wet = True
    boat.wait(400, 0).wait(60, 100, 4000)
    assert air_is_shown(boat).fired


def test_the_rise_of_an_earlier_dive_stops_no_later_one():
    boat = on_the_bottom().wait(300).haul().wait(600).splash()
    assert air_is_shown(boat).fired


def test_a_rise_is_remembered_through_a_reset_afloat():
    boat = on_the_bottom().wait(300)
    boat.wait(90, -80)
    boat.reset(0, 10).wait(60)
    boat.wet = False
    assert not boat.wait(3000).fired


@pytest.mark.parametrize("signs", [BOTH, PRESSURE_ONLY])
def test_one_sign_alone_must_say_air_for_as_long_as_it_must_say_water(signs):
    boat = on_the_bottom(signs).wait(300).haul().wait(200)
    assert boat.man.state == (WAITING if signs == BOTH else COUNTING)
    assert boat.wait(200).man.state == WAITING


def test_a_contact_that_was_bridged_while_disarmed_says_nothing_of_when_it_was_thrown_in():
    boat = Boat().wait(60).hold_magnet()
    boat.wet = True
    boat.wait(5000).splash().wait(1000)
    assert not boat.fired
    assert boat.wait(600).fired[0] <= boat.splash_ds + DEADLINE_DS


def test_back_on_deck_after_a_rise_it_never_fires():
    boat = on_the_bottom().wait(300).haul().wait(5000)
    assert boat.man.state == WAITING and not boat.fired


def test_afloat_after_a_rise_is_not_on_deck():
    boat = on_the_bottom().wait(300)
    boat.wait(60, -80)
    boat.wait(1500)
    assert boat.man.state == COUNTING and boat.fired


@pytest.mark.parametrize("power_failed", [0, 1])
def test_a_battery_changed_on_deck_does_not_fire(power_failed):
    boat = on_the_bottom().wait(100)
    boat.wet, boat.depth_cm = False, 0
    boat.reset(power_failed, 9000).wait(3000)
    assert boat.man.state == WAITING and not boat.fired


def test_a_second_dive_counts_anew():
    boat = on_the_bottom().wait(300).haul().wait(600).splash().wait(1600)
    assert 0 <= boat.splash_ds + DEADLINE_DS - boat.fired[0] <= 2 * deadman.WATCH_DS


def test_its_magnet_disarms_it_on_deck_and_arms_it_again():
    boat = Boat().wait(60).hold_magnet()
    assert (boat.man.state, boat.outputs.lamp) == (DISARMED, lamps.STANDING_BY)
    boat.wet = True  # salt bridges the contact
    assert not boat.wait(5000).fired
    boat.hold_magnet()
    assert (boat.man.state, boat.outputs.lamp) == (WAITING, lamps.ARMED_ON_DECK)
    boat.wait(290)
    assert boat.man.state == WAITING, "a contact that was bridged for hours is no splash when it is armed again"


def test_it_stays_disarmed_through_a_reset():
    boat = Boat().wait(60).hold_magnet().reset(1, 60).wait(60)
    assert boat.man.state == DISARMED


def test_disarmed_and_thrown_in_it_comes_home():
    boat = Boat().wait(60).hold_magnet().splash().wait(1600)
    assert 0 <= boat.splash_ds + DEADLINE_DS - boat.fired[0] <= 2 * deadman.WATCH_DS


def test_a_magnet_at_sea_changes_nothing():
    boat = on_the_bottom().wait(300).hold_magnet().wait(1600)
    assert boat.fired[0] <= boat.splash_ds + DEADLINE_DS


def test_the_magnet_stops_a_drive_on_deck():
    boat = Boat(orders=unpack(b""))
    boat.splash()
    boat.wet, boat.depth_cm = False, 0
    boat.firing = False
    while not boat.firing:
        boat.wait(1)
    boat.hold_magnet()
    assert boat.outputs.fire_pct == 0 and boat.man.state == DISARMED


# --- law 4: it never gives up --------------------------------------------------------------------------------------


def test_it_fires_again_and_again_with_growing_pauses():
    boat = on_the_bottom().wait(8 * 3600)
    gaps = [after - before for before, after in zip(boat.fired, boat.fired[1:], strict=False)]
    assert len(gaps) > 10
    assert gaps == sorted(gaps)
    assert gaps[-1] <= boat.orders.pause_max_ds + boat.orders.fire_backup_ds + 20
    assert boat.fired[-1] > boat.now_ds - 20000


def test_a_rise_stops_it_and_the_surface_keeps_it_still():
    boat = on_the_bottom()
    boat.rises = True
    boat.wait(4 * 3600)
    assert len(boat.fired) == 1


def test_a_lander_that_stalls_on_its_way_up_is_fired_again():
    boat = on_the_bottom()
    boat.rises = True
    while boat.depth_cm > 2500:
        boat.wait(1)
    boat.rises = False
    stalled_ds = boat.now_ds
    boat.wait(1200)
    assert boat.fired_at_cm[-1] == boat.depth_cm > 0
    assert boat.fired[1] - stalled_ds <= boat.orders.stalled_ds + boat.orders.pause_ds


def test_a_lander_that_sinks_again_is_fired_again():
    boat = on_the_bottom()
    boat.rises = True
    boat.wait(1700)
    boat.rises = False
    assert boat.depth_cm == 0
    boat.wait(40, 100, 4000).wait(1200)
    assert len(boat.fired) > 1


def test_an_attempt_that_a_reset_ended_is_driven_weaker_next():
    boat = on_the_bottom()
    while not boat.firing:
        boat.wait(1)
    boat.reset(1, 2).wait(8)
    assert boat.outputs.fire_pct == 50


# --- whatever comes ------------------------------------------------------------------------------------------------

ACTS = st.lists(st.one_of(
    st.tuples(st.just("wait"), st.integers(1, 900)),
    st.tuples(st.just("deck"), st.just(0)), st.tuples(st.just("sea"), st.integers(200, 9000)),
    st.tuples(st.just("pressure_ok"), st.integers(0, 1)), st.tuples(st.just("pressure_mbar"), st.integers(0, 60000)),
    st.tuples(st.just("contact_ok"), st.integers(0, 1)), st.tuples(st.just("contact_wet"), st.integers(0, 1)),
    st.tuples(st.just("heartbeats"), st.integers(0, 65535)), st.tuples(st.just("truth"), st.just(0)),
    st.tuples(st.just("watchdog"), st.integers(1, 14)), st.tuples(st.just("power"), st.integers(1, 900)),
    st.tuples(st.just("tear"), st.integers(0, 1)), st.tuples(st.just("magnet"), st.integers(1, 20))), max_size=25)


def play(boat: Boat, acts, each=lambda boat: None) -> Boat:
    for act, value in acts:
        if act == "wait":
            boat.wait(value)
        elif act == "deck":
            boat.wet, boat.depth_cm = False, 0
        elif act == "sea":
            boat.wet, boat.depth_cm = True, value
        elif act == "truth":
            boat.shown = {}
        elif act in ("watchdog", "power"):
            boat.reset(int(act == "power"), value)
        elif act == "tear":
            boat.slots[value] = b"\x00" * deadman.RECORD_BYTES
        elif act == "magnet":
            boat.hold_magnet(value)
        else:
            boat.shown[act] = value
        each(boat)
    return boat


@given(ACTS, st.sampled_from([BOTH, PRESSURE_ONLY, CONTACT_ONLY]))
@example([("contact_ok", 0), ("pressure_ok", 0), ("watchdog", 14)], BOTH)
def test_law_1_once_submerged_it_has_fired_by_its_deadline_whatever_the_sensors_say(acts, signs):
    acts = [(act, value) for act, value in acts if act not in ("deck", "magnet", "power", "tear", "sea")]
    boat = on_the_bottom(signs)
    if boat.man.state != COUNTING:
        boat.wait(310)
    boat = play(boat, acts)
    boat.wait(max(0, (boat.splash_ds + DEADLINE_DS - boat.now_ds) // 10) + 10)
    # A reading that rose at a believable speed cannot be told from a rise, nor air on all signs since a start from deck.
    rose = boat.man.depth.rise_seen or any(act == "watchdog" for act, _value in acts)
    assert boat.fired or (rose and boat.man.state == WAITING)
    assert not boat.fired or boat.fired[0] <= max(boat.splash_ds + DEADLINE_DS, boat.boot_ds + 100) or rose


@given(ACTS)
def test_law_1_true_readings_bring_it_home_through_any_resets(acts):
    acts = [(act, value) for act, value in acts if act in ("wait", "watchdog", "power", "tear", "heartbeats")]
    # The one record that knows of a power cut may not be destroyed afterwards: what it knew is then known to nobody.
    first_cut = next((at for at, (act, _value) in enumerate(acts) if act == "power"), len(acts))
    acts = [act for at, act in enumerate(acts) if at < first_cut or act[0] != "tear"]
    boat = play(on_the_bottom(), acts)
    boat.wait(max(0, (boat.splash_ds + DEADLINE_DS - boat.now_ds) // 10) + 20)
    away_ds = sum(10 * value for act, value in acts if act in ("watchdog", "power"))
    assert boat.fired and boat.fired[0] <= boat.splash_ds + DEADLINE_DS + away_ds + 200


@given(ACTS)
def test_law_2_elapsed_time_never_falls(acts):
    boat = on_the_bottom()
    seen = [boat.now_ds - boat.man.began_ds]

    def look(one: Boat) -> None:
        if one.man.state == COUNTING:
            elapsed_ds = one.now_ds - one.boot_ds - one.man.began_ds
            assert elapsed_ds >= one.now_ds - one.splash_ds or elapsed_ds >= deadman.UNKNOWN_DS
            seen.append(elapsed_ds)

    acts = [(act, value) for act, value in acts if act in ("wait", "watchdog", "power", "heartbeats")]
    play(boat, acts, look)
    assert len(seen) == 1 + len(acts)


@given(ACTS, st.sampled_from([BOTH, PRESSURE_ONLY, CONTACT_ONLY]))
def test_law_3_it_never_fires_where_both_signs_have_always_said_air(acts, signs):
    harmless = ("wait", "watchdog", "power", "tear", "magnet", "heartbeats")
    assert not play(Boat(signs), [(act, value) for act, value in acts if act in harmless]).fired


@given(ACTS)
def test_law_3_it_never_fires_when_one_sign_lies_for_less_than_the_wait(acts):
    boat = Boat().wait(60)
    for act, value in acts:
        if act in ("contact_wet", "pressure_mbar", "pressure_ok", "contact_ok"):
            boat.shown = {act: value}
            boat.wait(250)
            boat.shown = {}
            boat.wait(60)
    assert not boat.fired


@given(ACTS)
def test_law_4_it_always_tries_again_while_it_is_down(acts):
    acts = [(act, value) for act, value in acts if act in ("wait", "watchdog", "power", "tear")]
    boat = play(on_the_bottom(), acts).wait(1700)
    made = len(boat.fired)
    assert len(boat.wait((boat.orders.pause_max_ds + boat.orders.fire_backup_ds) // 10 + 20).fired) > made


@given(st.integers(0, 1 << 29), st.integers(0, 1300000), st.integers(0, 1), st.integers(0, 1), st.integers(0, 65535))
def test_what_it_puts_out_is_always_in_range(uptime_ds, mbar, ok, wet, beats):
    boat = Boat()
    boat.inputs.uptime_ds = uptime_ds
    boat.shown = {"pressure_mbar": mbar, "pressure_ok": ok, "contact_wet": wet, "heartbeats": beats}
    for _ in range(4):
        boat.now_ds += uptime_ds % 5000
        boat.step()
        assert 0 <= boat.outputs.fire_pct <= 100 and 1 <= boat.outputs.wake_ds <= deadman.WATCH_DS
        assert boat.outputs.lamp < len(lamps.STATUS)


# --- each law broken once on purpose, and noticed --------------------------------------------------------------------


def late(patch) -> None:
    count = DeadMan._count
    patch.setattr(DeadMan, "_count", lambda man, now_ds: count(man, now_ds - 600))


def forgetful(patch) -> None:
    patch.setattr(deadman, "AWAY_DS", 0)


def trusting(patch) -> None:
    patch.setattr(deadman, "UNKNOWN_DS", 0)


def hasty(patch) -> None:
    patch.setattr(DeadMan, "_submerged", lambda man, now_ds: man.contact.on or man.depth.deep.on)


def blind_to_deck(patch) -> None:
    patch.setattr(deadman, "AIR_HOLD_DS", 1 << 29)


def sure_of_itself(patch) -> None:
    resume = DeadMan._resume

    def without_doubt(man, record, power_failed, away_ds) -> None:
        resume(man, record, power_failed, away_ds)
        man.doubt = False
    patch.setattr(DeadMan, "_resume", without_doubt)


def content(patch) -> None:
    patch.setattr(DeadMan, "_is_up", lambda man: True)


def restless(patch) -> None:
    patch.setattr(DeadMan, "_is_up", lambda man: False)


def listening(patch) -> None:
    step = DeadMan.step

    def obey(man, inputs, outputs) -> None:
        if inputs.heartbeats != man.heartbeats:
            man.began_ds = man.last_ds
        step(man, inputs, outputs)
    patch.setattr(DeadMan, "step", obey)


@pytest.mark.parametrize(("spoil", "check"), [
    (late, lambda: test_it_fires_at_its_deadline_and_not_long_before(BOTH)),
    (listening, lambda: test_the_heartbeat_makes_no_difference_to_the_deadline(True)),
    (forgetful, lambda: test_a_watchdog_reset_makes_nothing_later_and_at_most_a_minute_and_a_half_earlier(700, 14)),
    (trusting, test_time_that_nobody_knows_counts_as_overdue),
    (hasty, test_spray_on_the_contact_for_less_than_the_wait_starts_nothing),
    (blind_to_deck, test_back_on_deck_after_a_rise_it_never_fires),
    (sure_of_itself, lambda: test_a_battery_changed_on_deck_does_not_fire(1)),
    (content, test_it_fires_again_and_again_with_growing_pauses),
    (restless, test_a_rise_stops_it_and_the_surface_keeps_it_still),
], ids=lambda one: getattr(one, "__name__", ""))
def test_a_board_that_breaks_a_law_is_noticed(monkeypatch, spoil, check):
    check()
    spoil(monkeypatch)
    with pytest.raises((AssertionError, IndexError)):
        check()


# --- what it is made of --------------------------------------------------------------------------------------------


def test_it_is_under_two_hundred_lines_of_integers_and_imports_only_the_core():
    text = Path(deadman.__file__).read_text(encoding="utf-8")
    assert len(text.splitlines()) < 200
    for node in ast.walk(ast.parse(text)):
        assert not isinstance(node, ast.Assert | ast.Div)
        assert not (isinstance(node, ast.Constant) and isinstance(node.value, float))
        if isinstance(node, ast.ImportFrom):
            assert node.module.split(".")[0] == "lander"
        if isinstance(node, ast.Import):
            assert [name.name for name in node.names] == ["struct"]


def test_a_whole_dive_under_micropython_allocates_nothing_and_fires(micropython, firmware):
    assert run([micropython, str(SCRIPT)], firmware).splitlines()[-1].startswith("fired")


def test_the_same_dive_gives_the_same_records_in_both_interpreters(micropython, firmware):
    import sys
    assert run([micropython, str(SCRIPT)], firmware) == run([sys.executable, str(SCRIPT)], firmware)
