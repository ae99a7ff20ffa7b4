"""What happens in one and the same nanosecond: end of frame, fault, step, missed, duty, release, then arbitration."""

import pytest

from busdesign.catalogue.model import Message
from busdesign.scenario.model import Fault
from busdesign.virtual.node import Arrival, Flag, Node
from tests.networks import MS, fixed
from tests.virtual.small_buses import BIT_NS, bits_of, bus, byte, data, message, order, played, rows, silent, step

AT_NS = 50 * MS


class Witness(Node):
    """Notes what happens in the instant ``AT_NS``, in the order in which it happens."""

    lever = Flag(settable=True)
    idle = Flag(settable=True)  # moved while the frame is on the pair

    def begin(self) -> None:
        self.notes: list[str] = []
        self.each(f"{AT_NS} ns", lambda: self.note("duty"))

    def heard(self, message: Arrival) -> None:
        self.note("heard")

    def missed(self, message: Message) -> None:
        self.note("missed")

    def note(self, what: str) -> None:
        if self.now_ns == AT_NS:
            self.notes.append(f"{what} after the step" if self.lever else what)
            self.publish("own", value=len(self.notes))


def witnessed(*, faults: tuple[Fault, ...] = ()) -> tuple[Witness, list[int]]:
    """The notes, and what the release in that instant carried."""
    ends_then = message("ends_then", 0x300, "b", to=["a"])
    ends_then = message("ends_then", 0x300, "b", to=["a"], offset_ns=AT_NS - (bits_of(ends_then) - 3) * BIT_NS)
    absent = message("absent", 0x301, "b", to=["a"], offset_ns=900 * MS, lost_after_ns=AT_NS)
    own = message("own", 0x100, "a", offset_ns=AT_NS, signals=[byte()])
    witness = Witness()
    run = played(
        bus(ends_then, absent, own),
        60 * MS,
        {"a": witness},
        steps=(step(AT_NS - BIT_NS, a__idle=True), step(AT_NS, a__lever=True)),
        faults=faults,
    )
    return witness, [sent[0] for sent in data(run, "own")]


def test_the_order_of_one_instant() -> None:
    witness, carried = witnessed()
    assert witness.notes == ["heard", "missed after the step", "duty after the step"]
    assert carried == [3]


def test_a_fault_that_begins_in_the_instant_of_a_release_comes_first() -> None:
    assert witnessed(faults=(silent("a", AT_NS),))[1] == []
    assert witnessed(faults=(silent("a", AT_NS + 1),))[1] == []  # pending still: the intermission is not over


def test_a_fault_that_ends_in_the_instant_of_a_release_is_over() -> None:
    assert witnessed(faults=(silent("a", 10 * MS, AT_NS),))[1] == [3]
    assert witnessed(faults=(silent("a", 10 * MS, AT_NS + 1),))[1] == []


class Sayer(Node):
    """Says its alarm at 10 ms."""

    def begin(self) -> None:
        self.each("10 ms", lambda: self.say("alarm"))


@pytest.mark.parametrize(("at_ns", "said"), [(10 * MS, 0), (10 * MS + 1, 1)])
def test_a_fault_comes_before_a_duty_that_says_something(at_ns: int, said: int) -> None:
    """A nanosecond later the idle bus has begun to carry it."""
    alarm = message("alarm", 0x80, "a", irregular=True, period=MS)
    other = message("other", 0x81, "b", offset_ns=900 * MS)
    if at_ns > 10 * MS:
        at_ns += BIT_NS  # beyond the sample point of its start of frame
    run = played(bus(alarm, other), 15 * MS, {"a": Sayer()}, faults=(silent("a", at_ns),))
    assert len(run.traffic) == said


class Button(Node):
    """Says its alarm in the moment in which the button is pressed."""

    pressed = Flag(settable=True)

    def __setattr__(self, name: str, value: object) -> None:
        super().__setattr__(name, value)
        if name == "pressed" and value:
            self.say("alarm")


