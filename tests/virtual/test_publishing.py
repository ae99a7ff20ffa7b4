"""``publish`` and ``say``: what goes out, when, and what is refused."""

from collections.abc import Callable, Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import Any

import pytest

from busdesign.catalogue.model import Message, Role, Signal
from busdesign.findings import Place, Severity
from busdesign.virtual.node import Node
from busdesign.virtual.run import Run
from tests.networks import MS
from tests.virtual.small_buses import Ear, bits_of, bus, byte, data, message, order, played, rows, silent

PLACE = Place("catalogue.yaml", 12, 5)
LEVEL = Signal("level", 8, 8, signed=True, factor=0.5, minimum=-20.0, maximum=20.0)
MODE = Signal("mode", 0, 2, codes=MappingProxyType({0: "off", 1: "on"}))
COUNTER = Signal("counter", 16, 4, role=Role.COUNTER, modulo=16)
CHECK = Signal("check", 24, 8, role=Role.CHECK, crc="crc8-j1850")
REPORT = message(
    "report_left", 0x100, "a", length=4, period=10 * MS, family="report", signals=[MODE, LEVEL, COUNTER, CHECK]
)
ALARM = message("alarm", 0x080, "a", length=1, period=5 * MS, irregular=True, signals=[byte("cause")])
FOREIGN = message("foreign", 0x200, "b", period=10 * MS, signals=[byte()])


class Doer(Node):
    """Does what it is told at the times it is told: 0 is ``begin``."""

    def __init__(self, deeds: Mapping[str, Callable[["Doer"], object]]) -> None:
        self.deeds = deeds

    def begin(self) -> None:
        for when, deed in self.deeds.items():
            if when == "0 ms":
                deed(self)
            else:
                self.each(when, self.once(deed))

    def once(self, deed: Callable[["Doer"], object]) -> Callable[[], None]:
        left = [deed]

        def do() -> None:
            while left:
                left.pop()(self)

        return do


def doing(
    deeds: Mapping[str, Callable[[Doer], object]], *messages: Message, run_for_ns: int = 45 * MS, **more: Any
) -> Run:
    return played(bus(*messages, REPORT, ALARM, FOREIGN), run_for_ns, {"a": Doer(deeds)}, **more)


def reports(run: Run) -> list[tuple[int, int]]:
    """Raw mode and level of each report."""
    return [(sent[0], int.from_bytes(sent[1:2], "little", signed=True)) for sent in data(run, "report_left")]


def test_until_something_is_published_initial_values_go_out() -> None:
    initial = message("initial", 0x101, "a", length=4, period=10 * MS, signals=[byte(initial=7.0), byte("other", 8)])
    run = doing({}, initial)
    assert reports(run) == [(0, 0)] * 5
    assert set(data(run, "initial")) == {b"\x07\0\0\0"}


def test_the_next_release_carries_what_was_published_last() -> None:
    run = doing(
        {
            "0 ms": lambda node: node.publish("report_left", mode="on", level=1.5),
            "15 ms": lambda node: node.publish("report_left", level=-20),
            "16 ms": lambda node: node.publish("report_left", level=20.0),
            "25 ms": lambda node: node.publish("report_left", mode="off"),
        }
    )
    assert reports(run) == [(1, 3), (1, 3), (1, 40), (0, 40), (0, 40)]


def test_publishing_in_the_instant_of_the_release_is_in_time() -> None:
    run = doing({"20 ms": lambda node: node.publish("report_left", mode="on")})
    assert [mode for mode, _ in reports(run)] == [0, 0, 1, 1, 1]


def test_a_frame_that_waits_already_is_not_changed() -> None:
    """It is released at 20 ms behind a longer frame; what is published at 20.1 ms is for the next one."""
    blocks = message("blocks", 0x001, "b", length=8, offset_ns=20 * MS - 100_000)
    run = doing({"20100 us": lambda node: node.publish("report_left", mode="on")}, blocks)
    row = rows(run, "report_left")[2]
    assert run.release_ns[row] == 20 * MS < 20_100_000 < run.start_ns[row]
    assert [mode for mode, _ in reports(run)] == [0, 0, 0, 1, 1]


def test_counters_and_checks_are_filled_in_at_each_release() -> None:
    run = doing({"15 ms": lambda node: node.publish("report_left", mode="on")})
    assert [sent[2] for sent in data(run, "report_left")] == [0, 1, 2, 3, 4]
    assert len({sent[3] for sent in data(run, "report_left")}) == 5


