"""Advice on a consistent catalogue: each rule at its edge, hints that mend, families told once."""

import re
from dataclasses import dataclass
from pathlib import Path

import pytest
import yaml

from busdesign.analysis.frame_lengths import DEFAULT
from busdesign.answers.check import check
from busdesign.catalogue.advice import ADVICE
from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import CatalogueError
from busdesign.findings import Finding, Severity
from tests.cli.running import CHECKOUT

PUBLISHED = Path(__file__).parents[1] / "published" / "values" / "guidance.yaml"
HEAD = "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\nnodes: {panel: {}, strut: {}, spare: {}}\n"
SPARE = "  spare_m: {id: 0x7E0, from: spare, to: panel, every: 1 s, lost_after: 4 s}\n"  # so that no node is idle
TIMED = "id: 0x210, from: strut, to: panel, every: 50 ms, lost_after: 200 ms"
ORDER = "id: 0x110, from: panel, to: strut, every: 50 ms"
GUARDED = f"{ORDER}, lost_after: 200 ms, moves: true, accept: {{good_frames: 2 of 3}}"
COUNTER, CHECK = "counter: {bits: 4, counts: 1}", "check: {bits: 8, crc: crc8-j1850, data_id: 0x0110}"


def text_of(messages: str, more: str = "", head: str = HEAD) -> str:
    return f"{head}{more}messages:\n{messages}{SPARE}"


def told(text: str, lengths: str = DEFAULT) -> tuple[Finding, ...]:
    """What a check says of the catalogue, not of itself; of a catalogue that cannot be used, why."""
    try:
        return check(parse_catalogue(text), lengths=lengths).findings
    except CatalogueError as refused:
        return refused.findings


def rules(text: str, lengths: str = DEFAULT) -> list[str]:
    return [found.rule for found in told(text, lengths)]


def signals(*written: str, timed: str = TIMED, name: str = "m") -> str:
    return f"  {name}: {{{timed}, signals: {{{', '.join(written)}}}}}\n"


@dataclass(frozen=True)
class Edge:
    """A rule, what it speaks of, and the nearest thing of which it does not."""

    rule: str
    over: str
    under: str
    more: str = ""
    along: tuple[str, ...] = ()  # what cannot but be told as well

    def __str__(self) -> str:
        return self.rule


def periodic(number: int, offset_ms: int = 0, every: str = "50 ms", sender: str = "strut") -> str:
    timing = f"every: {every}, lost_after: 500 ms, offset: {offset_ms} ms"
    return f"  p_{number}: {{id: 0x{0x200 + number:X}, from: {sender}, to: panel, {timing}}}\n"


def beating(divisor_us: int) -> str:
    return periodic(0, every=f"{100 * divisor_us} us") + periodic(1, every=f"{101 * divisor_us} us")


def paged(codes: str) -> str:
    return signals(f"page: {{bits: 3, codes: {codes}}}", "a: {bits: 4, when: {page: one}}", "b: {bits: 4}")


