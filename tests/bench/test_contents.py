"""What is found in random payloads is what the catalogue's own rules say frame by frame."""

from collections import Counter
from dataclasses import replace

import numpy as np

from busdesign.bench.audit import Audit
from busdesign.bench.limits import Limits, Recorder, limits_of
from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import Catalogue, Role
from busdesign.catalogue.reader import parse_catalogue
from busdesign.catalogue.values import allowed_raws, float_limits, to_value
from busdesign.traffic.frames import Row, Traffic
from busdesign.wire.flags import REMOTE

MS = 1_000_000
FRAMES = 400
TEXT = """\
catalogue: tried
bus: {bit_rate: 500 kbit/s}
nodes: {a: {}, b: {}}
messages:
  plain:
    id: 0x100
    from: a
    to: b
    every: 10 ms
    lost_after: 100 ms
    bytes: 8
    byte_order: big
    signals:
      small: {bits: 5, signed: true, range: [-10, 10]}
      wide:  {bits: 20, factor: 0.5, offset: -100, range: [0, 5000]}
      word:  {bits: 4, codes: {0: x, 3: y, 9: z}}
      mixed: {bits: 8, range: [0, 100], unknown: 255}
      fixed: {bits: 4, constant: 5}
      any:   {bits: 7}
  floats:
    id: 0x101
    from: a
    to: b
    every: 10 ms
    lost_after: 100 ms
    signals: {level: {bits: 32, float: true, range: [-1000000, 1000000]}}
  paged:
    id: 0x102
    from: b
    to: a
    every: 10 ms
    lost_after: 100 ms
    bytes: 3
    signals:
      page: {bits: 8, codes: {0: low, 1: high}}
      low:  {bits: 8, range: [0, 50], when: {page: 0}}
      high: {bits: 16, range: [1000, 2000], when: {page: 1}}
"""


def audited(catalogue: Catalogue, rows: list[Row], **answer_ns: int) -> Audit:
    limits = {}
    for message in catalogue.messages:
        made = limits_of(message, catalogue, None, Recorder())
        limits[message.name] = replace(made, answer_ns=answer_ns.get(message.name))
    audit = Audit(catalogue, Limits(limits, {10 * MS: None}))
    traffic = Traffic.of_rows(rows)
    audit.take(traffic[at : at + 37] for at in range(0, len(traffic), 37))
    return audit


def test_the_same_as_frame_by_frame() -> None:
    catalogue = parse_catalogue(TEXT)
    rng, rows = np.random.default_rng(2), list[Row]()
    expected = Counter[tuple[str, str]]()
    for number in range(FRAMES):
        for message in catalogue.messages:
            data = bytes(rng.integers(0, 256, message.length_bytes, dtype=np.uint8))
            if message.name == "paged":
                data = bytes([number % 3]) + data[1:]
            codec = MessageCodec(message)
            payload, at_ns = int.from_bytes(data, "little"), number * 10 * MS + 1 + len(rows)
            rows.append((at_ns, message.identifier or 0, 0, len(data), 0, payload))
            raws = codec.unpack(payload)
            by_name = dict(zip((signal.name for signal in message.signals), raws, strict=True))
            for signal, raw in zip(message.signals, raws, strict=True):
                if not message.is_carried(signal, by_name):
                    continue
                if signal.is_float:
                    low, high = float_limits(signal)
                    value = to_value(signal, raw)
                    if not (isinstance(value, float) and low <= value <= high):
                        expected["value-out-of-range", signal.name] += 1
                elif signal.role is Role.CONSTANT and raw != signal.constant:
                    expected["wrong-constant", signal.name] += 1
                elif signal.role is Role.VALUE and raw not in allowed_raws(signal) and raw not in signal.codes:
                    rule = "undefined-code" if signal.only_codes else "value-out-of-range"
                    expected[rule, signal.name] += 1
    found = Counter[tuple[str, str]]()
    for one in audited(catalogue, rows).contents.sightings():
        if one.finding.rule != "unused-bits":
            found[one.finding.rule, one.finding.text.split("`")[1].partition(".")[2]] = one.count
    assert {rule for rule, _ in found} == {"value-out-of-range", "undefined-code", "wrong-constant"}
    assert found == expected


REQUESTS = """\
catalogue: tried
bus: {bit_rate: 500 kbit/s}
nodes: {a: {}, b: {}}
messages:
  figures: {id: 0x200, from: a, to: b, irregular: {at_least_apart: 20 ms}, bytes: 2}
  ask:     {requests: figures, from: b, to: a, every: 100 ms}
"""


def test_a_request_that_is_answered_late_or_not_at_all() -> None:
    catalogue = parse_catalogue(REQUESTS)
    rows: list[Row] = []
    for number in range(60):
        at = (100 * number + 1) * MS
        rows.append((at, 0x200, REMOTE, 2, 0, 0))
        late = 30 * MS if number in (20, 41) else MS
        if number != 33:
            rows.append((at + late, 0x200, 0, 2, 0, number))
    (found,) = audited(catalogue, rows, figures=5 * MS).requests.sightings()
    assert (found.finding.rule, found.subject, found.count) == ("request-unanswered", "ask", 3)
    assert not list(audited(catalogue, rows[:40], figures=5 * MS).requests.sightings())


def test_a_page_that_nobody_declared() -> None:
    """A selector without codes: what selects no page is no content of the message."""
    text = TEXT.replace("page: {bits: 8, codes: {0: low, 1: high}}", "page: {bits: 8}")
    catalogue = parse_catalogue(text, "tried.yaml")
    rows: list[Row] = [(at * 10 * MS, 0x102, 0, 3, 0, page) for at, page in enumerate((0, 1, 7, 0, 200), 1)]
    rows[1] = (*rows[1][:5], 1 | 1500 << 8)
    found = [one for one in audited(catalogue, rows).contents.sightings() if one.subject == "paged"]
    assert [(one.finding.rule, one.count, one.first_frame) for one in found] == [("undefined-code", 2, 3)]
    assert "has the raw number 7 to 200 in 2 frames, which selects no page (pages: 0, 1)" in found[0].finding.text
