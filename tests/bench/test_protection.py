"""Checks over columns are those of the codec, frame by frame, for every algorithm and every way of a data id."""

import numpy as np
import pytest

from busdesign.bench.protection import Checker
from busdesign.catalogue.checksums import CHECKSUMS
from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.data_ids import WAYS
from busdesign.catalogue.model import Role
from busdesign.catalogue.reader import parse_catalogue
from busdesign.traffic.decode import decode
from busdesign.traffic.frames import Traffic

FRAMES = 300
DATA_IDS = [
    "",
    *(f", data_id: 0x1234, data_id_as: {way}" for way in WAYS),
    ", data_ids: [3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5, 8, 9, 7, 9, 3]",
]


@pytest.mark.parametrize("data_id", DATA_IDS)
@pytest.mark.parametrize("crc", sorted(CHECKSUMS))
def test_the_same_as_the_codec(crc: str, data_id: str) -> None:
    width = CHECKSUMS[crc].width
    text = f"""\
catalogue: tried
bus: {{bit_rate: 250 kbit/s}}
nodes: {{a: {{}}, b: {{}}}}
messages:
  m:
    id: 0x100
    from: a
    to: b
    every: 10 ms
    lost_after: 50 ms
    bytes: 8
    signals: {{counter: {{bits: 4, counts: 1}}, free: {{bits: 12}}, check: {{bits: {width}, crc: {crc}{data_id}}}}}
"""
    (message,) = parse_catalogue(text).messages
    codec = MessageCodec(message)
    rng = np.random.default_rng(1)
    good = [codec.encode({"free": int(value)}, count) for count, value in enumerate(rng.integers(0, 4096, FRAMES))]
    bad = [bytes(octets) for octets in rng.integers(0, 256, (FRAMES, 8), dtype=np.uint8)]
    payloads = [*good, *bad]
    rows = [(at, 0x100, 0, 8, 0, int.from_bytes(data, "little")) for at, data in enumerate(payloads)]
    columns = decode(Traffic.of_rows(rows), message)
    signal = next(known for known in message.signals if known.role is Role.CHECK)
    fits = columns.raw(signal.name).astype(np.uint64) == Checker(message, signal).expected(columns)
    assert fits[:FRAMES].all()
    assert fits.tolist() == [codec.check_holds(data) for data in payloads]