def test_the_familys_name_stands_for_its_one_member() -> None:
    run = doing({"0 ms": lambda node: node.publish("report", mode="on")})
    assert {mode for mode, _ in reports(run)} == {1}


def test_a_familys_name_does_not_stand_for_one_of_two_members() -> None:
    second = message("report_right", 0x102, "a", length=4, period=10 * MS, family="report", signals=[MODE])
    with pytest.raises(ValueError, match="a sends no message `report`"):
        doing({"0 ms": lambda node: node.publish("report", mode="on")}, second)


def test_a_familys_name_stands_for_the_member_that_this_node_sends() -> None:
    others = message("report_right", 0x102, "b", length=4, period=10 * MS, family="report", signals=[MODE])
    run = doing({"0 ms": lambda node: node.publish("report", mode="on")}, others)
    assert {mode for mode, _ in reports(run)} == {1}
    assert {sent[0] for sent in data(run, "report_right")} == {0}


@pytest.mark.parametrize(
    ("message", "values", "said"),
    [
        ("report_lift", {}, "a sends no message `report_lift`; did you mean `report_left`"),
        ("foreign", {}, "`foreign` is sent by b, not by a"),
        ("alarm", {}, "`alarm` is irregular: it goes out by `say`"),
        ("report_left", {"levle": 1}, "`report_left` has no signal `levle`; did you mean `level`"),
        ("report_left", {"counter": 1}, "`counter` is a counter of `report_left`: it is filled in"),
        ("report_left", {"check": 1}, "`check` is a check of `report_left`: it is filled in"),
        ("report_left", {"level": 20.5}, "`level` = 20.5 is out of range: -20 to 20"),
        ("report_left", {"level": -21}, "`level` = -21 is out of range"),
        ("report_left", {"level": float("nan")}, "`level` takes a number"),
        ("report_left", {"level": None}, "`level` takes a number"),
        ("report_left", {"level": "on"}, "`level` has no codes"),
        ("report_left", {"mode": "onn"}, "`onn` is no code of `mode`; did you mean `on`"),
        ("report_left", {"mode": 7}, "`mode` = 7 is out of range"),
    ],
)
def test_what_publish_refuses(message: str, values: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        doing({"0 ms": lambda node: node.publish(message, **values)})


@pytest.mark.parametrize(
    ("message", "values", "said"),
    [
        ("alram", {}, "a sends no message `alram`; did you mean `alarm`"),
        ("foreign", {}, "`foreign` is sent by b"),
        ("report_left", {}, "`report_left` goes out every 10 ms by itself: `publish` what it carries"),
        ("report", {}, "goes out every 10 ms by itself"),
        ("alarm", {"case": 1}, "`alarm` has no signal `case`; did you mean `cause`"),
        ("alarm", {"cause": 256}, "`cause` = 256 is out of range: 0 to 255"),
    ],
)
def test_what_say_refuses(message: str, values: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        doing({"0 ms": lambda node: node.say(message, **values)})


def test_a_signal_may_be_called_as_the_methods_own_words_are() -> None:
    """``name``, ``values`` and ``period`` are ordinary signal names."""
    words = message(
        "words", 0x101, "a", length=3, period=10 * MS, signals=[byte("name"), byte("values", 8), byte("period", 16)]
    )
    run = doing({"0 ms": lambda node: node.publish("words", name=1, values=2, period=3)}, words)
    assert set(data(run, "words")) == {b"\1\2\3"}


@pytest.mark.parametrize("raw", [0, 1, 2**53 + 1, 2**63 - 1, 2**64 - 1])
def test_sixty_four_bits_are_published_exactly(raw: int) -> None:
    whole = message("whole", 0x101, "a", length=8, period=10 * MS, signals=[Signal("value", 0, 64)])
    run = doing({"0 ms": lambda node: node.publish("whole", value=raw)}, whole)
    assert set(data(run, "whole")) == {raw.to_bytes(8, "little")}


@pytest.mark.parametrize("raw", [-(2**63), -1, 2**63 - 1, -(2**53) - 1])
def test_signed_sixty_four_bits_are_published_exactly(raw: int) -> None:
    whole = message("whole", 0x101, "a", length=8, period=10 * MS, signals=[Signal("value", 0, 64, signed=True)])
    run = doing({"0 ms": lambda node: node.publish("whole", value=raw)}, whole)
    assert set(data(run, "whole")) == {raw.to_bytes(8, "little", signed=True)}


def test_an_irregular_message_goes_out_when_it_is_said_and_not_else() -> None:
    assert data(doing({}), "alarm") == []
    run = doing({"33 ms": lambda node: node.say("alarm", cause=9)})
    assert data(run, "alarm") == [b"\x09"]
    (row,) = rows(run, "alarm")
    assert run.release_ns[row] == run.ready_ns[row] == run.start_ns[row] == 33 * MS
    assert run.released["alarm"] == 1


def test_an_irregular_message_said_at_the_start_competes_with_the_first_releases() -> None:
    run = doing({"0 ms": lambda node: node.say("alarm", cause=9)})
    assert order(run)[:3] == ["alarm", "report_left", "foreign"]
    assert run.start_ns[0] == 0
    assert run.start_ns[1] == 4_000 * bits_of(ALARM, b"\x09")


def test_two_said_in_one_instant_go_out_one_after_the_other_each_with_its_own() -> None:
    def say_two(node: Doer) -> None:
        node.say("alarm", cause=1)
        node.say("alarm", cause=2)

    run = doing({"33 ms": say_two})
    assert data(run, "alarm") == [b"\1", b"\2"]


def test_the_counter_of_an_irregular_message_counts_its_frames() -> None:
    counted = message(
        "counted", 0x090, "a", period=MS, irregular=True, signals=[Signal("n", 0, 4, role=Role.COUNTER, modulo=3)]
    )
    said = {f"{number} ms": lambda node: node.say("counted") for number in (20, 22, 24, 26)}
    assert data(doing(said, counted), "counted") == [b"\0", b"\1", b"\2", b"\0"]


def said_twice(second: str, **more: Any) -> Run:
    return doing(
        {"20 ms": lambda node: node.say("alarm", cause=1), second: lambda node: node.say("alarm", cause=2)}, **more
    )


def test_said_just_in_time_is_no_finding() -> None:
    assert said_twice("25 ms").findings == ()


def test_said_too_soon_goes_out_and_is_a_broken_promise() -> None:
    alarm = message("early", 0x081, "a", period=5 * MS, irregular=True, places=MappingProxyType({"irregular": PLACE}))
    said = {when: lambda node: node.say("early") for when in ("20 ms", "24999999 ns", "29999998 ns")}
    run = doing(said, alarm)
    assert len(rows(run, "early")) == 3
    (found,) = run.findings
    assert (found.rule, found.severity, found.where) == ("said-too-soon", Severity.BROKEN, PLACE)
    assert "a said `early` 2 times sooner than 5 ms" in found.text


@pytest.mark.parametrize(("after_ns", "count"), [(5 * MS, 0), (5 * MS - 1, 1)])
@pytest.mark.parametrize("drift", [Fraction(3, 1000), Fraction(-3, 1000)])
def test_too_soon_is_measured_on_the_nodes_own_clock(drift: Fraction, after_ns: int, count: int) -> None:
    """A board that waits five of its own milliseconds has waited long enough."""
    run = said_twice(f"{20 * MS + after_ns} ns", drift={"a": drift})
    assert len(run.findings) == count


def test_silence_swallows_what_is_said() -> None:
    run = said_twice("30 ms", faults=(silent("a", 19 * MS, 21 * MS),))
    assert data(run, "alarm") == [b"\2"]
    assert run.released["alarm"] == 1


def test_what_is_published_while_silent_goes_out_after_it() -> None:
    run = doing({"15 ms": lambda node: node.publish("report_left", mode="on")}, faults=(silent("a", 11 * MS, 21 * MS),))
    assert [mode for mode, _ in reports(run)] == [0, 0, 1, 1]


def test_what_one_node_publishes_is_not_heard_by_itself() -> None:
    ear = Ear()
    played(bus(REPORT, FOREIGN), 45 * MS, {"a": ear})
    assert ear.arrivals == []


@pytest.mark.parametrize("name", ["message", "self"])
def test_a_signal_may_have_any_name_that_the_catalogue_allows(name: str) -> None:
    class Publisher(Node):
        def begin(self) -> None:
            self.publish("m", **{name: 5})

    run = played(bus(message("m", 0x100, "a", signals=[byte(name)])), MS, {"a": Publisher()})
    assert data(run, "m") == [b"\5"]


def test_a_refused_publish_changes_nothing() -> None:
    """The first of its values is good, the second is not; a model may catch that and go on."""

    class Careless(Node):
        def begin(self) -> None:
            with pytest.raises(ValueError, match="out of range"):
                self.publish("m", first=1, second=999)

    signals = [byte("first"), byte("second", 8)]
    run = played(bus(message("m", 0x100, "a", length=2, signals=signals)), MS, {"a": Careless()})
    assert data(run, "m") == [b"\0\0"]
