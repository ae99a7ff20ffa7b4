"""How a run begins and ends: what is left unfinished, runs without a frame, a lone node, and what cannot be run."""

from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pytest

from busdesign.errors import ScenarioError
from busdesign.findings import Place, Severity
from busdesign.virtual.bus import simulate_bus
from busdesign.virtual.node import Flag, Node
from tests.networks import MS
from tests.virtual.small_buses import BIT_NS, Ear, bits_of, bus, message, order, played, step, story

SENT = message("m", 0x100, "a", to=["b"])
END_NS = (bits_of(SENT) - 3) * BIT_NS


@pytest.mark.parametrize(("run_for_ns", "sent"), [(END_NS, 1), (END_NS - 1, 0), (END_NS + 1, 1), (1, 0), (BIT_NS, 0)])
def test_a_frame_counts_if_its_end_of_frame_lies_within_the_run(run_for_ns: int, sent: int) -> None:
    ear = Ear()
    run = played(bus(SENT), run_for_ns, {"b": ear})
    assert len(run.traffic) == len(ear.arrivals) == sent
    assert (run.released["m"], run.unfinished["m"]) == (1, 1 - sent)


def test_what_waits_behind_the_last_frame_is_unfinished_too() -> None:
    catalogue = bus(
        SENT, message("weak", 0x200, "a"), message("weaker", 0x300, "c"), message("after", 1, "c", offset_ns=END_NS - 1)
    )
    run = played(catalogue, END_NS)
    assert order(run) == ["m"]
    assert run.unfinished == {"m": 0, "weak": 1, "weaker": 1, "after": 1}


@pytest.mark.parametrize(("offset_ns", "released"), [(9 * MS - 1, 1), (9 * MS, 0)])
def test_a_release_at_the_end_is_none_of_this_run(offset_ns: int, released: int) -> None:
    run = played(bus(SENT, message("late", 0x200, "c", offset_ns=offset_ns)), 9 * MS)
    assert (run.released["late"], run.unfinished["late"]) == (released, released)


def test_releases_during_the_last_frame_are_counted() -> None:
    """The frame that will not end in time holds the bus; 0.1 ms apart, three more are released."""
    often = message("often", 0x200, "c", period=100_000, offset_ns=1)
    run = played(bus(message("long", 0x100, "a", length=8), often), 300_002)
    assert len(run.traffic) == 0
    assert run.unfinished == run.released == {"long": 1, "often": 4}


@pytest.mark.parametrize("bit_rate", [250_000, 83_333])
def test_a_run_in_which_nothing_is_sent(bit_rate: int) -> None:
    run = played(bus(message("m", 0x100, "a", offset_ns=900 * MS), bit_rate=bit_rate), 5 * MS)
    assert len(run.traffic) == len(run.message_index) == len(run.response_ns) == len(run.wire_bits) == 0
    assert run.released == run.unfinished == {"m": 0}
    assert run.traffic.channels == ("can0",)


def test_a_catalogue_without_messages() -> None:
    ear = Ear()
    run = played(bus(), 5 * MS, {"a": ear}, phases="random", drift="random", jitter="random")
    assert len(run.traffic) == 0
    assert run.released == {}
    assert ear.arrivals == ear.absences == []


def test_an_irregular_message_without_a_model_is_never_sent() -> None:
    run = played(bus(SENT, message("alarm", 0x80, "b", irregular=True, period=MS)), 50 * MS, seed=3)
    assert order(run) == ["m"]
    assert run.released["alarm"] == 0


def test_the_run_records_what_it_was() -> None:
    catalogue = bus(SENT)
    run = played(catalogue, 5 * MS, seed=12)
    assert (run.catalogue, run.seed, run.run_for_ns, run.alone, run.findings) == (catalogue, 12, 5 * MS, False, ())


class Blinker(Node):
    """Sends nothing, changes a lamp."""

    lamp = Flag()

    def begin(self) -> None:
        self.each("2 ms", self.toggle)

    def toggle(self) -> None:
        self.lamp = not self.lamp


def test_a_lone_node_completes_nothing() -> None:
    run = played(bus(message("m", 0x100, "a", period=MS), nodes="a"), 5 * MS)
    assert run.alone
    assert len(run.traffic) == 0


def test_two_nodes_are_enough_even_if_one_only_listens() -> None:
    run = played(bus(message("m", 0x100, "a", period=MS), nodes="ab"), 5 * MS)
    assert not run.alone
    assert len(run.traffic) == 5


def test_messages_without_an_identifier_are_refused_each_at_its_place() -> None:
    places = [Place("catalogue.yaml", line, 3, "  m:") for line in (9, 5)]
    without = [
        replace(SENT, name=f"m{number}", identifier=None, places=MappingProxyType({"": place}))
        for number, place in enumerate(places)
    ]
    with pytest.raises(ScenarioError) as refused:
        played(bus(SENT, *without), 5 * MS)
    assert [found.where for found in refused.value.findings] == sorted(places)
    assert {(found.rule, found.severity) for found in refused.value.findings} == {("no-identifier", Severity.ERROR)}
    assert "`m1` has no identifier" in refused.value.findings[0].text


def test_progress_is_told_from_0_to_1_and_changes_nothing() -> None:
    catalogue = bus(message("m", 0x100, "a", period=300_000, jitter_ns=200_000), message("n", 0x200, "c", period=MS))
    told: list[float] = []
    scenario = replace(story(catalogue, 50 * MS, jitter="random"), root=Path("nowhere"))
    watched = simulate_bus(scenario, {}, told.append)
    alone = simulate_bus(scenario, {})
    assert watched.traffic.equal(alone.traffic)
    assert watched.start_ns.tolist() == alone.start_ns.tolist()
    assert told == sorted(told)
    assert 0 < told[0] < 0.1
    assert 0.9 < told[-1] <= 1


@pytest.mark.parametrize("run_for_ns", [1, 7, 150])
def test_progress_of_a_run_of_a_few_nanoseconds(run_for_ns: int) -> None:
    told: list[float] = []
    simulate_bus(story(bus(SENT), run_for_ns), {}, told.append)
    assert told == sorted(told)


def test_a_lone_node_releases_and_leaves_all_of_it_unfinished() -> None:
    run = played(bus(message("m", 0x100, "a", period=MS), nodes="a"), 5 * MS)
    assert run.released == {"m": 5}
    assert run.unfinished == {"m": 5}


def test_a_lone_node_does_its_duties_and_takes_steps() -> None:
    """Nothing arrives, but its application runs."""

    class Blinker(Node):
        lever = Flag(settable=True)
        lamp = Flag()

        def begin(self) -> None:
            self.each("2 ms", self.look)

        def look(self) -> None:
            self.lamp = self.lever

    steps = (step(3 * MS, a__lever=True),)
    run = played(bus(message("m", 0x100, "a", period=MS), nodes="a"), 5 * MS, {"a": Blinker()}, steps=steps)
    assert run.traces["a.lever"].times_ns == (0, 3 * MS)
    assert run.traces["a.lamp"].times_ns == (0, 4 * MS)