SLOW = "  slow: {id: 0x100, from: panel, to: strut, every: 1 s, lost_after: 4 s, deadline: %s}\n"
TIGHT = "  tight: {id: 0x200, from: strut, to: panel, every: 50 ms, lost_after: 200 ms, deadline: 20 ms}\n"
FLOOD = "  flood: {id: %s, from: strut, to: panel, irregular: {at_least_apart: %s}}\n"
ALARM = "  alarm: {id: %s, from: panel, to: strut, every: 1 s, lost_after: 4 s}\n"
EXTENDED = "  wear: {id: 0x210, extended: true, from: strut, to: panel, every: %s, lost_after: 4 s}\n"
EDGES = [
    Edge("nobody-receives", "  m: {id: 1, from: strut, every: 50 ms}\n", f"  m: {{{TIMED}}}\n"),
    Edge(
        "own-receiver",
        f"  m: {{{TIMED}}}\n".replace("to: panel", "to: [panel, strut]"),
        f"  m: {{{TIMED}}}\n".replace("to: panel", "to: [panel, spare]"),
    ),
    Edge(
        "receiver-twice",
        f"  m: {{{TIMED}}}\n".replace("to: panel", "to: [panel, panel]"),
        f"  m: {{{TIMED}}}\n".replace("to: panel", "to: [panel, spare]"),
    ),
    Edge(
        "no-lost-after",
        "  m: {id: 0x210, from: strut, to: panel, every: 50 ms}\n",
        "  m: {id: 0x210, from: strut, to: panel, irregular: {at_least_apart: 50 ms}}\n",
    ),
    Edge(  # the fifth good frame comes 200 ms after the first
        "slow-to-believe",
        f"  m: {{{TIMED}, accept: {{good_frames: 5}}}}\n",
        f"  m: {{{TIMED}, accept: {{good_frames: 4 of 9}}}}\n",
    ),
    Edge(
        "event-never-believed",
        "  m: {id: 1, from: strut, to: panel, irregular: {at_least_apart: 1 s}, accept: {good_frames: 2}}\n",
        "  m: {id: 1, from: strut, to: panel, irregular: {at_least_apart: 1 s}, accept: {good_frames: 1 of 2}}\n",
    ),
    Edge(
        "acceptance-of-nothing",
        signals("a: {bits: 4, safe: 0}", "b: {bits: 4}", timed=f"{TIMED}, accept: {{when_lost: safe}}"),
        signals("a: {bits: 4, safe: 0}", COUNTER, timed=f"{TIMED}, accept: {{when_lost: safe}}"),
    ),
    Edge(
        "acceptance-of-nothing",
        "  m: {id: 1, from: strut, to: panel, irregular: {at_least_apart: 1 s}, accept: {when_lost: safe}}\n",
        "  m: {id: 1, from: strut, to: panel, irregular: {at_least_apart: 1 s}, accept: {when_lost: hold}}\n",
    ),
    Edge(
        "safe-never-taken",
        signals("a: {bits: 4, safe: 0}"),
        signals("a: {bits: 4, safe: 0}", timed=f"{TIMED}, accept: {{when_lost: safe}}"),
    ),
    Edge(
        "moves-on-bad-frames",
        signals("a: {bits: 4}", COUNTER, CHECK, timed=GUARDED.replace("2 of 3", "2 of 3, bad_counter: accept")),
        signals("a: {bits: 4}", COUNTER, CHECK, timed=GUARDED),
    ),
    Edge(  # without a check there is none to heed
        "moves-unprotected",
        signals("a: {bits: 4}", COUNTER, timed=GUARDED.replace("2 of 3", "2 of 3, bad_check: accept")),
        signals("a: {bits: 4}", COUNTER, CHECK, timed=GUARDED),
    ),
    Edge(
        "moves-unguarded",
        signals("a: {bits: 4}", COUNTER, CHECK, timed=f"{ORDER}, moves: true, accept: {{good_frames: 2}}"),
        signals("a: {bits: 4}", COUNTER, CHECK, timed=GUARDED),
    ),
    Edge(
        "moves-irregularly",
        signals("a: {bits: 4}", COUNTER, CHECK, timed=f"{ORDER}, moves: true").replace(
            "every: 50 ms", "irregular: {at_least_apart: 50 ms}"
        ),
        signals("a: {bits: 4}", COUNTER, CHECK, timed=GUARDED),
    ),
    Edge(  # 4 frames of 50 ms are the 200 ms of `lost_after`
        "counter-wraps",
        signals("a: {bits: 4}", "counter: {bits: 4, counts: 4}"),
        signals("a: {bits: 4}", "counter: {bits: 4, counts: 3, modulo: 5}"),
    ),
    Edge(
        "check-of-nothing",
        signals("c: {bits: 8, constant: 5}", "check: {bits: 8, crc: crc8-j1850}"),
        signals(COUNTER, "check: {bits: 8, crc: crc8-j1850}"),
    ),
    Edge(
        "data-id-missing",
        signals("a: {bits: 4}", COUNTER, "check: {bits: 8, crc: crc8-j1850}", timed=GUARDED),
        signals("a: {bits: 4}", COUNTER, "check: {bits: 8, crc: crc8-j1850}"),
    ),
    Edge(
        "data-id-twice",
        signals("a: {bits: 4}", CHECK) + signals("a: {bits: 4}", CHECK, timed=TIMED.replace("210", "211"), name="n"),
        signals("a: {bits: 4}", CHECK)
        + signals("a: {bits: 4}", CHECK.replace("j1850", "2f"), timed=TIMED.replace("210", "211"), name="n"),
    ),
    Edge("priority-upside-down", SLOW % "40 ms" + TIGHT, SLOW % "39 ms" + TIGHT),
    Edge(
        "one-bit-from-a-flood",
        ALARM % "0x190" + FLOOD % ("0x110", "19 ms"),
        ALARM % "0x190" + FLOOD % ("0x110", "20 ms"),
    ),
    Edge(
        "one-bit-from-a-flood",
        ALARM % "0x190" + FLOOD % ("0x110", "19 ms"),
        ALARM % "0x150" + FLOOD % ("0x110", "19 ms"),
    ),
    Edge(
        "leading-bits-recessive",
        "  spare_n: {id: 0x7F0, from: strut, to: panel, every: 1 s, lost_after: 4 s}\n",
        ALARM % "0x7EF",
    ),
    Edge(
        "same-number-twice",
        f"  m: {{{TIMED}}}\n" + EXTENDED % "50 ms",
        f"  m: {{{TIMED}}}\n".replace("210", "211") + EXTENDED % "50 ms",
    ),
    Edge(
        "deadline-beyond-period",
        f"  m: {{{TIMED}, deadline: 51 ms}}\n",
        f"  m: {{{TIMED}, deadline: 50 ms}}\n",
    ),
    Edge(  # 47 bits at 250 kbit/s
        "deadline-below-frame",
        f"  m: {{{TIMED}, deadline: 187 us}}\n",
        "  m: {id: 0x210, from: strut, to: panel, every: 50 ms, lost_after: 200 ms, deadline: 440 us}\n",
    ),
    Edge(
        "deadline-below-frame",
        f"  m: {{{TIMED}, deadline: 2 ms, jitter: 2 ms}}\n",
        f"  m: {{{TIMED}, deadline: 3 ms, jitter: 2 ms}}\n",
    ),
    Edge(
        "jitter-beyond-period",
        f"  m: {{{TIMED}, jitter: 50 ms, deadline: 60 ms}}\n",
        f"  m: {{{TIMED}, jitter: 49 ms, deadline: 50 ms}}\n",
        along=("deadline-beyond-period",),
    ),
    Edge("offset-beyond-period", periodic(0, 50), periodic(0, 49)),
    # 2 * (47 + 33 // 4) bits of 4 us, of two empty frames, are 440 us
    Edge("periods-beat", beating(439), beating(440)),
    Edge("periods-beat", periodic(0) + periodic(1, every="77.7 ms"), periodic(0, every="20 ms") + periodic(1)),
    Edge(
        "released-together",
        "".join(periodic(number) for number in range(4)),
        "".join(periodic(number, number // 3) for number in range(4)),
    ),
    Edge("starts-elsewhere", signals("a: {bits: 8, range: [1, 9]}"), signals("a: {bits: 8, range: [0, 9]}")),
    Edge(
        "starts-elsewhere",
        signals("a: {bits: 32, float: true, unit: V, range: [1.5, 9]}"),
        signals("a: {bits: 32, float: true, unit: V, range: [-1.5, 9]}"),
    ),
    Edge(
        "starts-as-if-known",
        signals("a: {bits: 8, range: [0, 9], unknown: 255}"),
        signals("a: {bits: 8, codes: {1: up}, unknown: 0}"),
    ),
    Edge("number-without-unit", signals("a: {bits: 8, offset: -40}"), signals("a: {bits: 8, range: [0, 9]}")),
    Edge(
        "mixed-byte-orders",
        signals("a: {bits: 16}", "b: {bits: 16, byte_order: big}"),
        signals("a: {bits: 16}", "b: {bits: 8, byte_order: big}"),
    ),
    Edge(
        "one-name-two-meanings",
        signals("a: {bits: 2, codes: {0: off, 1: on}}")
        + signals("a: {bits: 2, codes: {0: on, 1: off}}", timed=TIMED.replace("210", "211"), name="n"),
        signals("a: {bits: 2, codes: {0: off, 1: on}}")
        + signals("a: {bits: 2, codes: {0: off, 1: idle, 2: run}}", timed=TIMED.replace("210", "211"), name="n"),
    ),
    Edge("page-without-signals", paged("{0: one, 1: two}"), paged("{0: one}, unknown: 7, initial: unknown")),
    Edge("unused-codes", signals("a: {bits: 1}"), signals("a: {bits: 1, codes: c}"), "codes: {c: {0: off, 1: on}}\n"),
    Edge("alike-names", signals("a_b: {bits: 1}", "aB: {bits: 1}"), signals("a_b: {bits: 1}", "a_c: {bits: 1}")),
    Edge("keyword-name", signals("register: {bits: 1}"), signals("registers: {bits: 1}")),
    Edge(
        "broken-path",
        f"  m: {{{TIMED}}}\n",
        f"  m: {{{TIMED}}}\n".replace("to: panel", "to: [panel, spare]"),
        "functions: {f: {path: [strut.x, m, spare.y], within: 1 s}}\n",
    ),
]


@pytest.mark.parametrize("edge", EDGES, ids=str)
def test_a_rule_at_its_edge(edge: Edge) -> None:
    assert sorted(rules(text_of(edge.over, edge.more))) == sorted((edge.rule, *edge.along))
    assert rules(text_of(edge.under, edge.more)) == []


def test_every_rule_has_its_edge() -> None:
    named = {rule.__name__.replace("_", "-") for rule in ADVICE}
    assert named <= {edge.rule for edge in EDGES} | {"idle-node"}


@pytest.mark.parametrize("edge", EDGES, ids=str)
def test_what_is_told_can_be_found_and_mended(edge: Edge) -> None:
    for found in told(text_of(edge.over, edge.more)):
        assert found.where is not None
        assert found.fix
        assert not found.text.endswith(".")


# What the hint quotes, put into the text by hand: (rule, messages, quoted, to be replaced, with what).
HINTS = [
    ("no-lost-after", "  m: {id: 9, from: strut, to: panel, every: 50 ms}\n",
        "lost_after: 150 ms", "every", "{}, every"),
    (
        "no-lost-after",
        "  m: {id: 9, from: strut, to: panel, every: 50 ms, deadline: 120 ms}\n",
        "lost_after: 250 ms",
        "every",
        "{}, every",
    ),
    (
        "slow-to-believe",
        f"  m: {{{TIMED}, accept: {{good_frames: 9}}}}\n".replace("200 ms", "201 ms"),
        "good_frames: 5",
        "good_frames: 9",
        "{}",
    ),
    (
        "moves-unguarded",
        signals("a: {bits: 4}", COUNTER, CHECK, timed=f"{ORDER}, moves: true"),
        "lost_after: 150 ms",
        "moves",
        "{}, accept: {{good_frames: 2 of 3}}, moves",
    ),
    (
        "moves-unprotected",
        signals("a: {bits: 4}", CHECK, timed=GUARDED),
        "counter: {bits: 4, counts: 1}",
        "a:",
        "{}, a:",
    ),
    ("counter-wraps", signals("a: {bits: 4}", "c: {bits: 2, counts: 1}"), "bits: 3", "bits: 2", "{}"),
    ("counter-wraps", signals("a: {bits: 3}", "c: {bits: 4, counts: 4}"), "bits: 5", "bits: 4", "{}"),
    ("data-id-missing", signals("a: {bits: 4}", COUNTER, "check: {bits: 8, crc: crc8-2f}", timed=GUARDED),
        "data_id: 0x0110", "crc: crc8-2f", "crc: crc8-2f, {}"),
    ("deadline-beyond-period", f"  m: {{{TIMED}, deadline: 51 ms}}\n", "deadline: 50 ms", "deadline: 51 ms", "{}"),
    ("deadline-below-frame", f"  m: {{{TIMED}, deadline: 100 us}}\n", "deadline: 400 us", "deadline: 100 us", "{}"),
    ("offset-beyond-period", periodic(0, 170), "offset: 20 ms", "offset: 170 ms", "{}"),
    ("periods-beat", periodic(0) + periodic(1, every="149.9 ms"), "every: 150 ms", "every: 149.9 ms", "{}"),
    ("starts-elsewhere", signals("a: {bits: 16, factor: 0.1, unit: V, range: [1234.5, 2345.6]}"),
        "initial: 1234.5", "bits", "{}, bits"),
    ("starts-elsewhere", signals("a: {bits: 2, codes: {1: 'true', 2: up}}"), "initial: 'true'", "bits", "{}, bits"),
    ("starts-elsewhere", signals("a: {bits: 8, offset: -40, unit: V, range: [-30, 50]}"),
        "initial: -30", "bits", "{}, bits"),
    ("starts-as-if-known", signals("a: {bits: 2, codes: {0: up}, unknown: 3}"), "initial: unknown", "bits", "{}, bits"),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "messages", "quoted", "old", "new"), HINTS, ids=[f"{hint[0]}" for hint in HINTS])
def test_a_hint_that_is_followed_mends(rule: str, messages: str, quoted: str, old: str, new: str) -> None:
    (found,) = [found for found in told(text_of(messages)) if found.rule == rule]
    assert f"`{quoted}`" in found.fix
    assert rules(text_of(messages.replace(old, new.format(quoted), 1))) in ([], ["deadline-beyond-period"])


def test_a_modulo_that_is_in_the_way_is_named() -> None:
    messages = signals("a: {bits: 4}", "c: {bits: 3, counts: 1, modulo: 3}")
    (found,) = told(text_of(messages))
    assert found.fix == "without `modulo` it would tell a lost round"
    assert rules(text_of(messages.replace(", modulo: 3", ""))) == []
    longer = messages.replace("bits: 3", "bits: 2")
    (found,) = told(text_of(longer))
    assert found.fix == "`bits: 3` without `modulo` it would tell a lost round"


@pytest.mark.parametrize("free", [12, 11])
def test_room_for_what_is_lacking(free: int) -> None:
    (found,) = told(text_of(signals(f"a: {{bits: {64 - free}, unit: mm}}", timed=GUARDED)))
    assert found.rule == "moves-unprotected"
    assert found.fix.startswith("add `counter: " if free == 12 else "make room for 12 bits of them: 11 are free")


def test_priority_is_told_once_for_each_message_that_waits() -> None:
    slow = "".join(
        f"  s_{number}: {{id: 0x{number:X}, from: panel, to: strut, every: 1{number}00 ms, offset: {number} ms, "
        "lost_after: 30 s}\n"
        for number in range(1, 6)
    )
    (found,) = told(text_of(slow + TIGHT))
    assert found.text == (
        "`tight` (deadline 20 ms) comes after `s_1`, `s_2`, `s_3` and 2 more, which have at least 2 times as long"
    )
    assert found.fix.startswith("an identifier that goes before 0x1:")
    assert rules(text_of(slow + TIGHT.replace("0x200", "0x0"))) == []


def test_what_has_no_identifier_is_told_of_as_far_as_can_be() -> None:
    messages = f"  m: {{{TIMED}}}\n".replace("id: 0x210, ", "") + SLOW % "1 s"
    assert rules(text_of(messages)) == ["no-identifier"]


def test_an_alarm_without_a_declared_deadline_may_go_first() -> None:
    alarm = "  alarm: {id: 0x80, from: panel, to: strut, irregular: {at_least_apart: 1 s}%s}\n"
    assert rules(text_of(alarm % "" + TIGHT)) == []
    assert rules(text_of(alarm % ", deadline: 1 s" + TIGHT)) == ["priority-upside-down"]


FAMILY = """\
  m:
    for_each: {leg: [left, right], id: [0x210, 0x211]%s}
    from: strut
    to: %s
    every: 50 ms
    lost_after: 200 ms
    signals: {a: {bits: 8, unit: mm%s}, check: {bits: 8, crc: crc8-j1850%s}}
"""


def test_a_family_is_told_once_even_if_only_its_last_member_is_meant() -> None:
    assert rules(text_of(FAMILY % ("", "panel", "", ""))) == []
    assert rules(text_of(FAMILY % ("", "[panel, panel]", ", range: [1, 9]", ""))) == [
        "receiver-twice",
        "starts-elsewhere",
    ]
    for last in (", offset: [1 ms, 50 ms]", ", deadline: [50 ms, 51 ms]"):
        (found,) = told(text_of(FAMILY % (last, "panel", "", "")))
        assert found.where is not None
        assert found.where.quoted[found.where.column - 1 :].startswith(("50 ms]", "51 ms]"))
    last = (FAMILY % ("", "panel", "", "")).replace("0x211", "0x7FF")
    assert rules(text_of(last.replace("every: 50 ms", "every: 1 s").replace("200 ms", "4 s"))) == [
        "leading-bits-recessive"
    ]


def test_members_of_a_family_may_have_data_ids_of_their_own() -> None:
    (found,) = told(text_of(FAMILY % ("", "panel", "", ", data_id: 7")))
    assert (found.rule, found.text) == ("data-id-twice", "`m_right` has the `data_id` 0x7 of `m_left`")
    assert "`data_id: '{number}'`" in found.fix
    mended = text_of(FAMILY % (", number: [7, 8]", "panel", "", ", data_id: '{number}'"))
    assert rules(mended) == []
    catalogue = parse_catalogue(mended)
    assert [catalogue.message(f"m_{leg}").signal("check").data_id for leg in ("left", "right")] == [7, 8]
    assert rules(mended.replace("[7, 8]", "[7, 65536]")) != []


def test_lists_of_data_ids_are_each_messages_own() -> None:
    listed = ", counts: 1, modulo: 4}\n      check: {bits: 8, crc: crc8-2f, data_ids: [%s]}"
    two = [
        f"  {name}:\n    id: {number}\n    from: panel\n    to: strut\n    every: 50 ms\n    lost_after: 190 ms\n"
        f"    signals:\n      a: {{bits: 4}}\n      counter: {{bits: 4{listed % ids}\n"
        for name, number, ids in (("m", "0x210", "1, 2, 3, 4"), ("n", "0x211", "%s"))
    ]
    (found,) = told(text_of("".join(two) % "1, 2, 3, 4"))
    assert (found.rule, found.text) == ("data-id-twice", "`n` has the `data_ids` [0x01, 0x02, 0x03 ...] of `m`")
    assert found.where is not None
    assert found.where.quoted[found.where.column - 1 :] == "[1, 2, 3, 4]}"
    assert told(text_of("".join(two) % "1, 2, 3, 5")) == ()


def test_data_ids_of_which_the_same_byte_is_covered_are_the_same() -> None:
    ids = [CHECK.replace("0x0110", f"{number}, data_id_as: %s") for number in ("0x0110", "0x0210")]
    later = TIMED.replace("210", "211")
    two = signals("a: {bits: 4}", COUNTER, ids[0]) + signals("a: {bits: 4}", COUNTER, ids[1], timed=later, name="n")
    (found,) = told(text_of(two % ("low", "low")))
    assert found.rule == "data-id-twice"
    assert found.text == "the check of `n` covers the same of its `data_id` 0x210 as of 0x110 of `m`"
    assert rules(text_of(two % ("both", "both"))) == []


def test_a_family_may_name_all_its_senders_and_one_sender_not_itself() -> None:
    mutual = (FAMILY % (", from: [strut, spare]", "[strut, spare]", "", "")).replace("    from: strut\n", "")
    assert rules(text_of(mutual)) == []
    assert rules(text_of(FAMILY % ("", "[panel, strut]", "", ""))) == ["own-receiver"]


def test_one_omission_is_one_finding() -> None:
    plain = f"{HEAD}messages:\n" + "".join(
        f"  m_{number}: {{id: {number}, from: {node}, every: 1 s}}\n"
        for number, node in enumerate(("panel", "panel", "strut", "strut"), 1)
    )
    (found,) = told(plain)
    assert (found.rule, found.text) == (
        "nobody-receives",
        "no message names its receivers: `m_1`, `m_2`, `m_3` and 1 more",
    )
    named = plain.replace("from: panel", "from: panel, to: spare").replace("from: strut", "from: strut, to: spare")
    (found,) = told(named)
    assert found.text == "no periodic message says after what silence it is lost: `m_1`, `m_2`, `m_3` and 1 more"
    one = named.replace("to: spare,", "to: spare, lost_after: 4 s,", 1)
    assert rules(one) == ["no-lost-after"] * 3


def test_a_node_nobody_names() -> None:
    text = text_of(f"  m: {{{TIMED}}}\n").replace("spare: {}}", "spare: {}, logger: {}}")
    assert rules(text) == ["idle-node"]
    assert rules(text.replace("to: panel", "to: [panel, logger]", 1)) == []


def test_a_remote_request_is_left_in_peace() -> None:
    messages = (
        "  wear: {id: 0x7E1, from: strut, to: panel, irregular: {at_least_apart: 200 ms}, bytes: 8}\n"
        "  ask: {requests: wear, from: panel, every: 1 s}\n"
    )
    assert rules(text_of(messages)) == []
    path = "functions: {f: {path: [panel.x, ask, wear, panel.y], within: 2 s}}\n"
    assert rules(text_of(messages, path)) == []
    assert rules(text_of(messages, path.replace("panel.x", "spare.x"))) == ["broken-path"]


@pytest.mark.parametrize("every", ["201 ms", "250 ms"])
def test_the_distance_that_is_proposed_for_requests_would_do(every: str) -> None:
    messages = (
        "  wear: {id: 0x400, from: strut, to: panel, irregular: {at_least_apart: 250 ms}, bytes: 8}\n"
        f"  ask: {{requests: wear, from: panel, every: {every}}}\n"
    )
    (found,) = told(text_of(messages))
    proposed = re.match(r"`(every: [^`]*)`", found.fix)
    assert found.rule == "request-too-soon"
    assert proposed
    assert rules(text_of(messages.replace(f"every: {every}", proposed[1]))) == []


@pytest.mark.parametrize(
    ("path", "why"),
    [
        ("[panel.x, m, panel.y]", "strut sends it"),
        ("[strut.x, m, spare_m]", "spare does not receive `m`"),
        ("[strut.x, panel.y]", "no message goes from strut to panel"),
    ],
)
def test_a_path_that_does_not_lead_on(path: str, why: str) -> None:
    (found,) = [
        found
        for found in told(text_of(f"  m: {{{TIMED}}}\n", f"functions: {{f: {{path: {path}, within: 1 s}}}}\n"))
        if found.rule == "broken-path"
    ]
    assert found.text.endswith(why)
    assert found.severity is Severity.BROKEN


def loaded(number: int, limit: str = "") -> str:
    """``number`` messages of 135 bits (by the textbook formula) every 10 ms at 250 kbit/s: 5.4 % of the bus each."""
    head = HEAD.replace("kbit/s", f"kbit/s{limit}").replace(", spare: {}", "")
    lines = (
        f"  m_{number}: {{id: 0x{number:X}, from: strut, to: panel, every: 10 ms, lost_after: 100 ms, bytes: 8, "
        f"offset: {number // 3} ms}}\n"
        for number in range(number)
    )
    return f"{head}messages:\n{''.join(lines)}"


def test_load_against_what_is_published_and_against_its_own_limit() -> None:
    planning = next(
        entry["value_percent"]
        for entry in yaml.safe_load(PUBLISHED.read_text(encoding="utf-8"))["bus_load"]
        if entry["kind"] == "planning limit"
    )
    assert 12 * 5.4 < planning < 13 * 5.4
    assert rules(loaded(12), "published") == []
    (found,) = told(loaded(13), "published")
    assert (found.rule, found.severity) == ("load-high", Severity.ADVICE)
    assert "`load_limit: 75 %`" in found.fix
    assert rules(loaded(13, ", load_limit: 75 %"), "published") == []
    assert rules(loaded(13, ", load_limit: 70.2 %"), "published") == []  # to the bit
    (found,) = told(loaded(13, ", load_limit: 70.1 %"), "published")
    assert (found.rule, found.severity) == ("load-over-limit", Severity.BROKEN)
    assert found.fix.startswith("`bit_rate: 500 kbit/s` would ask for 35.1 %; or ")
    assert rules(loaded(13, ", load_limit: 70.1 %").replace("250", "500"), "published") == []
    assert "load-high" not in rules(loaded(19), "published")  # of a bus that is overloaded that is told


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ("bits: 8, factor: 0.5", "factor: 0.1, bits: 11"),
        ("bits: 8, factor: -0.5", "factor: -0.1, bits: 11"),
        ("bits: 8, factor: 0.5, signed: true", "factor: 0.1, bits: 11"),
        ("bits: 8, factor: 0.5, range: [0, 20]", "factor: 0.1"),
        ("bits: 8, factor: 0.5, range: [0, 100]", "factor: 0.1, bits: 10"),
    ],
)
def test_a_finer_step_that_would_do(written: str, hint: str) -> None:
    messages = signals(f"a: {{{written}, unit: mm, resolution: 0.1}}")
    (found,) = told(text_of(messages))
    assert (found.rule, found.fix) == ("resolution-too-coarse", f"`{hint}` would do")
    keys = dict(pair.split(": ") for pair in hint.split(", "))
    for key, value in keys.items():
        messages = re.sub(rf"\b{key}: [-0-9.]+", f"{key}: {value}", messages)
    assert rules(text_of(messages)) == []


def test_the_demo_gets_no_advice() -> None:
    answer = check(CHECKOUT / "messages" / "saltmarsh.yaml")
    assert answer.findings == ()
