"""Reading catalogues: what a good one comes to, and how files that cannot be read are refused."""

import time
from fractions import Fraction
from pathlib import Path

import pytest

from busdesign.catalogue.model import ByteOrder, Catalogue, Role
from busdesign.catalogue.reader import parse_catalogue, read_catalogue
from busdesign.catalogue.text_file import MAX_FILE_BYTES
from busdesign.errors import CatalogueError, InputError
from busdesign.findings import Finding

DEMO = Path(__file__).parents[2] / "messages" / "saltmarsh.yaml"
HEAD = "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\nnodes: {panel: {}, strut: {}}\n"


def refused(text: str) -> tuple[Finding, ...]:
    with pytest.raises(CatalogueError) as raised:
        parse_catalogue(text, "tried.yaml")
    return raised.value.findings


def refused_file(path: Path) -> Finding:
    with pytest.raises(CatalogueError) as raised:
        read_catalogue(path)
    [finding] = raised.value.findings
    assert finding.where is not None
    assert finding.where.file == str(path)
    return finding


def one_message(rest: str) -> Catalogue:
    return parse_catalogue(f"{HEAD}messages:\n  report: {{from: panel, {rest}}}\n")


EVERYTHING = """\
catalogue: everything
revision: 7
bus:
  bit_rate: 250 kbit/s
  sample_point: 80 %
  harness: {trunk: 9 m, longest_stub: 25 cm, termination: 0.12 kohm}
nodes:
  panel: {clock: 16 MHz, tolerance: 50 ppm}
  left: {clock: 8 MHz, tolerance: 0.3 %, processing: 2 ms}
  right: {}
codes: {order: {0: stay, 1: up, 2: down}}
messages:
  demand:
    id: 0x110
    from: panel
    to: [left, right]
    every: 50 ms
    deadline: 10 ms
    jitter: 1 ms
    lost_after: 200 ms
    moves: true
    signals:
      order:   {bits: 2, codes: order, initial: up}
      counter: {bits: 4, counts: 1, modulo: 15}
      check:   {bits: 8, crc: crc8-j1850, data_id: 0x0110}
  fault:
    id: 0x18FE0012
    extended: true
    from: left
    to: panel
    irregular: {at_least_apart: 100 ms}
    signals: {kind: {bits: 4}}
  report:
    for_each:
      id:     [0x210, 0x211]
      leg:    [l, r]
      from:   [left, right]
      offset: [3 ms, 5 ms]
    every: 20 ms
    byte_order: big
    signals:
      height: {bits: 16, signed: true, unit: ft, range: [-1000, 30000]}
      speed:  {bits: 12, byte_order: little, factor: 0.1, offset: -5}
"""


@pytest.fixture(scope="module")
def everything() -> Catalogue:
    return parse_catalogue(EVERYTHING, "everything.yaml")


def test_head(everything: Catalogue) -> None:
    assert (everything.name, everything.revision, everything.file) == ("everything", 7, "everything.yaml")
    assert everything.bus.bit_rate_bit_s == 250_000
    assert everything.bus.sample_point == Fraction(4, 5)
    assert everything.bus.bit_ns == 4000
    wires = everything.bus.harness
    assert (wires.trunk_m, wires.longest_stub_m, wires.termination_ohm) == (Fraction(9), Fraction(1, 4), Fraction(120))
    left, right = everything.nodes["left"], everything.nodes["right"]
    assert (left.clock_hz, left.tolerance, left.processing_ns) == (Fraction(8_000_000), Fraction(3, 1000), 2_000_000)
    assert (right.clock_hz, right.tolerance, right.processing_ns) == (None, Fraction(0), 0)


def test_message_with_counter_and_check(everything: Catalogue) -> None:
    demand = everything.message("demand")
    assert (demand.identifier, demand.extended, demand.length_bytes, demand.sender) == (0x110, False, 2, "panel")
    assert demand.receivers == ("left", "right")
    assert (demand.period_ns, demand.deadline_ns) == (50_000_000, 10_000_000)
    assert (demand.jitter_ns, demand.offset_ns, demand.lost_after_ns) == (1_000_000, 0, 200_000_000)
    assert (demand.irregular, demand.moves) == (False, True)
    order, counter, check = demand.signals
    assert (order.role, dict(order.codes), order.initial) == (Role.VALUE, {0: "stay", 1: "up", 2: "down"}, "up")
    assert (counter.role, counter.counts, counter.modulo) == (Role.COUNTER, 1, 15)
    assert (check.role, check.crc, check.data_id, check.start_bit) == (Role.CHECK, "crc8-j1850", 0x0110, 8)


