"""Judgements on raw readings: holds, hysteresis, and what a pressure sensor may do to them."""

from random import Random

import pytest

from lander import orders
from lander.judge import Depth, Energy, Held, Magnet, Sign


def depth_of(**numbers) -> Depth:
    given = orders.Orders()
    for name, value in numbers.items():
        setattr(given, name, value)
    return Depth(given)


class Probe:
    """Feeds a Depth with metres at a steady pace, from now on."""

    def __init__(self, **numbers) -> None:
        self.depth = depth_of(**numbers)
        self.now_ds = 0

    def mbar(self, mbar: int, ok: int = 1, wait_ds: int = 10) -> "Probe":
        self.now_ds += wait_ds
        self.depth.update(self.now_ds, mbar, ok)
        return self

    def at(self, metres: float, seconds: int = 1) -> "Probe":
        for _ in range(seconds):
            self.mbar(1013 + round(metres * 100000 / self.depth.orders.cm_per_bar))
        return self

    def move(self, start_m: float, end_m: float, rate_m_s: float) -> "Probe":
        seconds = max(1, round(abs(end_m - start_m) / rate_m_s))
        for second in range(1, seconds + 1):
            self.at(start_m + (end_m - start_m) * second / seconds)
        return self

    def gone(self, seconds: int) -> "Probe":
        for _ in range(seconds):
            self.mbar(0, ok=0)
        return self


class TestHeld:
    def test_comes_on_after_its_hold_and_not_before(self):
        held = Held()
        held.update(100, True, 50)
        assert (held.on, held.hurry) == (False, True)
        held.update(149, True, 50)
        assert not held.on
        held.update(150, True, 50)
        assert (held.on, held.hurry) == (True, False)

    def test_one_reading_to_the_contrary_starts_it_anew(self):
        held = Held()
        for now_ds, raw in ((0, 1), (40, 0), (50, 1), (90, 1)):
            held.update(now_ds, raw, 50)
        assert not held.on
        held.update(100, 1, 50)
        assert held.on
        held.update(101, 0, 50)
        assert not held.on


class TestSign:
    def test_holds_in_both_directions_and_knows_when_it_began(self):
        sign = Sign()
        sign.update(7, True, 1, 50)
        sign.update(57, True, 1, 50)
        assert (sign.on, sign.began_ds) == (True, 7)
        sign.update(60, True, 0, 50)
        sign.update(109, True, 0, 50)
        assert sign.on
        sign.update(110, True, 0, 50)
        assert (sign.on, sign.began_ds) == (False, 60)

    @pytest.mark.parametrize("word", [True, False])
    def test_keeps_its_word_while_its_sensor_is_invalid(self, word):
        sign = Sign()
        sign.on = word
        for now_ds in range(0, 1000, 10):
            sign.update(now_ds, False, not word, 50)
        assert sign.on == word

    def test_an_invalid_reading_breaks_a_hold(self):
        sign = Sign()
        for now_ds, valid in ((0, True), (30, False), (40, True), (60, True)):
            sign.update(now_ds, valid, 1, 50)
        assert not sign.on


class TestDeep:
    def test_the_sign_of_water_needs_its_depth_for_its_hold(self):
        probe = Probe().at(1.4, 30)
        assert not probe.depth.deep.on
        probe.at(1.7, 5)
        assert not probe.depth.deep.on
        assert probe.at(1.7, 2).depth.deep.on

    def test_the_sign_of_water_goes_only_at_half_its_depth(self):
        probe = Probe().at(3, 10).at(0.9, 60)
        assert probe.depth.deep.on
        assert not probe.at(0.6, 7).depth.deep.on

    def test_swell_across_the_threshold_does_not_flicker(self):
        probe = Probe().at(3, 10)
        for _ in range(50):
            probe.at(1.0, 2).at(1.8, 2)
            assert probe.depth.deep.on

    def test_the_sign_of_water_keeps_its_word_without_a_sensor(self):
        assert Probe().at(40, 10).gone(5000).depth.deep.on
        assert not Probe().at(0, 10).gone(5000).depth.deep.on


