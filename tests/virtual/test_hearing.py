"""What a node hears, and when; and when it is told that something does not come."""

from dataclasses import replace
from types import MappingProxyType

import pytest

from busdesign.catalogue.model import Catalogue, Message, Role, Signal
from busdesign.catalogue.values import Value
from busdesign.virtual.node import Arrival, Node
from tests.networks import MS, fixed
from tests.virtual.small_buses import BIT_NS, Ear, bits_of, bus, byte, data, ends, message, order, played, silent

LOST_AFTER_NS = 25 * MS


def test_only_receivers_hear() -> None:
    to_b = message("to_b", 0x100, "a", period=10 * MS, to=["b"])
    to_both = message("to_both", 0x101, "a", period=10 * MS, to=["c", "b"])
    to_nobody = message("to_nobody", 0x102, "a", period=10 * MS)
    ears = {name: Ear() for name in "abc"}
    played(bus(to_b, to_both, to_nobody), 9 * MS, ears)
    assert [name for _, name in ears["a"].arrivals] == []
    assert [name for _, name in ears["b"].arrivals] == ["to_b", "to_both"]
    assert [name for _, name in ears["c"].arrivals] == ["to_both"]


def test_heard_in_the_order_of_the_wire_at_the_end_of_end_of_frame() -> None:
    messages = [message(f"m{rank}", 0x300 - rank, "ab"[rank % 2], period=3 * MS, to=["c"]) for rank in range(6)]
    ear = Ear()
    run = played(bus(*messages), 20 * MS, {"c": ear}, phases="aligned")
    assert ear.arrivals == list(zip(run.traffic.end_ns.tolist(), order(run), strict=True))
    assert ear.arrivals[0] == ((bits_of(messages[5]) - 3) * BIT_NS, "m5")


def test_several_receivers_hear_in_one_instant() -> None:
    ears = {name: Ear() for name in "bc"}
    played(bus(message("m", 0x1, "a", period=MS, to="cb")), 20 * MS, ears)
    assert ears["b"].arrivals == ears["c"].arrivals
    assert len(ears["b"].arrivals) == 20


class Reader(Node):
    """Keeps every arrival, and reads it when told to."""

    def begin(self) -> None:
        self.kept: list[Arrival] = []

    def heard(self, message: Arrival) -> None:
        self.kept.append(message)


def kept(sent: Message, payload: bytes) -> Arrival:
    reader = Reader()
    played(bus(replace(sent, receivers=("b",))), 9 * MS, {"b": reader}, payload=fixed({sent.name: payload}))
    (arrival,) = reader.kept
    return arrival


def test_an_arrival_tells_who_sent_it_and_what_it_means() -> None:
    signals = [
        byte("mode", codes=MappingProxyType({3: "up"})),
        Signal("position", 8, 16, signed=True, factor=0.5, offset=10.0, unit="mm"),
        Signal("counter", 24, 4, role=Role.COUNTER, modulo=16),
        Signal("check", 32, 8, role=Role.CHECK, crc="crc8-j1850"),
    ]
    sent = message("report_left", 0x100, "a", length=5, signals=signals, family="report")
    arrival = kept(sent, bytes([3, 0xFE, 0xFF, 9, 77]))
    assert (arrival.name, arrival.family, arrival.sender) == ("report_left", "report", "a")
    assert arrival.at_ns == (bits_of(sent, bytes([3, 0xFE, 0xFF, 9, 77])) - 3) * BIT_NS
    expected: dict[str, Value] = {"mode": "up", "position": 9.0, "counter": 9, "check": 77}
    assert {name: arrival[name] for name in expected} == arrival.values() == expected


def test_without_a_family_its_name_stands_for_it() -> None:
    assert kept(message("lone", 0x100, "a"), b"\1").family == "lone"


def test_a_raw_value_without_a_code_is_its_number() -> None:
    arrival = kept(message("m", 0x100, "a", signals=[byte(codes=MappingProxyType({3: "up"}))]), b"\x04")
    assert arrival["value"] == arrival.values()["value"] == 4


def test_an_unknown_signal_is_refused_with_the_nearest_one() -> None:
    arrival = kept(message("m", 0x100, "a", signals=[byte("position")]), b"\x04")
    with pytest.raises(ValueError, match="did you mean `position`"):
        arrival["positon"]


def test_an_arrival_of_a_message_without_signals_has_no_values() -> None:
    assert kept(message("m", 0x100, "a", length=8), b"12345678").values() == {}


def test_the_whole_of_sixty_four_bits_arrives() -> None:
    whole = Signal("whole", 0, 64, signed=True)
    assert kept(message("m", 0x100, "a", length=8, signals=[whole]), b"\xff" * 8)["whole"] == -1
    assert kept(message("m", 0x100, "a", length=8, signals=[whole]), b"\0" * 7 + b"\x80")["whole"] == -(2.0**63)


class Echo(Node):
    """Answers in the moment in which it hears."""

    def heard(self, message: Arrival) -> None:
        self.say("answer", value=message["value"])


