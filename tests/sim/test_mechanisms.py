"""How release mechanisms open and fail. Faraday's law as published is in tests/published/test_electrolysis.py."""

from math import inf

import pytest

from seatrial.mechanisms import Latch, PassiveLink, Wire, make


@pytest.fixture(params=["primary", "backup"])
def channel(request, sample):
    return getattr(sample.release, request.param)


def test_the_plan_says_which_mechanism_a_channel_drives(sample):
    assert isinstance(make(sample.release.primary), Wire)
    assert isinstance(make(sample.release.backup), Latch)


def test_an_unknown_kind_is_refused_with_its_name_and_the_choices(sample):
    sample.release.primary.kind = "harpoon"
    with pytest.raises(ValueError, match='kind is "harpoon"; allowed is wire or latch'):
        make(sample.release.primary)


def test_it_opens_exactly_when_it_said_it_would(channel):
    mechanism = make(channel)
    seconds = mechanism.seconds_to_open(channel.current_ma)
    mechanism.advance(channel.current_ma, seconds - 0.001)
    assert not mechanism.open
    mechanism.advance(channel.current_ma, mechanism.seconds_to_open(channel.current_ma))
    assert mechanism.open
    assert mechanism.seconds_to_open(channel.current_ma) == mechanism.seconds_to_open(0.0) == 0.0


def test_both_sample_mechanisms_open_within_one_attempt(channel):
    assert 0.0 < make(channel).seconds_to_open(channel.current_ma) < channel.fire_s


def test_work_done_in_an_attempt_that_was_cut_short_is_kept(channel):
    mechanism = make(channel)
    whole_s = mechanism.seconds_to_open(channel.current_ma)
    mechanism.advance(channel.current_ma, 0.4 * whole_s)
    mechanism.advance(0.0, 1e6)
    assert mechanism.seconds_to_open(channel.current_ma) == pytest.approx(0.6 * whole_s)


def test_many_short_pulses_do_the_work_of_one_long_one(channel):
    mechanism = make(channel)
    whole_s = mechanism.seconds_to_open(channel.current_ma)
    for _ in range(1000):
        assert not mechanism.open
        mechanism.advance(channel.current_ma, whole_s / 1000)
    assert mechanism.open


def test_half_the_current_takes_twice_as_long(channel):
    mechanism = make(channel)
    assert mechanism.seconds_to_open(0.5 * channel.current_ma) == pytest.approx(
        2.0 * mechanism.seconds_to_open(channel.current_ma)
    )


def test_more_current_eats_a_wire_faster_and_turns_a_latch_no_faster(sample):
    wire, latch = make(sample.release.primary), make(sample.release.backup)
    assert wire.seconds_to_open(2000.0) == pytest.approx(0.5 * wire.seconds_to_open(1000.0))
    assert latch.seconds_to_open(1800.0) == latch.seconds_to_open(900.0) == sample.release.backup.turn_s


def test_without_current_nothing_opens(channel):
    mechanism = make(channel)
    mechanism.advance(0.0, 1e9)
    assert not mechanism.open
    assert mechanism.seconds_to_open(0.0) == inf


def test_cold_or_fresh_water_slows_the_work(channel):
    mechanism = make(channel)
    whole_s = mechanism.seconds_to_open(channel.current_ma)
    mechanism.rate_factor = 0.25
    assert mechanism.seconds_to_open(channel.current_ma) == pytest.approx(4.0 * whole_s)


def test_a_jammed_mechanism_never_opens_and_draws_its_usual_current(channel):
    mechanism = make(channel)
    mechanism.jammed = True
    mechanism.advance(channel.current_ma, 1e9)
    assert not mechanism.open
    assert mechanism.seconds_to_open(channel.current_ma) == inf
    assert mechanism.drawn_ma(100) == channel.current_ma


@pytest.mark.parametrize(("circuit", "times"), [("open", 0.0), ("shorted", 5.0)])
def test_a_broken_circuit_never_opens_anything_and_shows_in_the_current(channel, circuit, times):
    mechanism = make(channel)
    mechanism.circuit = circuit
    mechanism.advance(channel.current_ma, 1e9)
    assert not mechanism.open
    assert mechanism.seconds_to_open(channel.current_ma) == inf
    assert mechanism.drawn_ma(100) == times * channel.current_ma
    assert mechanism.drawn_ma(50) == 0.5 * times * channel.current_ma


def test_a_fault_that_heals_lets_the_work_go_on(channel):
    mechanism = make(channel)
    mechanism.circuit = "open"
    mechanism.advance(channel.current_ma, 1e9)
    mechanism.circuit = "sound"
    mechanism.advance(channel.current_ma, mechanism.seconds_to_open(channel.current_ma))
    assert mechanism.open


def test_not_driven_it_draws_nothing(channel):
    assert make(channel).drawn_ma(0) == 0.0


def test_a_parted_wire_carries_no_current_and_an_open_latch_still_does(sample):
    wire, latch = make(sample.release.primary), make(sample.release.backup)
    wire.advance(1000.0, 1e4)
    latch.advance(900.0, 1e4)
    assert wire.open and latch.open
    assert wire.drawn_ma(100) == 0.0
    assert latch.drawn_ma(100) == 900.0


def test_a_corroding_link_opens_when_its_time_is_up(sample):
    link = PassiveLink(sample.release.passive, 40 * 3600.0)
    link.advance(30 * 3600.0)
    assert not link.open and link.seconds_to_open() == 10 * 3600.0
    link.advance(10 * 3600.0)
    assert link.open and link.seconds_to_open() == 0.0


def test_a_link_that_is_not_fitted_or_jammed_never_opens(sample):
    jammed = PassiveLink(sample.release.passive, 3600.0)
    jammed.jammed = True
    sample.release.passive.fitted = False
    absent = PassiveLink(sample.release.passive, 3600.0)
    for link in (jammed, absent):
        link.advance(1e9)
        assert not link.open and link.seconds_to_open() == inf


def test_a_link_with_a_negative_time_is_refused(sample):
    with pytest.raises(ValueError, match=r"opens_after_s is -1.0; allowed is 0 and more"):
        PassiveLink(sample.release.passive, -1.0)


def test_a_link_that_is_late_takes_so_much_longer_and_an_open_one_stays_open(sample):
    link = PassiveLink(sample.release.passive, 100.0)
    link.advance(40.0)
    link.delay(1000.0)
    assert link.seconds_to_open() == 1060.0
    link.advance(1060.0)
    link.delay(1000.0)
    assert link.open