def test_irregular_and_extended(everything: Catalogue) -> None:
    fault = everything.message("fault")
    assert (fault.irregular, fault.period_ns, fault.deadline_ns) == (True, 100_000_000, 100_000_000)
    assert (fault.identifier, fault.extended, fault.lost_after_ns) == (0x18FE0012, True, None)


def test_family(everything: Catalogue) -> None:
    left, right = everything.message("report_l"), everything.message("report_r")
    assert (left.identifier, left.sender, left.offset_ns, left.family) == (0x210, "left", 3_000_000, "report")
    assert (right.identifier, right.sender, right.offset_ns, right.family) == (0x211, "right", 5_000_000, "report")
    assert left.signals == right.signals
    height, speed = left.signals
    assert (height.byte_order, height.start_bit, height.signed, height.minimum) == (ByteOrder.BIG, 7, True, -1000)
    assert (speed.byte_order, speed.start_bit, speed.factor, speed.offset) == (ByteOrder.LITTLE, 16, 0.1, -5)


def test_places_of_a_family_lead_to_its_lists(everything: Catalogue) -> None:
    for name, word in (("report_l", "3 ms"), ("report_r", "5 ms")):
        offset, whole = everything.message(name).place_of("offset"), everything.message(name).place_of("deadline")
        assert offset is not None
        assert offset.quoted[offset.column - 1 :].startswith(word)
        assert whole is not None, "what is not written leads to the message"
        assert whole.quoted[whole.column - 1 :] == "report:"


def test_lookups_of_what_is_not_there(everything: Catalogue) -> None:
    with pytest.raises(KeyError):
        everything.message("demnd")
    with pytest.raises(KeyError):
        everything.message("demand").signal("chekc")
    assert [message.name for message in everything.sent_by("right")] == ["report_r"]
    assert everything.sent_by("nobody") == ()


def test_demo_reads() -> None:
    demo = read_catalogue(DEMO)
    assert {message.sender for message in demo.messages} == set(demo.nodes)
    assert all(message.identifier is not None and message.place_of("id") for message in demo.messages)


def test_words_of_other_yaml_dialects_are_text() -> None:
    catalogue = one_message("every: 1 s, comment: off, signals: {s: {bits: 8, unit: no, codes: {0: on, 0x10: 1:30}}}")
    [signal] = catalogue.message("report").signals
    assert (signal.unit, dict(signal.codes)) == ("no", {0: "on", 16: "1:30"})
    assert catalogue.message("report").comment == "off"


def test_numbers_in_every_base() -> None:
    catalogue = one_message("every: 1 s, id: 0o17, signals: {a: {bits: 0x10, factor: 5e-1, offset: +.5}}")
    [signal] = catalogue.message("report").signals
    assert (catalogue.message("report").identifier, signal.length_bits, signal.factor, signal.offset) == (
        15,
        16,
        0.5,
        0.5,
    )


def test_merge_gives_way_to_what_is_written() -> None:
    catalogue = parse_catalogue(
        HEAD
        + "messages:\n"
        + "  first: &usual {id: 1, from: panel, every: 10 ms, signals: {a: {bits: 8}}}\n"
        + "  second: {<<: *usual, id: 2, every: 20 ms}\n"
    )
    second = catalogue.message("second")
    assert (second.identifier, second.period_ns, second.sender, second.length_bytes) == (2, 20_000_000, "panel", 1)


def test_finding_in_a_merged_part_stands_where_it_is_written() -> None:
    text = HEAD + "messages:\n  m: &usual {id: 1, from: panl, every: 1 s}\n  n: {<<: *usual, id: 2}\n"
    assert [(found.rule, found.where and found.where.line) for found in refused(text)] == [("unknown-node", 5)]


