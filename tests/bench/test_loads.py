"""Loads block by block are those of the whole: ``traffic.tallies`` has them in one piece."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.bench.audit import Audit
from busdesign.bench.limits import Limits, Recorder, limits_of
from busdesign.bench.loads import MOST_BINS
from busdesign.catalogue.model import Catalogue
from busdesign.traffic.frames import Traffic
from busdesign.traffic.tallies import busiest_window, load
from busdesign.wire.columns import frame_bits_of_columns
from tests.networks import MS, catalogue_of, message_of

WINDOWS_NS = (2 * MS, 10 * MS)


def bus() -> Catalogue:
    return catalogue_of([message_of("m", 0x100, "a", 8, 5 * MS)], 250_000, {"a": Fraction(0), "b": Fraction(0)})


def seen(traffic: Traffic, size: int, origin_ns: int = 0) -> Audit:
    catalogue = bus()
    limits = {message.name: limits_of(message, catalogue, None, Recorder()) for message in catalogue.messages}
    audit = Audit(catalogue, Limits(limits, dict.fromkeys(WINDOWS_NS)), origin_ns=origin_ns)
    audit.take(traffic[first : first + size] for first in range(0, len(traffic), size))
    return audit


def one_after_the_other(idle_ns: list[int], payloads: list[int]) -> Traffic:
    """Frames with so much idle time before each."""
    rows, end = [], 10 * MS
    for idle, payload in zip(idle_ns, payloads, strict=True):
        one = np.array([payload], np.uint64)
        bits = int(
            frame_bits_of_columns(np.array([0x100], np.uint32), np.zeros(1, np.uint8), np.full(1, 8, np.uint8), one)[0]
        )
        end += idle + bits * 4000
        rows.append((end - 12_000, 0x100, 0, 8, 0, payload))
    return Traffic.of_rows(rows)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 4 * MS), st.integers(0, 2**64 - 1)), min_size=1, max_size=40), st.integers(1, 50)
)
def test_the_fullest_windows_are_those_of_the_whole(frames: list[tuple[int, int]], size: int) -> None:
    traffic = one_after_the_other([idle for idle, _ in frames], [payload for _, payload in frames])
    bits = frame_bits_of_columns(traffic.identifier, traffic.flags, traffic.length, traffic.payload)
    start, end = int(traffic.end_ns[0] + 12_000 - bits[0] * 4000), int(traffic.end_ns[-1]) + 12_000
    found = seen(traffic, size)
    assert found.loads.mean() == pytest.approx(load(traffic, bits, Fraction(4000), start, end), abs=1e-12)
    for window in WINDOWS_NS:
        expected, _ = busiest_window(traffic, bits, Fraction(4000), start, end, window)
        assert found.loads.of_window(window)[0] == pytest.approx(expected, abs=1e-12)


def test_the_bins_hold_all_of_the_busy_time_however_long_the_capture() -> None:
    traffic = one_after_the_other([500 * MS] * 20_000, list(range(20_000)))  # ten thousand seconds
    found = seen(traffic, 3000)
    loads, bin_ns = found.loads.over_time(), found.loads.bin_ns
    assert len(loads) <= MOST_BINS
    assert bin_ns == 800 * MS
    widths = np.full(len(loads), bin_ns)
    widths[-1] = found.loads.end_ns - (len(loads) - 1) * bin_ns
    assert int(np.rint((loads * widths).sum())) == found.loads.busy_ns
    times, least, most = found.periods.over_time.of(0)
    assert len(times) <= MOST_BINS
    assert (least <= most).all()
    assert most.max() < 501 * MS
