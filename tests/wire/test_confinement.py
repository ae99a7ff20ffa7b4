"""Fault confinement: the rules one by one, and what follows from them."""

import pytest

from busdesign.wire.confinement import (
    LEAST_RECOVERY_BITS,
    RECESSIVE_RUN_BITS,
    Counters,
    after_bit_error_in_flag,
    after_dominant_behind_flag,
    after_dominant_too_long,
    after_receive_error,
    after_reception,
    after_transmission,
    after_transmit_error,
    counts_transmit_error,
    excuses_missing_acknowledgement,
    excuses_stuff_error,
    is_dominant_too_long,
    is_recovered,
)


@pytest.mark.parametrize(
    ("tec", "rec", "state"),
    [
        (0, 0, "error active"),
        (127, 127, "error active"),
        (128, 0, "error passive"),
        (0, 128, "error passive"),
        (255, 4000, "error passive"),
        (256, 0, "bus off"),
        (263, 500, "bus off"),
    ],
)
def test_the_state_follows_from_the_counters(tec: int, rec: int, state: str) -> None:
    assert Counters(tec, rec).state == state


@pytest.mark.parametrize(("tec", "rec", "warns"), [(95, 95, False), (96, 0, True), (0, 96, True)])
def test_a_heavily_disturbed_bus_is_warned_of(tec: int, rec: int, warns: bool) -> None:
    assert Counters(tec, rec).warns is warns


@pytest.mark.parametrize("wrong", [(-1, 0), (0, -1)])
def test_no_counter_is_below_zero(wrong: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match="never falls below 0"):
        Counters(*wrong)


def test_steps() -> None:
    assert after_receive_error(126) == 127
    assert after_dominant_behind_flag(126) == 134
    assert after_transmit_error(120) == 128
    assert after_bit_error_in_flag(3) == 11
    assert after_dominant_too_long(3) == 11


def test_a_transmission_counts_down_to_zero() -> None:
    assert [after_transmission(tec) for tec in (0, 1, 128, 255)] == [0, 0, 127, 254]


def test_a_reception_counts_down_to_zero_and_from_above_back_to_error_active() -> None:
    assert [after_reception(rec) for rec in (0, 1, 127)] == [0, 0, 126]
    assert after_reception(128) == after_reception(5000) == 127
    assert after_reception(128, recovered=119) == 119


def test_sixteen_failures_to_error_passive_thirty_two_to_bus_off() -> None:
    tec, states = 0, []
    for _ in range(32):
        tec = after_transmit_error(tec)
        states.append(Counters(tec).state)
    assert states.index("error passive") == 15
    assert states.index("bus off") == 31


def test_eight_good_frames_make_up_for_one_failure() -> None:
    tec = after_transmit_error(0)
    for _ in range(8):
        assert tec > 0
        tec = after_transmission(tec)
    assert tec == 0


def test_only_a_passive_transmitter_that_sees_no_dominant_bit_is_excused() -> None:
    assert excuses_missing_acknowledgement(was_passive=True, saw_dominant_in_flag=False)
    assert not excuses_missing_acknowledgement(was_passive=True, saw_dominant_in_flag=True)
    assert not excuses_missing_acknowledgement(was_passive=False, saw_dominant_in_flag=False)


def test_only_a_recessive_stuff_bit_overwritten_in_arbitration_is_excused() -> None:
    assert excuses_stuff_error(in_arbitration=True, is_stuff_bit=True, sent_recessive=True, saw_dominant=True)
    for odd in range(4):
        assert not excuses_stuff_error(*(place != odd for place in range(4)))


@pytest.mark.parametrize(("acknowledgement", "stuff", "counts"), [(0, 0, True), (1, 0, False), (0, 1, False)])
def test_what_is_excused_does_not_count(acknowledgement: int, stuff: int, counts: bool) -> None:
    assert counts_transmit_error(bool(acknowledgement), bool(stuff)) is counts


def test_seven_dominant_bits_after_a_flag_are_tolerated_and_each_eighth_is_a_step() -> None:
    assert [bits for bits in range(33) if is_dominant_too_long(bits)] == [8, 16, 24, 32]


def test_recovery_takes_128_runs_of_recessive_bits() -> None:
    assert not is_recovered(127)
    assert is_recovered(128)
    assert LEAST_RECOVERY_BITS == 128 * RECESSIVE_RUN_BITS == 1408
