"""What a receiver believes: good frames, counters and checks, the first one after a reset, silence."""

from dataclasses import replace

import pytest

from busdesign.catalogue.model import Acceptance, Catalogue
from busdesign.catalogue.model_controllers import Receive
from busdesign.catalogue.reader import parse_catalogue
from busdesign.scenario.model import Fault
from busdesign.virtual.node import Arrival, Choice, Node
from busdesign.virtual.run import Run
from tests.networks import MS
from tests.virtual.faulty_bus import CATALOGUE
from tests.virtual.small_buses import played, step

BOTH = Acceptance()


class Panel(Node):
    """Sends what a step sets."""

    word = Choice("stay", "go", "halt", settable=True)

    def begin(self) -> None:
        self.look()
        self.each("1 ms", self.look)

    def look(self) -> None:
        self.publish("order", word=self.word)


class Ear(Node):
    def begin(self) -> None:
        self.told: list[tuple[int, str, bool]] = []
        self.missing: list[int] = []

    def heard(self, message: Arrival) -> None:
        if message.name == "order":
            self.told.append((self.now_ns // MS, str(message["word"]), message.is_lost))

    def missed(self, message: object) -> None:
        if getattr(message, "name", "") == "order":
            self.missing.append(self.now_ns // MS)


def catalogue(accept: Acceptance | None) -> Catalogue:
    made = parse_catalogue(CATALOGUE, "faulty.yaml")
    messages = tuple(replace(one, accept=accept) if one.name == "order" else one for one in made.messages)
    return replace(made, messages=messages)


def heard(accept: Acceptance | None, *faults: Fault, steps: tuple[object, ...] = (), run_ms: int = 200) -> Ear:
    ear = Ear()
    run = played(catalogue(accept), run_ms * MS, {"panel": Panel(), "left": ear}, faults=faults, steps=steps)
    assert isinstance(run, Run)
    return ear


def words(ear: Ear) -> list[str]:
    return [word for _, word, _ in ear.told]


def test_without_accept_everything_is_heard() -> None:
    assert len(heard(None, Fault("stale", "", 50 * MS, message="order")).told) == 20


def test_good_frames_pass_as_they_are() -> None:
    ear = heard(BOTH)
    assert [time for time, _, _ in ear.told] == list(range(0, 200, 10))
    assert not any(is_lost for *_, is_lost in ear.told)


@pytest.mark.parametrize(("drops", "count"), [(True, 13), (False, 20)])
def test_a_counter_that_stands_still(drops: bool, count: int) -> None:
    """Those at 50 .. 110 ms repeat the one at 40 ms and bring silence; behind it any count but the same one fits."""
    ear = heard(Acceptance(drops_bad_counter=drops), Fault("stale", "", 45 * MS, 115 * MS, message="order"))
    assert len(ear.told) == count


@pytest.mark.parametrize(("drops", "count"), [(True, 15), (False, 20)])
def test_a_check_that_does_not_fit(drops: bool, count: int) -> None:
    fault = Fault("corrupted", "", 50 * MS, 100 * MS, message="order", payload_bit=0)
    ear = heard(Acceptance(drops_bad_check=drops, drops_bad_counter=False), fault)
    assert len(ear.told) == count


def test_a_lost_frame_costs_the_one_behind_it_too() -> None:
    ear = heard(BOTH, Fault("lost", "", 50 * MS, 55 * MS, message="order"))
    assert [time for time, _, _ in ear.told if 30 <= time < 90] == [30, 40, 70, 80]


@pytest.mark.parametrize(("good_frames", "after"), [((1, 1), 0), ((2, 2), 10), ((2, 3), 10), ((3, 4), 20)])
def test_so_many_frames_have_to_agree(good_frames: tuple[int, int], after: int) -> None:
    ear = heard(Acceptance(good_frames), steps=(step(95 * MS, panel__word="go"),))
    assert next(time for time, word, _ in ear.told if word == "go") == 100 + after
    assert ear.told[0][0] == after


def test_two_of_three_bear_a_bad_one_between() -> None:
    fault = Fault("corrupted", "", 105 * MS, 115 * MS, message="order", payload_bit=0)
    steps = (step(95 * MS, panel__word="go"),)
    in_a_row = heard(Acceptance((2, 2), drops_bad_counter=False), fault, steps=steps)
    of_three = heard(Acceptance((2, 3), drops_bad_counter=False), fault, steps=steps)
    assert [next(time for time, word, _ in ear.told if word == "go") for ear in (in_a_row, of_three)] == [130, 120]


def test_the_first_frame_after_its_own_reset_is_ignored() -> None:
    fault = Fault("reset", "left", 52 * MS, 95 * MS)
    ear = Ear()
    found: list[list[int]] = []
    for ignores in (False, True):
        ear = _restarted(Acceptance(ignores_first=ignores), fault)
        found.append([time for time, _, _ in ear.told if time >= 60][:2])
    assert found == [[100, 110], [110, 120]]


def _restarted(accept: Acceptance, fault: Fault) -> Ear:
    class Kept(Ear):
        def begin(self) -> None:
            if self.starts == 1:
                super().begin()

    ear = Kept()
    played(catalogue(accept), 200 * MS, {"panel": Panel(), "left": ear}, faults=(fault,))
    return ear


@pytest.mark.parametrize(("safe", "told"), [(True, ["halt"]), (False, [])])
def test_silence_brings_the_safe_values_or_leaves_the_last_ones(safe: bool, told: list[str]) -> None:
    ear = heard(Acceptance(safe_when_lost=safe), Fault("silent", "panel", 52 * MS, 120 * MS))
    assert [word for _, word, is_lost in ear.told if is_lost] == told
    assert ear.missing == [85]


def test_frames_that_are_no_good_are_silence_too() -> None:
    ear = heard(Acceptance(safe_when_lost=True), Fault("corrupted", "", 52 * MS, message="order", payload_bit=9))
    assert ear.missing == [85]
    assert ear.told[-1][1:] == ("halt", True)


def test_a_silent_start_is_missed_once() -> None:
    ear = heard(Acceptance(safe_when_lost=True), Fault("silent", "panel", 0))
    assert (ear.missing, ear.told) == ([35], [(35, "halt", True)])


def test_a_gate_behind_a_receive_fifo() -> None:
    made = catalogue(BOTH)
    left = replace(made.nodes["left"], receive=Receive(4, 5 * MS))
    made = replace(made, nodes={**made.nodes, "left": left})
    ear = Ear()
    fault = Fault("stale", "", 45 * MS, 115 * MS, message="order")
    played(made, 200 * MS, {"panel": Panel(), "left": ear}, faults=(fault,))
    assert [time for time, _, _ in ear.told] == [5, 15, 25, 35, 45, *range(125, 200, 10)]
