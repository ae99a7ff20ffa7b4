"""Signals on pages, floats and words out of many frames at once: what the codec says of each frame alone."""

import math
from random import Random

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import Message, Role
from busdesign.catalogue.reader import parse_catalogue
from busdesign.traffic.decode import decode, signal_track
from busdesign.traffic.frames import Traffic
from tests.catalogue.paged_layouts import is_there, meaning, paged_messages


def frames_of(message: Message, count: int, rng: Random) -> list[bytes]:
    """Random payloads, most of them on pages that exist."""
    codec, payloads = MessageCodec(message), []
    for _ in range(count):
        raws = []
        for signal in message.signals:
            pages = [raw for other in message.signals if other.selector == signal.name for raw in other.selected_by]
            raws.append(rng.choice([*pages, rng.randint(signal.raw_min, signal.raw_max)]))
        payloads.append(rng.choice([codec.pack(raws, 0).to_bytes(8, "little"), rng.randbytes(8)]))
    return payloads


def traffic_of(payloads: list[bytes], identifier: int) -> Traffic:
    rows = ((1000 * row, identifier, 0, 8, 0, int.from_bytes(data, "little")) for row, data in enumerate(payloads))
    return Traffic.of_rows(rows)


@settings(max_examples=60)
@given(paged_messages(), st.integers(0, 2**32))
def test_columns_equal_the_codec_frame_by_frame(message: Message, seed: int) -> None:
    payloads = frames_of(message, 40, Random(seed))
    columns, codec = decode(traffic_of(payloads, message.identifier or 0), message), MessageCodec(message)
    told = [codec.decode(data) for data in payloads]
    for signal in message.signals:
        if signal.role is Role.RESERVED:
            continue
        there = np.array([signal.name in one for one in told])
        carrying, physical = columns.carrying(signal.name), columns.physical(signal.name)
        assert carrying.rows.tolist() == np.flatnonzero(there).tolist()
        assert np.isnan(physical[~there]).all()
        np.testing.assert_array_equal(physical[there], carrying.physical(signal.name))
        raws = carrying.raw(signal.name).tolist()
        for raw, number, one in zip(raws, physical[there].tolist(), (t for t in told if signal.name in t), strict=True):
            expected = one[signal.name]
            if isinstance(expected, str):
                assert signal.codes[raw] == expected
            else:
                assert number == expected or (math.isnan(number) and math.isnan(expected))


@settings(max_examples=60)
@given(paged_messages(), st.integers(0, 2**32))
def test_track_tells_each_change_of_the_frames_that_carry_it(message: Message, seed: int) -> None:
    payloads = frames_of(message, 40, Random(seed))
    traffic = traffic_of(payloads, message.identifier or 0)
    for signal in message.signals:
        if signal.role is Role.RESERVED:
            continue
        heard = [
            (1000 * row, meaning(signal, data)) for row, data in enumerate(payloads) if is_there(message, signal, data)
        ]
        track = signal_track(traffic, message, signal.name)
        assert set(track.times_ns) <= {time_ns for time_ns, _ in heard}
        said = dict(zip(track.times_ns, track.values, strict=True))
        current: float | str = math.nan
        for time_ns, expected in heard:
            current = said.get(time_ns, current)
            if signal.only_codes and not isinstance(expected, str):
                assert float(current) == expected, "a number without a word is told as text"
            else:
                assert current == expected or (current != current and expected != expected)


def test_a_frame_without_the_signal_changes_nothing() -> None:
    message = parse_catalogue(
        "catalogue: x\nbus: {bit_rate: 1 Mbit/s}\nnodes: {a: {}}\nmessages:\n"
        "  m: {id: 7, from: a, every: 1 s, bytes: 8, signals: {p: {bits: 8}, v: {bits: 8, when: {p: 1}}}}\n"
    ).message("m")
    payloads = [bytes([page, value, *bytes(6)]) for page, value in ((1, 5), (0, 9), (1, 5), (2, 8), (1, 6), (0, 6))]
    traffic = traffic_of(payloads, 7)
    track = signal_track(traffic, message, "v")
    assert (track.times_ns, track.values) == ([0, 4000], [5.0, 6.0])
    physical = decode(traffic, message).physical("v")
    np.testing.assert_array_equal(physical, [5, math.nan, 5, math.nan, 6, math.nan])
