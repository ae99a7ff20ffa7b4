"""What nodes show over time, and what a scenario's steps set."""

from fractions import Fraction

import pytest

from busdesign.answers.simulate import simulate
from busdesign.errors import ScenarioError
from busdesign.scenario.model import Step
from busdesign.virtual.node import Arrival, Choice, Flag, Node, Number
from busdesign.virtual.run import Trace
from tests.networks import MS
from tests.virtual.small_buses import bus, ends, message, played, step

CATALOGUE = bus(message("m", 0x100, "a", period=10 * MS, to=["b"]))


class Board(Node):
    """Shows one of each kind."""

    lever = Choice("stay", "up", "down", settable=True)
    speed = Number("kt", initial=12.0, settable=True)
    horn = Flag(settable=True)
    lamp = Choice("dark", "green")
    heard_any = Flag(initial=False)

    def heard(self, message: Arrival) -> None:
        self.heard_any = True


def traces(*steps: Step, board: Node | None = None, run_for_ns: int = 50 * MS) -> dict[str, Trace]:
    run = played(CATALOGUE, run_for_ns, {"b": board or Board()}, steps=steps)
    return dict(run.traces)


def test_everything_shown_starts_at_zero_with_its_initial_value() -> None:
    found = traces()
    assert set(found) == {"b.lever", "b.speed", "b.horn", "b.lamp", "b.heard_any"}
    assert found["b.lever"] == Trace((0,), ("stay",))
    assert found["b.speed"] == Trace((0,), (12.0,))
    assert found["b.horn"] == Trace((0,), (False,))
    assert all(trace.times_ns[0] == 0 for trace in found.values())


def test_a_change_on_hearing_is_recorded_at_the_end_of_the_frame_and_once() -> None:
    run = played(CATALOGUE, 50 * MS, {"b": Board()})
    assert run.traces["b.heard_any"] == Trace((0, ends(run, "m")[0]), (False, True))


def test_steps_set_at_their_time() -> None:
    found = traces(step(7 * MS, b__lever="up", b__speed=80), step(9 * MS + 1, b__lever="down", b__horn=True))
    assert found["b.lever"] == Trace((0, 7 * MS, 9 * MS + 1), ("stay", "up", "down"))
    assert found["b.speed"] == Trace((0, 7 * MS), (12.0, 80))
    assert found["b.horn"] == Trace((0, 9 * MS + 1), (False, True))


def test_a_step_at_the_start_comes_after_begin_in_the_same_instant() -> None:
    class Beginner(Board):
        def begin(self) -> None:
            self.lever = "down"

    assert traces(step(0, b__lever="up"), board=Beginner())["b.lever"] == Trace((0, 0, 0), ("stay", "down", "up"))


@pytest.mark.parametrize("same", [12.0, 12])
def test_setting_what_is_shown_already_records_nothing(same: float) -> None:
    found = traces(step(5 * MS, b__lever="stay", b__horn=False), step(6 * MS, b__speed=same))
    assert found["b.lever"] == Trace((0,), ("stay",))
    assert found["b.horn"] == Trace((0,), (False,))
    assert found["b.speed"] == Trace((0,), (12.0,))


class Flicker(Board):
    """Changes twice in one instant."""

    def begin(self) -> None:
        self.each("20 ms", self.flicker)

    def flicker(self) -> None:
        self.lamp, self.lamp = "green", "dark"


def test_several_changes_in_one_nanosecond_are_all_kept_in_order() -> None:
    lamp = traces(board=Flicker())["b.lamp"]
    assert lamp == Trace((0, 20 * MS, 20 * MS, 40 * MS, 40 * MS), ("dark", "green", "dark", "green", "dark"))


def test_a_value_is_read_back_as_it_was_set() -> None:
    board = Board()
    traces(step(MS, b__lever="up", b__speed=7, b__horn=True), board=board)
    assert (board.lever, board.speed, board.horn, board.lamp) == ("up", 7, True, "dark")


def test_two_nodes_of_one_class_show_each_its_own() -> None:
    run = played(CATALOGUE, 50 * MS, {"b": Board(), "c": Board()}, steps=(step(MS, c__lever="up"),))
    assert run.traces["b.lever"].values == ("stay",)
    assert run.traces["c.lever"].values == ("stay", "up")


def test_a_subclass_shows_what_its_base_shows_and_more() -> None:
    class More(Board):
        more = Number("m")

    assert {"b.more", "b.lever"} <= set(traces(board=More()))


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("lamp", "red", "`lamp` shows one of dark, green; found `red`"),
        ("lamp", None, "`lamp` shows one of"),
        ("speed", "fast", "`speed` shows a number; found `fast`"),
        ("speed", True, "`speed` shows a number; found `True`"),
        ("speed", None, "`speed` shows a number"),
        ("horn", "loud", "`horn` is true or false; found `loud`"),
        ("horn", 1, "`horn` is true or false; found `1`"),
    ],
)
def test_a_node_cannot_show_what_it_did_not_declare(name: str, value: object, said: str) -> None:
    class Wrong(Board):
        def begin(self) -> None:
            setattr(self, name, value)

    with pytest.raises(ValueError, match=said):
        traces(board=Wrong())