def test_byte_order_mark_and_line_ends() -> None:
    text = HEAD + "messages:\n  report: {from: panel, every: 1 s}\n"
    for other in ("\ufeff" + text, text.replace("\n", "\r\n"), text.replace("\n", "\r"), text.rstrip("\n")):
        assert parse_catalogue(other) == parse_catalogue(text)


def test_names_in_messages_follow_the_word() -> None:
    catalogue = parse_catalogue(
        HEAD + "messages:\n  report:\n    for_each: {leg: [1, 2], from: [panel, strut], to: [strut, [panel, strut]]}\n"
        "    comment: of leg {leg}\n    every: 1 s\n"
    )
    first, second = catalogue.messages
    assert (first.name, first.comment, first.receivers) == ("report_1", "of leg 1", ("strut",))
    assert (second.name, second.comment, second.receivers) == ("report_2", "of leg 2", ("panel", "strut"))


def test_family_without_words_is_named_by_its_senders() -> None:
    catalogue = parse_catalogue(HEAD + "messages: {beat: {for_each: {id: [1, 2], from: [panel, strut]}, every: 1 s}}\n")
    assert [(message.name, message.identifier) for message in catalogue.messages] == [
        ("beat_panel", 1),
        ("beat_strut", 2),
    ]


def test_functions() -> None:
    catalogue = parse_catalogue(
        HEAD + "messages: {report: {from: panel, every: 1 s}}\n"
        "functions: {act: {path: [panel.key, report, strut.drive], within: 2 s}}\n"
    )
    [function] = catalogue.functions
    assert (function.name, function.path, function.within_ns) == (
        "act",
        ("panel.key", "report", "strut.drive"),
        2 * 10**9,
    )


def test_all_findings_at_once_in_the_order_of_the_file() -> None:
    text = """\
catalogue: tried
bus: {bit_rate: 250}
nodes:
  panel: {clock: fast}
  strut: {clok: 8 MHz}
codes: {lamp: {0: dark, on: 1}}
messages:
  first: {id: 0x10, from: pannel, every: 10 ms, signals: {a: {bits: 8, start: 0}, b: {bits: 8, start: 4}}}
  second: {id: 0x10, from: strut, every: 10, signals: {a: {bit: 8}}}
  third: {id: 0x10, from: strut, every: 10 ms, signals: {lamp: {bits: 2, codes: lamp}}}
  fourth: {for_each: {id: [1, 2], from: [panel]}, every: 10 ms}
functions: {act: {path: [panel.key, fourth_strut, fifth], within: 2 s}}
"""
    found = [(finding.where and finding.where.line, finding.rule) for finding in refused(text)]
    assert found == [
        (2, "wrong-unit"),
        (4, "wrong-value"),
        (5, "unknown-key"),
        (6, "wrong-value"),
        (8, "unknown-node"),
        (8, "signal-overlap"),
        (9, "wrong-unit"),
        (9, "missing-key"),
        (9, "unknown-key"),
        (10, "duplicate-identifier"),
        (11, "for-each"),
        (12, "unknown-message"),
    ]
    assert found == sorted(found, key=lambda one: one[0] or 0)


def test_hints_for_overlaps_can_be_followed_together() -> None:
    written = ["a: {bits: 8, start: 0}", "b: {bits: 8, start: 4}", "c: {bits: 8, start: 6}", "d: {bits: 9, start: 60}"]
    text = f"{HEAD}messages:\n  m: {{from: panel, every: 1 s, signals: {{\n    " + ",\n    ".join(written) + "}}\n"
    lines = text.splitlines()
    for finding in refused(text):
        assert finding.where is not None
        line, column = finding.where.line - 1, finding.where.column - 1
        start = finding.fix.removeprefix("`start: ").removesuffix("` is free")
        lines[line] = lines[line][:column] + start + lines[line][column:].lstrip("0123456789")
    assert len(parse_catalogue("\n".join(lines)).message("m").signals) == 4


def test_hint_for_room_can_be_followed() -> None:
    text = (
        f"{HEAD}messages: {{m: {{from: panel, every: 1 s, bytes: 2, signals: {{a: {{bits: 9}}, b: {{bits: 9}}}}}}}}\n"
    )
    [finding] = refused(text)
    assert finding.fix == "`bytes: 3` would hold it"
    assert parse_catalogue(text.replace("bytes: 2", "bytes: 3")).message("m").length_bytes == 3


