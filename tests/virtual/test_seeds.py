"""Random numbers depend on the seed and on what they are for, and on nothing else."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from busdesign.catalogue.model import Catalogue, Message
from busdesign.scenario.model import PayloadChoice
from busdesign.virtual.node import Node
from busdesign.virtual.run import Run
from tests.networks import MS
from tests.virtual.small_buses import bus, byte, data, message, played, rows

RANDOMLY: dict[str, Any] = {
    "payload": PayloadChoice("random"),
    "jitter": "random",
    "phases": "random",
    "drift": "random",
}
WATCHED = message("watched", 0x200, "a", length=2, period=5 * MS, jitter_ns=MS, signals=[byte()])
FREE = message("free", 0x201, "a", length=8, period=5 * MS, jitter_ns=MS)


def a_bus(*messages: Message, nodes: Sequence[str] = ("a", "b")) -> Catalogue:
    return bus(*messages, nodes=nodes, tolerance=Fraction(1, 1000))


def of_one(run: Run, name: str, most: int = 15) -> list[tuple[int, int, bytes]]:
    """Nominal release, lateness and payload of its first frames."""
    return [
        (int(run.release_ns[row]), int(run.ready_ns[row] - run.release_ns[row]), run.traffic.data(row))
        for row in rows(run, name)
    ][:most]


def test_the_same_seed_gives_the_same_run() -> None:
    first, second = (played(a_bus(WATCHED, FREE), 200 * MS, seed=5, **RANDOMLY) for _ in range(2))
    assert first.traffic.equal(second.traffic)
    for column in ("release_ns", "ready_ns", "start_ns", "response_ns", "wire_bits", "waiting"):
        assert np.array_equal(getattr(first, column), getattr(second, column))
    assert first.drifts == second.drifts


@pytest.mark.parametrize("what", [{"payload": PayloadChoice("random")}, {"jitter": "random"}, {"phases": "random"}])
def test_another_seed_gives_another(what: dict[str, Any]) -> None:
    steady: dict[str, Any] = {"jitter": "none"}
    first, second = (
        of_one(played(a_bus(WATCHED), 200 * MS, seed=seed, **(steady | what)), "watched") for seed in (1, 2)
    )
    assert first != second


@pytest.mark.parametrize(
    "others",
    [
        [message("weaker", 0x700, "b", period=3 * MS, jitter_ns=MS)],
        [message("stronger", 0x001, "b", length=8, period=3 * MS, jitter_ns=MS, signals=[byte()])],
        [message("of_the_same_node", 0x002, "a", length=8, period=3 * MS, jitter_ns=MS)],
        [message(f"m{number}", number, "abcd"[number % 4], period=3 * MS, jitter_ns=MS) for number in range(8)],
    ],
)
@pytest.mark.parametrize("is_first", [True, False])
def test_more_messages_and_nodes_change_no_draw_of_another_message(others: list[Message], is_first: bool) -> None:
    """Lateness, payload, phase and drift of what was there before stay; only the waiting changes."""
    before = played(a_bus(WATCHED, FREE), 100 * MS, **RANDOMLY)
    messages = [*others, WATCHED, FREE] if is_first else [WATCHED, FREE, *others]
    after = played(a_bus(*messages, nodes=["d", "c", "b", "a"]), 100 * MS, **RANDOMLY)
    for name in ("watched", "free"):
        assert of_one(after, name) == of_one(before, name)
        assert len(of_one(after, name)) == 15
    assert after.drifts["a"] == before.drifts["a"]


def test_a_random_choice_of_one_thing_does_not_change_another() -> None:
    """Payloads are the same with and without jitter, lateness is the same with and without random payloads."""
    plain: dict[str, Any] = {"payload": PayloadChoice("random"), "jitter": "none"}
    both = played(a_bus(WATCHED), 100 * MS, **(plain | {"jitter": "random"}))
    assert data(played(a_bus(WATCHED), 100 * MS, **plain), "watched")[:15] == data(both, "watched")[:15]
    zero = played(a_bus(WATCHED), 100 * MS, payload=PayloadChoice("zero"), jitter="random")
    assert [late for _, late, _ in of_one(zero, "watched")] == [late for _, late, _ in of_one(both, "watched")]


def test_two_messages_do_not_draw_alike() -> None:
    twin = replace(WATCHED, name="twin", identifier=0x202)
    run = played(a_bus(WATCHED, twin), 100 * MS, payload=PayloadChoice("random"))
    first, second = of_one(run, "watched"), of_one(run, "twin")
    assert [late for _, late, _ in first] != [late for _, late, _ in second]
    assert [carried for _, _, carried in first] != [carried for _, _, carried in second]


class Gambler(Node):
    """Draws once at the start and once a period."""

    def begin(self) -> None:
        self.drawn = [self.rng.random()]
        self.each("10 ms", lambda: self.drawn.append(self.rng.random()))


def drawn(seed: int, names: str = "a", *, others: Sequence[Message] = ()) -> list[list[float]]:
    models = {name: Gambler() for name in names}
    played(bus(WATCHED, *others), 45 * MS, models, seed=seed, jitter="random")
    return [models[name].drawn for name in names]


def test_a_nodes_own_random_numbers_depend_on_seed_and_node_alone() -> None:
    assert drawn(1) == drawn(1)
    assert drawn(1) != drawn(2)
    a, b = drawn(1, "ab")
    assert a == drawn(1)[0]
    assert b == drawn(1, "b")[0]
    assert a != b
    assert len(a) == 5
    assert drawn(1, others=[FREE, message("m", 1, "c", period=MS)]) == drawn(1)