def written(tmp_path: object, steps: str) -> str:
    """A project with a panel whose lever may be set and whose lamp may not; the scenario's path."""
    from pathlib import Path

    root = Path(str(tmp_path))
    for folder in ("messages", "sim"):
        (root / folder).mkdir()
    (root / "messages" / "bus.yaml").write_text(
        "catalogue: small\nrevision: 1\nbus: {bit_rate: 250 kbit/s, sample_point: 87.5 %}\n"
        "nodes: {panel: {}, leg: {}}\n"
        "messages:\n  demand: {id: 0x100, from: panel, to: [leg], every: 10 ms, signals: {value: {bits: 8}}}\n"
    )
    (root / "sim" / "panel.py").write_text(
        "from busdesign.virtual.node import Choice, Node\n\n\nclass Panel(Node):\n"
        "    lever = Choice('stay', 'up', settable=True)\n    lamp = Choice('dark', 'green')\n"
    )
    scenario = root / "sim" / "story.yaml"
    scenario.write_text(
        "scenario: a lever\ncatalogue: ../messages/bus.yaml\nrun_for: 50 ms\n"
        f"models: {{panel: sim/panel.py:Panel}}\nsteps:\n  - {steps}\n"
    )
    return str(scenario)


def test_a_step_through_the_whole_program(tmp_path: object) -> None:
    answer = simulate(written(tmp_path, "{at: 20 ms, set: {panel.lever: up}}"))
    assert answer.run.traces["panel.lever"] == Trace((0, 20 * MS), ("stay", "up"))


@pytest.mark.parametrize(
    "setting", ["panel.lamp: green", "panel.levre: up", "panel.lever: upp", "panel.name: other", "panel.begin: up"]
)
def test_only_settable_names_can_be_set_and_only_to_what_they_show(tmp_path: object, setting: str) -> None:
    with pytest.raises(ScenarioError) as refused:
        simulate(written(tmp_path, f"{{at: 20 ms, set: {{{setting}}}}}"))
    (found,) = refused.value.findings
    assert found.where is not None
    assert (found.where.file.endswith("story.yaml"), found.where.line) == (True, 6)


def test_what_a_node_shows_on_hearing_has_the_time_of_the_frame() -> None:
    """Else the effect is recorded a nanosecond before its cause, and an expectation over both sees them swapped."""

    class Lamp(Node):
        level = Number()

        def heard(self, message: Arrival) -> None:
            self.level = message.at_ns

    catalogue = bus(message("m", 0x100, "a", period=3 * MS, to=["b"]), bit_rate=83_333)
    run = played(catalogue, 50 * MS, {"b": Lamp()})
    assert run.traces["b.level"].times_ns[1:] == tuple(run.traffic.end_ns.tolist())
    assert run.traces["b.level"].values[1:] == tuple(run.traffic.end_ns.tolist())


def test_what_a_node_says_in_a_duty_is_released_when_it_shows_it() -> None:
    """The same instant of the same drifted clock, once as a trace and once as a release."""

    class Sayer(Node):
        count = Number()

        def begin(self) -> None:
            self.each("7 ms", self.look)

        def look(self) -> None:
            self.count += 1
            self.say("alarm")

    catalogue = bus(message("alarm", 0x100, "a", irregular=True, period=MS))
    run = played(catalogue, 100 * MS, {"a": Sayer()}, drift={"a": Fraction(3, 1000)})
    assert run.traces["a.count"].times_ns[1:] == tuple(run.release_ns.tolist())


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_a_number_that_is_none_cannot_be_shown(value: float) -> None:
    """It cannot be compared, drawn or written as JSON, and one that is not itself is a change each time."""

    class Broken(Node):
        speed = Number()

        def begin(self) -> None:
            self.speed = value

    with pytest.raises(ValueError, match="speed"):
        played(bus(message("m", 0x100, "a")), MS, {"b": Broken()})


@pytest.mark.parametrize(("name", "value"), [("horn", 0), ("speed", False)])
def test_what_is_refused_does_not_depend_on_what_is_shown(name: str, value: object) -> None:
    """0 is no flag and false no number, also where they equal what is shown already."""

    class Board(Node):
        horn = Flag()
        speed = Number()

        def begin(self) -> None:
            setattr(self, name, value)

    with pytest.raises(ValueError, match=name):
        played(bus(message("m", 0x100, "a")), MS, {"b": Board()})


def test_a_model_made_of_two_shows_what_both_declare() -> None:
    class Lights(Node):
        lamp = Flag()

    class Sounds(Node):
        horn = Flag()

    class Board(Lights, Sounds):
        def begin(self) -> None:
            self.lamp = True
            self.horn = True

    assert set(Board.shows) == {"lamp", "horn"}
    run = played(bus(message("m", 0x100, "a")), MS, {"b": Board()})
    assert run.traces["b.horn"].values == (False, True)