class TestValid:
    @pytest.mark.parametrize("mbar, ok", [(0, 1), (499, 1), (61500 + 61500 // 8 + 1, 1), (1013, 0)])
    def test_what_no_sensor_in_the_sea_reads_is_invalid(self, mbar, ok):
        probe = Probe().at(0, 5).mbar(mbar, ok)
        assert not probe.depth.valid
        assert not probe.depth.atmosphere

    def test_depth_is_water_pressure_times_the_mean_of_the_site(self):
        # One bar under 1025 kg/m3 at 9.81 m/s2 is 9.945 m: hydrostatics; the site mean of this test is 9.91 m.
        probe = Probe(cm_per_bar=991).mbar(1013 + 10000)
        assert probe.depth.depth_cm == 9910

    def test_a_lander_in_thin_air_is_above_the_surface_and_not_wet(self):
        probe = Probe().mbar(850)
        assert probe.depth.atmosphere
        assert probe.depth.depth_cm < 0


class TestSettled:
    def test_still_means_within_the_band_for_long(self):
        probe = Probe().move(0, 40, 1).at(40, 31)
        assert probe.depth.still_for_ds >= 300

    def test_a_sinking_lander_is_not_still(self):
        assert Probe().move(0, 60, 0.3).depth.still_for_ds < 300

    def test_noise_within_the_band_is_still(self):
        probe = Probe().move(0, 40, 1)
        for second in range(40):
            probe.at(40 + (0.2 if second % 2 else -0.2))
        assert probe.depth.still_for_ds >= 300

    def test_a_saturated_sensor_is_never_still(self):
        probe = Probe()
        for _ in range(20):
            probe.mbar(61500)
        assert probe.depth.saturated
        assert probe.depth.still_for_ds == 0

    def test_stillness_is_lost_with_the_sensor(self):
        assert Probe().at(40, 60).gone(1).at(40, 5).depth.still_for_ds < 100


class TestRise:
    def test_stillness_counts_anew_after_a_gap_though_it_came_back_where_it_was(self):
        probe = Probe().move(0, 40, 1).at(40, 60)
        assert probe.depth.still_for_ds >= 500
        assert probe.gone(5).at(40, 2).depth.still_for_ds <= 20

    def test_a_rise_is_confirmed_after_its_height_and_hold(self):
        probe = Probe().move(0, 40, 1).at(40, 60)
        assert not probe.depth.rising.on
        probe.move(40, 30, 0.8)
        assert probe.depth.rising.on
        assert probe.depth.rise_seen

    @pytest.mark.parametrize("rate_m_s", [0.02, 0.04])
    def test_creep_of_the_sensor_is_no_rise(self, rate_m_s):
        probe = Probe().move(0, 40, 1).move(40, 30, rate_m_s)
        assert not probe.depth.rise_seen

    @pytest.mark.parametrize("rate_m_s", [0.15, 0.5, 1.5])
    def test_a_rise_at_any_speed_of_a_lander_is_seen(self, rate_m_s):
        assert Probe().move(0, 40, 1).at(40, 60).move(40, 20, rate_m_s).depth.rise_seen

    def test_a_heave_less_than_the_height_is_no_rise(self):
        probe = Probe(rise_cm=300).move(0, 40, 1)
        for _ in range(20):
            probe.move(40, 38, 1).move(38, 40, 1)
        assert not probe.depth.rise_seen

    def test_a_frozen_sensor_shows_no_rise(self):
        assert not Probe().move(0, 40, 1).at(40, 4000).depth.rise_seen

    def test_a_jump_is_no_rise(self):
        probe = Probe().move(0, 40, 1).at(40, 60).at(0, 60)
        assert probe.depth.depth_cm <= 0
        assert not probe.depth.rise_seen

    @pytest.mark.parametrize("spike_m", [0, 10, 100, 500])
    def test_a_spike_changes_nothing(self, spike_m):
        probe = Probe().move(0, 40, 1).at(40, 60)
        for _ in range(20):
            probe.at(spike_m, 2).at(40, 3)
        assert probe.depth.depth_cm == pytest.approx(4000, abs=2)
        assert not probe.depth.rise_seen
        assert probe.depth.deep.on

    @pytest.mark.parametrize("spike_m", [36.5, 39, 43])
    def test_a_single_reading_out_of_line_never_counts_though_a_lander_could_have_gone_there(self, spike_m):
        probe = Probe().move(0, 40, 1).at(40, 60).at(spike_m)
        assert probe.depth.depth_cm == pytest.approx(4000, abs=2)
        assert probe.at(40).depth.depth_cm == pytest.approx(4000, abs=2)
        assert probe.depth.still_for_ds > 500

    def test_a_rise_is_seen_when_the_readings_come_every_ten_seconds_and_then_every_second(self):
        probe = Probe().move(0, 40, 1).at(40, 60)
        for second in range(1, 51):
            if second % 10 == 0 or probe.depth.hurry:
                probe.mbar(1013 + round((40 - 0.8 * second) * 100000 / 991), wait_ds=second * 10 + 1000 - probe.now_ds)
        assert probe.depth.rise_seen

    @pytest.mark.parametrize("swing_m", [5, 10, 50, 100])
    def test_noise_is_no_rise_however_steep(self, swing_m):
        probe, dice = Probe(pressure_full_mbar=120000).move(0, 400, 1), Random(3)
        for _ in range(5000):
            probe.at(400 + dice.uniform(-swing_m, swing_m))
        assert not probe.depth.rise_seen

    def test_readings_without_any_sense_are_no_rise(self):
        probe, dice = Probe().move(0, 400, 1), Random(3)
        for _ in range(5000):
            probe.at(dice.uniform(10, 600))
        assert not probe.depth.rise_seen

    def test_a_rise_is_seen_through_noise_of_half_a_metre(self):
        probe, dice = Probe().move(0, 40, 1), Random(3)
        for tenths in range(400, 200, -6):
            probe.at(tenths / 10 + dice.uniform(-0.5, 0.5))
        assert probe.depth.rise_seen

    @pytest.mark.parametrize("jump_m", [20, 100, -25])
    def test_a_rise_after_a_jump_of_the_sensor_is_seen(self, jump_m):
        there_m = 60 + jump_m
        probe = Probe().move(0, 60, 1).at(60, 60).at(there_m, 10).move(there_m, there_m - 25, 0.6)
        assert probe.depth.rise_seen

    def test_less_than_any_air_must_last_a_minute_to_count_against_the_sensor(self):
        probe = Probe().move(0, 40, 1)
        for _ in range(60):
            probe.mbar(300)
        assert not probe.depth.vacuum.on
        assert probe.mbar(300).depth.vacuum.on
        assert not probe.mbar(1013).depth.vacuum.on
        assert not probe.gone(200).depth.vacuum.on

    @pytest.mark.parametrize("gap_s", [60, 300, 3000])
    def test_a_lower_reading_after_a_gap_is_no_rise(self, gap_s):
        probe = Probe().move(0, 40, 1).at(40, 60).gone(gap_s).at(0, 60)
        assert not probe.depth.rise_seen

    def test_a_new_descent_forgets_the_rise(self):
        probe = Probe().move(0, 40, 1).move(40, 0, 1).at(0, 10)
        assert probe.depth.rise_seen
        probe.depth.forget_rise()
        assert not probe.at(0, 20).depth.rise_seen


class TestSurface:
    def test_the_surface_needs_its_hold_and_forgives_swell(self):
        probe = Probe().move(0, 40, 1).move(40, 0.5, 1)
        assert not probe.depth.surface.on
        probe.at(0.5, 12)
        assert probe.depth.surface.on
        for _ in range(20):
            probe.at(2.5, 3).at(0.2, 3)
            assert probe.depth.surface.on
        assert not probe.at(3.5, 3).depth.surface.on

    def test_deeper_than_planned_needs_its_hold(self):
        probe = Probe(too_deep_cm=5000).move(0, 60, 1)
        assert not Probe(too_deep_cm=5000).move(0, 50, 1).at(50.5, 9).depth.too_deep.on
        assert probe.at(60, 5).depth.too_deep.on

    def test_sinking_again_needs_a_minute_below_the_swell(self):
        assert not Probe().move(0, 5, 1).at(5, 120).depth.sank.on
        assert Probe().move(0, 8, 1).at(8, 61).depth.sank.on


class TestMagnet:
    @pytest.mark.parametrize("held_ds, gesture", [(1, False), (49, False), (50, True), (100, True), (150, True),
                                                  (151, False), (100000, False)])
    def test_a_gesture_lies_between_two_times(self, held_ds, gesture):
        magnet = Magnet()
        assert not magnet.gesture(1000, 1, 50, 150)
        assert magnet.gesture(1000 + held_ds, 0, 50, 150) == gesture
        assert not magnet.gesture(1001 + held_ds, 0, 50, 150)

    def test_a_magnet_that_never_came_is_no_gesture(self):
        assert not Magnet().gesture(1000, 0, 50, 150)

    def test_a_stuck_switch_asks_for_no_hurry(self):
        magnet = Magnet()
        magnet.gesture(0, 1, 50, 150)
        assert magnet.hurry
        magnet.gesture(151, 1, 50, 150)
        assert not magnet.hurry


class TestEnergy:
    def energy(self) -> Energy:
        given = orders.Orders()
        given.capacity_mah, given.reserve_mah, given.reserve_mv, given.low_hold_ds = 1000, 400, 12600, 600
        return Energy(given)

    def test_an_ampere_for_an_hour_is_a_thousand_milliampere_hours(self):
        energy = self.energy()
        for _ in range(3600):
            energy.count(10, 1000, 1, 0)
        assert energy.used_mah == 1000

    def test_small_currents_add_up(self):
        energy = self.energy()
        for _ in range(36000):
            energy.count(1, 5, 1, 0)
        assert energy.used_mah == 5

    @pytest.mark.parametrize("measured, ok", [(0, 1), (0, 0), (9999, 0)])
    def test_a_reading_that_is_low_or_invalid_counts_as_three_quarters_of_the_plan(self, measured, ok):
        energy = self.energy()
        for _ in range(3600):
            energy.count(10, measured, ok, 800)
        assert energy.used_mah == 600

    def test_a_short_circuit_reading_is_capped(self):
        energy = self.energy()
        energy.count(3600, 100000, 1, 0)
        assert energy.used_mah == Energy.MA_MAX // 10

    def test_the_reserve_is_reached_by_count(self):
        energy = self.energy()
        energy.used_mah = 599
        assert not energy.is_low(0, 16000, 1)
        energy.used_mah = 600
        assert energy.is_low(0, 16000, 1)

    def test_a_low_voltage_must_last(self):
        energy = self.energy()
        assert not energy.is_low(0, 12599, 1)
        assert not energy.is_low(599, 12599, 1)
        assert energy.is_low(600, 12599, 1)
        assert not energy.is_low(601, 12600, 1)

    def test_an_invalid_voltage_says_nothing(self):
        energy = self.energy()
        assert not any(energy.is_low(now_ds, 0, 0) for now_ds in range(0, 5000, 10))

    def left_mah_at(self, supply_mv: int, used_mah: int = 100) -> int:
        energy = self.energy()
        energy.used_mah = used_mah
        for now_ds in range(0, 1000, 10):
            energy.is_low(now_ds, supply_mv, 1)
        return energy.left_mah()

    def test_the_charge_left_is_what_the_count_leaves_while_the_voltage_says_nothing_worse(self):
        assert self.left_mah_at(12600) == 900
        assert self.left_mah_at(16000, 1200) == 0
        assert self.left_mah_at(12599, 950) == 50

    def test_below_the_voltage_of_the_reserve_less_and_less_of_it_is_believed_to_be_left(self):
        left = [self.left_mah_at(supply_mv) for supply_mv in range(12599, 10000, -50)]
        assert left == sorted(left, reverse=True) and left[0] <= 400
        assert self.left_mah_at(12600 * 7 // 8) == 0

    def test_what_is_left_by_voltage_is_reckoned_without_large_integers(self):
        given = orders.Orders()
        given.capacity_mah, given.reserve_mah, given.reserve_mv = 1000000, 1000000, 60000
        energy = Energy(given)
        energy.supply_mv, energy.voltage_low.on = 59999, True
        assert 990000 <= energy.left_mah() <= 1000000
        assert given.reserve_mah * 1000 < 1 << 30, "larger ones allocate on a board, in the step"


@pytest.mark.parametrize("rate_m_s", [0.3, 1.0, 2.4])
def test_no_speed_of_a_lander_is_taken_for_a_jump(rate_m_s):
    # Landers sink and rise at about 1 m/s; hauling by winch is slower than 2 m/s. Common practice, no source.
    probe = Probe().move(0, 100, rate_m_s)
    assert probe.depth.depth_cm == pytest.approx(10000, abs=rate_m_s * 100 + 2)  # one reading late, at most
    assert not probe.depth.path_broken