def test_file_that_is_not_there_but_nearly(tmp_path: Path) -> None:
    for name in ("saltmarsh.yaml", "other.yml", "notes.txt"):
        (tmp_path / name).write_text("")
    near = refused_file(tmp_path / "saltmarch.yaml")
    assert (near.rule, near.fix) == ("file-missing", f"did you mean `{tmp_path / 'saltmarsh.yaml'}`?")
    far = refused_file(tmp_path / "zzz")
    assert far.fix == f"there is `{tmp_path / 'other.yml'}`, `{tmp_path / 'saltmarsh.yaml'}`"
    nowhere = refused_file(tmp_path / "none" / "zzz.yaml")
    assert (nowhere.rule, nowhere.fix) == ("file-missing", f"there is no folder `{tmp_path / 'none'}`")


def test_folder_instead_of_a_file(tmp_path: Path) -> None:
    assert refused_file(tmp_path).fix == f"there is no YAML file in `{tmp_path}`"
    (tmp_path / "a.yaml").write_text("")
    found = refused_file(tmp_path)
    assert (found.rule, found.text) == ("file-unreadable", "this is a folder, not a file")
    assert found.fix == f"there is `{tmp_path / 'a.yaml'}`"


def test_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def locked(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    path = tmp_path / "locked.yaml"
    monkeypatch.setattr("builtins.open", locked)
    found = refused_file(path)
    assert (found.rule, found.text) == ("file-unreadable", "the file cannot be read: Permission denied")


def test_path_with_a_nul() -> None:
    with pytest.raises(CatalogueError) as raised:
        read_catalogue("a\0b.yaml")
    assert "null" in raised.value.findings[0].text


def test_file_too_large(tmp_path: Path) -> None:
    path = tmp_path / "large.yaml"
    path.write_bytes(b"#" * (MAX_FILE_BYTES + 1))
    found = refused_file(path)
    assert (found.rule, found.text) == ("file-too-large", "the file is larger than 4 MiB, the most that is read")
    path.write_bytes(b"#" * MAX_FILE_BYTES)
    assert refused_file(path).rule == "file-empty"


@pytest.mark.parametrize(
    ("raw", "rule", "line", "column"),
    [
        ("catalogue: Flügel\nnodes: {}\nsize: gro".encode() + b"\xdf\n", "not-utf8", 3, 10),
        ("catalogue: über ".encode() + b"\xff", "not-utf8", 1, 17),
        ("catalogue: x".encode("utf-16"), "not-utf8", 1, 1),
        (b"\x7fELF\x02\x01\x01\x00\x00", "control-character", 1, 1),
        (b"ab\r\ncd\x00", "control-character", 2, 3),
        (b"\x89PNG\r\n\x1a\n", "not-utf8", 1, 1),
    ],
)
def test_files_that_are_not_text(tmp_path: Path, raw: bytes, rule: str, line: int, column: int) -> None:
    path = tmp_path / "junk.yaml"
    path.write_bytes(raw)
    found = refused_file(path)
    assert found.where is not None
    assert (found.rule, found.where.line, found.where.column) == (rule, line, column)


def test_aliases_that_explode_are_refused_at_once() -> None:
    levels = [f"a{level}: &a{level} [{', '.join([f'*a{level - 1}'] * 9)}]" for level in range(1, 13)]
    text = "a0: &a0 [x, x, x, x, x, x, x, x, x]\n" + "\n".join(levels)
    start = time.perf_counter()
    [found] = refused(text)
    assert time.perf_counter() - start < 1
    assert (found.rule, found.fix) == ("yaml-alias", "write fewer aliases, or smaller ones")


def test_merges_that_explode_are_refused_at_once() -> None:
    text = "m0: &m0 {x: 1}\n" + "".join(f"m{n}: &m{n} {{<<: [*m{n - 1}, *m{n - 1}]}}\n" for n in range(1, 39))
    assert [found.rule for found in refused(text)] == ["yaml-alias"]


def test_family_that_explodes_is_refused() -> None:
    legs = ", ".join(f"l{n}" for n in range(1001))
    text = f"{HEAD}messages: {{m: {{from: panel, every: 1 s, for_each: {{leg: [{legs}]}}}}}}\n"
    assert [(found.rule, found.fix) for found in refused(text)] == [("for-each", "1000 are the most")]


@pytest.mark.parametrize(
    "parts",
    [
        "messages:\n"
        + "".join(
            f"  m{n}: {{for_each: {{leg: [{', '.join(f'l{leg}' for leg in range(1000))}]}}, from: panel, every: 1 s, "
            f"signals: {{{', '.join(f's{s}: {{bits: 1}}' for s in range(64))}}}}}\n"
            for n in range(20)
        ),
        f"signal_types: {{big: {{bits: 16, codes: {{{', '.join(f'{raw}: w{raw}' for raw in range(5000))}}}}}}}\n"
        "messages:\n"
        + "".join(f"  m{n}: {{from: panel, every: 1 s, signals: {{s: {{type: big}}}}}}\n" for n in range(2000)),
    ],
    ids=["families", "types"],
)
def test_short_forms_that_make_too_much_are_refused_at_once(parts: str) -> None:
    start = time.perf_counter()
    [found] = refused(HEAD + parts)
    assert time.perf_counter() - start < 2  # of which most is YAML's own
    assert (found.rule, found.fix) == ("yaml-size", "split the catalogue")


def test_a_message_of_many_pages_is_packed_in_a_moment() -> None:
    pages = ", ".join(f"s{n}: {{bits: 40, when: {{page: {n}}}}}" for n in range(300))
    text = f"{HEAD}messages: {{m: {{from: panel, every: 1 s, signals: {{page: {{bits: 16}}, {pages}}}}}}}\n"
    start = time.perf_counter()
    message = parse_catalogue(text).message("m")
    assert time.perf_counter() - start < 2
    assert {signal.start_bit for signal in message.signals[1:]} == {16}


def test_sayings_of_one_place_are_said_once_for_a_family() -> None:
    text = (
        f"{HEAD}messages: {{m: {{for_each: {{leg: [l, r], from: [panel, strut]}}, to: wing, "
        "signals: {a: {bits: 8, start: 60}}}}\n"
    )
    assert sorted(found.rule for found in refused(text)) == ["no-timing", "signal-outside", "unknown-node"]


def test_refusal_is_an_input_error_that_says_it_all() -> None:
    with pytest.raises(InputError, match="`bus` is missing; `nodes` is missing"):
        parse_catalogue("catalogue: x\nmessages: {m: {from: a, every: 1 s}}\n")


def test_reading_300_messages(capsys: pytest.CaptureFixture[str]) -> None:
    nodes = "".join(f"  node_{n}: {{clock: 16 MHz, tolerance: 50 ppm}}\n" for n in range(20))
    messages = "".join(
        f"  message_{n}:\n    id: 0x{n + 16:X}\n    from: node_{n % 20}\n    to: [node_{(n + 1) % 20}]\n"
        f"    every: {10 + n} ms\n    deadline: 9 ms\n    signals:\n"
        + "".join(f"      s{k}: {{bits: 8, factor: 0.5, offset: -10, range: [-10, 100], unit: kt}}\n" for k in range(8))
        for n in range(300)
    )
    text = f"catalogue: many\nbus: {{bit_rate: 500 kbit/s}}\nnodes:\n{nodes}messages:\n{messages}"
    start = time.perf_counter()
    catalogue = parse_catalogue(text)
    took_s = time.perf_counter() - start
    assert sum(len(message.signals) for message in catalogue.messages) == 2400
    with capsys.disabled():
        print(f"\n300 messages, 2400 signals ({len(text) / 1e3:.0f} kB) read in {took_s:.2f} s")


def test_a_scenario_is_told_from_a_catalogue() -> None:
    with pytest.raises(CatalogueError) as error:
        parse_catalogue("# a story\nscenario: up\ncatalogue: ../x.yaml\nrun_for: 3 s\nexpect: []\n")
    (found,) = error.value.findings
    assert found.rule == "not-a-catalogue"
    assert (found.where and found.where.line, found.where and found.where.column) == (2, 1)
