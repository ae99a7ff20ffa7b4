"""Entries of ``faults``: the keys of each kind, names, ranges and times, each complaint at its place."""

from pathlib import Path

import pytest

from busdesign.errors import ScenarioError
from busdesign.scenario.faults.kinds import FAMILIES, KINDS
from busdesign.scenario.model import Fault
from busdesign.scenario.reader import parse_scenario
from tests.virtual.faulty_bus import laid_out, story

# An entry, what stands at the place that is told, and what is said: `text | hint`, only begun if it ends with dots.
BAD = {
    "kind": (
        "{at: 1 s, kind: babling, node: far}",
        "babling",
        "there is no kind of fault `babling` | did you mean `babbling`?",
    ),
    "kind unlike any": (
        "{at: 1 s, kind: 3}",
        "3",
        "there is no kind of fault `3` | allowed: `silent`, `reset`, `brown_out`...",
    ),
    "key of another kind": (
        "{at: 1 s, kind: silent, node: far, rate: 1 %}",
        "rate",
        "a fault of kind `silent` does not take `rate` | its own keys are `node`",
    ),
    "no until": (
        "{at: 0 s, until: 1 s, kind: flipped_bit, message: order, frame: 1, bit: 2}",
        "until",
        "a fault of kind `flipped_bit` does not take `until` | its own keys are `message`, `frame`, `bit`, `field`...",
    ),
    "key unknown": (
        "{at: 0 s, kind: silent, nod: far}",
        "nod",
        "unknown key `nod` | did you mean `node`?",
    ),
    "key missing": (
        "{at: 0 s, kind: babbling, node: far, every: 1 ms}",
        "babbling",
        "a fault of kind `babbling` needs `id` | add `id: 0x001`",
    ),
    "node": (
        "{at: 0 s, kind: reset, node: lefd}",
        "lefd",
        "there is no node `lefd` | did you mean `left`?",
    ),
    "message": (
        "{at: 0 s, kind: stale, message: oder}",
        "oder",
        "there is no message `oder` | did you mean `order`?",
    ),
    "who sees it": (
        "{at: 0 s, kind: burst, lasts: 1 ms, seen_by: [left, fa]}",
        "fa",
        "there is no node `fa` | did you mean `far`?",
    ),
    "at beyond the run": (
        "{at: 2 s, kind: silent, node: far}",
        "2 s",
        "`at: 2 s` is beyond the run, which ends at 500 ms | run for longer, or let it come earlier",
    ),
    "until beyond the run": (
        "{at: 0 s, until: 600 ms, kind: silent, node: far}",
        "600 ms",
        "`until: 600 ms` is beyond the run, which ends at 500 ms | run for longer, or let it come earlier",
    ),
    "until before at": (
        "{at: 300 ms, until: 200 ms, kind: late, message: order, by: 1 ms}",
        "200 ms",
        "the fault ends at 200 ms, but begins at 300 ms | `until` is a time of the run, not a duration",
    ),
    "bit beyond the frame": (
        "{at: 0 s, kind: flipped_bit, message: order, frame: 1, bit: 75}",
        "75",
        "a frame of `order` has 75 bits at the most, so there is no bit 75 | allowed: 0 to 74",
    ),
    "bit beyond the field": (
        "{at: 0 s, kind: flipped_bit, message: order, frame: 1, bit: 7, field: end of frame}",
        "7",
        "the field `end of frame` of a frame of `order` has 7 bits at the most, so there is no bit 7 | allowed: 0 to 6",
    ),
    "field": (
        "{at: 0 s, kind: flipped_bit, message: order, frame: 1, bit: 7, field: crcc}",
        "crcc",
        "a frame has no field `crcc` | did you mean `crc`?",
    ),
    "field that others have": (
        "{at: 0 s, kind: flipped_bit, message: order, frame: 1, bit: 7, field: extended identifier}",
        "extended identifier",
        "a frame of `order` has no field `extended identifier` | ...",
    ),
    "payload bit": (
        "{at: 0 s, kind: corrupted, message: order, payload_bit: 16}",
        "16",
        "`order` has 2 bytes, so there is no payload bit 16 | allowed: 0 to 15",
    ),
    "frame": (
        "{at: 0 s, kind: flipped_bit, message: order, frame: 0, bit: 1}",
        "0",
        "`0` is out of range: at least 1 is allowed | which frame of the message since `at`, from `1`",
    ),
    "rate": (
        "{at: 0 s, kind: flipped_bits, rate: 100 %}",
        "100 %",
        "`100 %` is no such probability | allowed: more than 0 % to below 100 %",
    ),
    "rate without a unit": (
        "{at: 0 s, kind: flipped_bits, rate: 0.01}",
        "0.01",
        "`0.01` has no unit | ...",
    ),
    "flood above eleven bits": (
        "{at: 0 s, kind: babbling, node: far, id: 0x800, every: 1 ms}",
        "0x800",
        "`0x800` is above 0x7FF | allowed: 0x000 to 0x7FF, or up to 0x1FFFFFFF with `extended: true`",
    ),
    "flood beyond all measure": (
        "{at: 0 s, kind: babbling, node: far, id: 1, every: 1 us}",
        "1 us",
        "every 1 us is far more than the bus can carry | allowed: 20 us or longer",
    ),
    "time-out": (
        "{at: 0 s, kind: stuck_dominant, node: far, time_out: 30 us}",
        "30 us",
        "a time-out of 30 us cuts good frames below 366.666667 kbit/s | allowed: 44 us or longer, 11 bits of this bus",
    ),
    "bursts": (
        "{at: 0 s, kind: burst, lasts: 2 ms, every: 2 ms}",
        "2 ms",
        "bursts of 2 ms cannot come every 2 ms | allowed: longer than 2 ms",
    ),
    "too many bursts": (
        "{at: 0 s, kind: burst, lasts: 1 us, every: 2 us}",
        "2 us",
        "more than 1000 bursts in 500 ms | allowed: 500 us or longer",
    ),
    "rate of the bus": (
        "{at: 0 s, kind: wrong_bit_rate, node: far, bit_rate: 250 kbit/s}",
        "250 kbit/s",
        "250 kbit/s is the bit rate of the bus, and no fault | allowed: any other up to 1 Mbit/s",
    ),
    "clock": (
        "{at: 0 s, kind: oscillator, node: far, error: 20 %}",
        "20 %",
        "`20 %` is no such error of a clock | allowed: -10 % to +10 %, but not 0 %",
    ),
    "sample point": (
        "{at: 0 s, kind: wrong_sample_point, node: far, sample_point: 100 %}",
        "100 %",
        "`100 %` is not a sample point | allowed: 1 % to 99 %",
    ),
    "position": (
        "{at: 0 s, kind: wires_open, position: 12 m}",
        "12 m",
        "the trunk ends at 10 m | allowed: 0 m to 10 m",
    ),
    "no position": (
        "{at: 0 s, kind: wires_open}",
        "wires_open",
        "a fault of kind `wires_open` needs one of `position`, `between` and `node` | add `position: 5 m`",
    ),
    "no neighbours": (
        "{at: 0 s, kind: wires_open, between: [panel, right]}",
        "[panel, right]",
        "`panel` and `right` are no neighbours on the trunk | along the trunk there are `panel`, `left`...",
    ),
    "no termination there": (
        "{at: 0 s, kind: termination_missing, position: 5 m}",
        "5 m",
        "there is no termination at 5 m | allowed: 0 m, 10 m",
    ),
    "wire": (
        "{at: 0 s, kind: wire_to_ground, wire: hi}",
        "hi",
        "expected `high` or `low`, found `hi` | did you mean `high`?",
    ),
    "load": (
        "{at: 0 s, kind: dead_unit, node: far, ohm: 100 mohm}",
        "100 mohm",
        "less than 1 ohm is a short, and no load | allowed: 1 ohm to 1000 kohm",
    ),
    "neither node nor message": (
        "{at: 0 s, kind: late, by: 1 ms}",
        "late",
        "a fault of kind `late` needs either `node` or `message` | add `node: strut_left` or `message: leg_demand`",
    ),
    "irregular": (
        "{at: 0 s, kind: swapped, message: alarm}",
        "alarm",
        "`alarm` is irregular: no release of it is known before | allowed: `order`, `plain`, `report_left`...",
    ),
    "its own message": (
        "{at: 0 s, kind: duplicate_identifier, node: panel, message: order}",
        "panel",
        "`order` is `panel`'s own message | allowed: `left`, `right`, `far`",
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return laid_out(tmp_path_factory.mktemp("faulty"))


def read(root: Path, *entries: str, catalogue: str = "faulty") -> tuple[Fault, ...]:
    text = story("".join(f"  - {entry}\n" for entry in entries)).replace("faulty.yaml", f"{catalogue}.yaml")
    return parse_scenario(text, str(root / "sim" / "story.yaml")).faults


@pytest.mark.parametrize("case", BAD)
def test_a_bad_entry_is_told_at_its_place_with_what_is_allowed(case: str, root: Path) -> None:
    entry, at, told = BAD[case]
    with pytest.raises(ScenarioError) as raised:
        read(root, entry)
    (found,) = raised.value.findings
    assert found.where is not None
    assert (Path(found.where.file).name, found.where.line) == ("story.yaml", 8)
    said = f"{found.text} | {found.fix}"
    assert said.startswith(told[:-3]) if told.endswith("...") else said == told, said
    assert entry[found.where.column - 5 :].startswith(at), said


def test_all_entries_are_told_of_at_once(root: Path) -> None:
    with pytest.raises(ScenarioError) as raised:
        read(root, BAD["node"][0], BAD["rate"][0], BAD["key missing"][0])
    assert [found.where.line for found in raised.value.findings if found.where] == [8, 9, 10]


def test_wires_need_a_trunk(root: Path) -> None:
    text = (root / "messages" / "faulty.yaml").read_text()
    begin, end = text.index("  harness:"), text.index("nodes:")
    (root / "messages" / "bare.yaml").write_text(text[:begin] + text[end:])
    with pytest.raises(ScenarioError) as raised:
        read(root, "{at: 0 s, kind: wires_open, position: 5 m}", catalogue="bare")
    assert [found.text for found in raised.value.findings] == [
        "a fault of kind `wires_open` needs the wires, and the catalogue gives no trunk"
    ]


def test_a_name_is_kept_and_one_is_made_where_there_is_none(root: Path) -> None:
    named, unnamed, of_wires = read(
        root,
        "{at: 1 ms, kind: silent, node: far, name: the far one sleeps}",
        "{at: 2 ms, kind: silent, node: far}",
        "{at: 3 ms, kind: wires_open, position: 7.5 m}",
    )
    assert (named.title, unnamed.title, of_wires.title) == (
        "the far one sleeps",
        "far silent",
        "at 7.5 m wires open",
    )


def test_the_kinds_say_all_that_the_guide_needs() -> None:
    assert len(KINDS) == sum(map(len, FAMILIES.values())) >= 28
    for kind in KINDS.values():
        assert all((kind.meaning, kind.bus, kind.counters, kind.assumed)), kind.name
        assert not set(kind.needs) & set(kind.takes), kind.name