@pytest.mark.parametrize(("fault", "said"), [(silent("a", MS), 0), (silent("a", 0, MS), 1)])
def test_a_fault_comes_before_a_step_that_says_something(fault: Fault, said: int) -> None:
    alarm = message("alarm", 0x80, "a", irregular=True, period=MS)
    run = played(bus(alarm), 5 * MS, {"a": Button()}, steps=(step(MS, a__pressed=True),), faults=(fault,))
    assert (run.released["alarm"], len(run.traffic)) == (said, said)


def test_arbitration_comes_after_all_that_is_released_in_that_instant() -> None:
    """In whatever order the catalogue and the duties bring them."""
    alarm = message("alarm", 0x80, "a", irregular=True, period=MS)
    releases = [message(f"m{rank}", 0x100 - rank, "bc"[rank % 2], offset_ns=10 * MS) for rank in range(5)]
    run = played(bus(*releases, alarm), 15 * MS, {"a": Sayer()})
    assert order(run) == ["alarm", "m4", "m3", "m2", "m1", "m0"]
    assert run.start_ns[0] == 10 * MS


def test_a_release_as_the_bus_becomes_idle_takes_part() -> None:
    first, waits = message("first", 0x001, "a", length=8), message("waits", 0x300, "b", offset_ns=1)
    idle_ns = bits_of(first) * BIT_NS
    run = played(bus(first, waits, message("strong", 0x100, "c", offset_ns=idle_ns)), 5 * MS)
    assert order(run) == ["first", "strong", "waits"]
    assert run.start_ns[1] == idle_ns


def test_a_fault_as_the_bus_becomes_idle_stops_what_waits() -> None:
    first, waits = message("first", 0x001, "a", length=8), message("waits", 0x300, "b", offset_ns=1)
    idle_ns = bits_of(first) * BIT_NS
    run = played(bus(first, waits), 5 * MS, faults=(silent("b", idle_ns),))
    assert order(run) == ["first"]
    assert run.unfinished["waits"] == 1


class Switch(Node):
    """Publishes what its lever shows, in each duty."""

    lever = Flag(settable=True)

    def begin(self) -> None:
        self.each("10 ms", lambda: self.publish("state", value=int(self.lever)))


def test_a_step_is_seen_by_the_duty_and_carried_by_the_release_of_that_instant() -> None:
    state = message("state", 0x100, "a", period=10 * MS, signals=[byte()])
    run = played(bus(state), 35 * MS, {"a": Switch()}, steps=(step(20 * MS, a__lever=True),))
    assert [sent[0] for sent in data(run, "state")] == [0, 0, 1, 1]


def test_steps_of_one_instant_come_in_the_order_written() -> None:
    state = message("state", 0x100, "a", period=10 * MS, signals=[byte()])
    steps = (step(20 * MS, a__lever=True), step(20 * MS, a__lever=False), step(20 * MS, a__lever=True))
    run = played(bus(state), 35 * MS, {"a": Switch()}, steps=steps)
    assert run.traces["a.lever"].values == (False, True, False, True)
    assert run.traces["a.lever"].times_ns == (0, 20 * MS, 20 * MS, 20 * MS)


def test_what_is_heard_in_the_instant_of_a_release_is_carried_by_it() -> None:
    """The end of a frame comes before everything else of its nanosecond."""

    class Repeater(Node):
        def heard(self, message: Arrival) -> None:
            self.publish("copy", value=message["value"])

    told = message("told", 0x300, "b", to=["a"], signals=[byte()])
    end_ns = (bits_of(told, b"\x11") - 3) * BIT_NS
    copy = message("copy", 0x100, "a", offset_ns=end_ns, signals=[byte()])
    run = played(bus(told, copy), 9 * MS, {"a": Repeater()}, payload=fixed({"told": b"\x11"}))
    assert run.release_ns[rows(run, "copy")[0]] == run.traffic.end_ns[0] == end_ns
    assert data(run, "copy") == [b"\x11"]