def test_an_answer_said_on_hearing_starts_after_the_intermission() -> None:
    question = message("question", 0x300, "a", to=["b"], signals=[byte()], offset_ns=50_000)
    answer = message("answer", 0x200, "b", period=MS, irregular=True, signals=[byte()])
    run = played(bus(question, answer), 9 * MS, {"b": Echo()}, payload=fixed({"question": b"\x2a"}))
    assert order(run) == ["question", "answer"]
    assert data(run, "answer") == [b"\x2a"]
    assert run.ready_ns[1] == run.release_ns[1] == run.traffic.end_ns[0]
    assert run.start_ns[1] == 50_000 + bits_of(question, b"\x2a") * BIT_NS
    assert run.response_ns[1] == (3 + int(run.wire_bits[1])) * BIT_NS


def watched(offset_ns: int = 0) -> Message:
    return message("m", 0x100, "a", period=10 * MS, to=["b"], lost_after_ns=LOST_AFTER_NS, offset_ns=offset_ns)


def listening(catalogue: Catalogue, run_for_ns: int, **more: object) -> Ear:
    ear = Ear()
    played(catalogue, run_for_ns, {"b": ear}, **more)
    return ear


def test_never_heard_is_missed_once_counted_from_the_start() -> None:
    ear = listening(bus(watched(offset_ns=900 * MS)), 800 * MS)
    assert ear.absences == [(LOST_AFTER_NS, "m")]


def test_missed_exactly_lost_after_the_last_end_of_frame_and_once() -> None:
    catalogue = bus(watched())
    run = played(catalogue, 500 * MS, faults=(silent("a", 55 * MS),))
    ear = listening(catalogue, 500 * MS, faults=(silent("a", 55 * MS),))
    assert len(ear.arrivals) == 6
    assert ear.absences == [(ends(run, "m")[-1] + LOST_AFTER_NS, "m")]


def test_missed_again_after_a_new_silence() -> None:
    faults = (silent("a", 15 * MS, 85 * MS), silent("a", 115 * MS, 185 * MS))
    ear = listening(bus(watched()), 200 * MS, faults=faults)
    heard = [time for time, _ in ear.arrivals]
    assert [time for time, _ in ear.absences] == [heard[1] + LOST_AFTER_NS, heard[4] + LOST_AFTER_NS]


def test_not_missed_while_it_comes() -> None:
    assert listening(bus(watched()), 500 * MS).absences == []


@pytest.mark.parametrize(("short_by_ns", "absences"), [(0, 0), (1, 1)])
def test_a_frame_that_ends_as_lost_after_runs_out_is_in_time(short_by_ns: int, absences: int) -> None:
    """Every gap is the period; a ``lost_after`` of the period itself is just long enough."""
    gap_ns = 10 * MS - short_by_ns
    sent = message("m", 0x100, "a", period=10 * MS, to=["b"], lost_after_ns=gap_ns)
    ear = listening(bus(sent), 15 * MS)
    assert len(ear.absences) == absences


@pytest.mark.parametrize(("short_by_ns", "absences"), [(0, 0), (1, 1)])
def test_the_same_for_the_first_frame(short_by_ns: int, absences: int) -> None:
    sent = message("m", 0x100, "a", to=["b"], offset_ns=MS)
    first_end_ns = MS + (bits_of(sent) - 3) * BIT_NS
    ear = listening(bus(replace(sent, lost_after_ns=first_end_ns - short_by_ns)), first_end_ns)
    assert len(ear.arrivals) == 1
    assert len(ear.absences) == absences


@pytest.mark.parametrize(("later_ns", "absences"), [(0, 1), (-1, 0)])
def test_missed_in_the_last_instant_of_the_run_is_still_told(later_ns: int, absences: int) -> None:
    sent = watched(offset_ns=900 * MS)
    assert len(listening(bus(sent), LOST_AFTER_NS + later_ns).absences) == absences


def test_only_receivers_with_a_lost_after_miss() -> None:
    without = message("without", 0x101, "a", to=["b"], offset_ns=900 * MS)
    to_another = message("to_another", 0x102, "a", to=["c"], offset_ns=900 * MS, lost_after_ns=MS)
    assert listening(bus(without, to_another), 100 * MS).absences == []


class Deaf(Node):
    """Cares for absences alone."""

    def begin(self) -> None:
        self.absences: list[str] = []

    def missed(self, message: Message) -> None:
        self.absences.append(f"{message.name} of {message.sender}")


def test_a_node_that_only_misses_is_told_the_message() -> None:
    deaf = Deaf()
    played(bus(watched(offset_ns=40 * MS)), 100 * MS, {"b": deaf})
    assert deaf.absences == ["m of a"]


def test_each_message_has_a_watch_of_its_own() -> None:
    quick = message("quick", 0x100, "a", to=["b"], offset_ns=900 * MS, lost_after_ns=5 * MS)
    slow = message("slow", 0x101, "c", to=["b"], offset_ns=900 * MS, lost_after_ns=7 * MS)
    both = listening(bus(slow, quick), 100 * MS)
    assert both.absences == [(5 * MS, "quick"), (7 * MS, "slow")]


def test_the_watch_is_the_same_for_two_receivers_and_their_order() -> None:
    ears = {name: Ear() for name in "bc"}
    sent = message("m", 0x100, "a", to="bc", offset_ns=40 * MS, lost_after_ns=LOST_AFTER_NS)
    played(bus(sent), 100 * MS, ears)
    assert ears["b"].absences == ears["c"].absences
    assert len(ears["b"].absences) == 2
