"""A new project: it checks, compiles and simulates whatever the answers, and each of its expectations can break."""

import json
import os
import string
import subprocess
import sys
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

import busdesign
from busdesign.answers import new_folder
from busdesign.answers.new import NewAnswer, chosen, new_project
from busdesign.answers.new_files import MOST_LOAD, project_files
from busdesign.answers.new_names import C_KEYWORDS, DEFAULT_BIT_RATE, DEFAULT_NODES, default_name
from busdesign.answers.schema import schema
from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import InputError, OutputError
from busdesign.scenario.reader import read_scenario

CHECKOUT = Path(__file__).parents[2]

ANSWERS: Mapping[str, tuple[str, Sequence[str]]] = {
    "the defaults": (DEFAULT_BIT_RATE, DEFAULT_NODES),
    "one leg, slow": ("10 kbit/s", ("cockpit", "y")),
    "five legs": ("125 kbit/s", ("panel", "nose", "left", "right", "tail_1", "tail_2")),
    "awkward names": ("1 Mbit/s", ("on", "null_", "_x", "nodeA", "int8", "report", "x" * 24)),
    "a rate that is no whole number": ("83.333kbit/s", ("P", "not_", "begin")),
    "many legs on a slow bus": ("10 kbit/s", ("panel", *(f"leg_{number}" for number in range(12)))),
}
RATES = ("10", "20", "33.333", "50", "83.333", "100", "125", "250", "500", "800", "1000")


def files_under(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file() and path.suffix != ".pyc"}


def refusal(**answers: object) -> str:
    """What is said against answers that cannot be used: texts and hints."""
    with pytest.raises(InputError) as refused:
        chosen(**{"name": "gear", "bit_rate": DEFAULT_BIT_RATE, "nodes": DEFAULT_NODES, **answers})  # type: ignore[arg-type]
    return "\n".join(f"{found.text} | {found.fix}" for found in refused.value.findings)


@pytest.fixture(scope="module", params=ANSWERS)
def made(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> NewAnswer:
    bit_rate, nodes = ANSWERS[request.param]
    return new_project(tmp_path_factory.mktemp("new") / "gear", name="my_gear", bit_rate=bit_rate, nodes=nodes)


def test_it_checks_compiles_and_simulates(made: NewAnswer, tmp_path: Path) -> None:
    checked = busdesign.check(made.catalogue)
    assert checked.holds
    assert [found.text for found in checked.findings] == []
    assert checked.bus.load_worst <= MOST_LOAD
    assert len(checked.messages) == len(made.nodes)
    compiled = busdesign.compile_catalogue(made.catalogue, tmp_path)
    assert [file.name for file in compiled.files][:1] == ["my_gear.dbc"]
    assert len(made.scenarios) == 2
    for file in made.scenarios:
        run = busdesign.simulate(file)
        assert [(found.name, found.text) for found in run.expectations if found.holds is not True] == []
        assert run.holds
        assert [found.text for found in run.findings if found.severity != "advice"] == []


def test_its_files_are_those_that_it_names(made: NewAnswer) -> None:
    assert files_under(made.folder) == {str(file.relative_to(made.folder)) for file in made.files}
    assert {"README.md", "messages/my_gear.yaml", "sim/panel.py", "sim/leg.py"} <= files_under(made.folder)
    assert list(made.folder.parent.iterdir()) == [made.folder]
    for file in made.files:
        if file.suffix != ".json":
            text = file.read_text(encoding="utf-8").replace("$schema", "")
            assert "$" not in text, f"{file} has a placeholder left"


def test_an_editor_finds_the_schema_of_each_yaml_file(made: NewAnswer) -> None:
    for file in (made.catalogue, *made.scenarios):
        first = file.read_text(encoding="utf-8").splitlines()[0]
        mark = "# yaml-language-server: $schema="
        assert first.startswith(mark)
        named = file.parent / first.removeprefix(mark)
        assert json.loads(named.read_text(encoding="utf-8")) == schema(named.name.partition(".")[0])


def test_its_files_keep_to_their_schemas(made: NewAnswer) -> None:
    jsonschema = pytest.importorskip("jsonschema")
    for file, kind in ((made.catalogue, "catalogue"), *((story, "scenario") for story in made.scenarios)):
        written = json.loads(json.dumps(yaml.load(file.read_text(), yaml.BaseLoader)))  # names such as `on` stay text
        kept = [key for key in ("nodes", "models", "steps", "faults", "expect") if key in written]
        jsonschema.validate({key: written[key] for key in kept}, {**schema(kind), "required": []})


def test_its_models_pass_the_linter(tmp_path: Path) -> None:
    """With the project's own settings, whatever capitals the names have and however many there are."""
    for number, (bit_rate, nodes) in enumerate(ANSWERS.values()):
        new_project(tmp_path / f"project_{number}", bit_rate=bit_rate, nodes=nodes)
    config = CHECKOUT / "pyproject.toml"
    for words in (["check"], ["format", "--check"]):
        ran = subprocess.run(
            [sys.executable, "-m", "ruff", *words, "--no-cache", "--config", config, tmp_path],
            capture_output=True,
            text=True,
            check=False,
        )
        assert ran.returncode == 0, ran.stdout + ran.stderr


@pytest.mark.parametrize("kbit_s", RATES)
def test_each_bit_rate(kbit_s: str) -> None:
    choices = chosen("gear", f"{kbit_s} kbit/s", DEFAULT_NODES)
    checked = busdesign.check(parse_catalogue(project_files(choices)["messages/gear.yaml"]))
    assert checked.holds
    assert [found.text for found in checked.findings] == []
    assert checked.bus.bit_rate_bit_s == float(kbit_s) * 1000
    assert checked.bus.load_worst <= MOST_LOAD


NAMES = st.text(string.ascii_letters + string.digits + "_", min_size=1, max_size=24)


@settings(max_examples=20, deadline=None)
@given(name=NAMES, nodes=st.lists(NAMES, min_size=2, max_size=4, unique_by=str.lower))
def test_whatever_names_are_not_refused_make_a_catalogue_that_holds(name: str, nodes: list[str]) -> None:
    try:
        choices = chosen(name, "250 kbit/s", nodes)
    except InputError:
        return
    definition = parse_catalogue(project_files(choices)[f"messages/{name}.yaml"])
    assert (definition.name, tuple(definition.nodes)) == (name, tuple(nodes))
    assert busdesign.check(definition).holds


# What its expectations are worth.

LEG, PANEL, NORMAL, SILENCE = "sim/leg.py", "sim/panel.py", "sim/scenarios/normal.yaml", "sim/scenarios/silence.yaml"
LOST = 'self.order = "stay"'
COLOUR = 'return COLOURS.get(state, "red")'
# What is done to which file: this text becomes that one; and the scenarios that it is tried on.
SABOTAGES: Mapping[str, tuple[str, str, str, Sequence[str]]] = {
    "a leg that does not slow down": (LEG, "abs(way) * SLOWING_PER_S", "FULL_SPEED", [NORMAL]),
    "a leg that hears no order": (LEG, 'self.order = str(message["order"])', "pass", [NORMAL, SILENCE]),
    "a leg that only goes up": (LEG, 'str(message["order"])', '"up"', [NORMAL]),
    "a leg that carries on without orders": (LEG, LOST, "pass", [SILENCE]),
    "a leg that does not go on": (LEG, LOST, f"{LOST}\n        self.wanted = float", [SILENCE]),
    "a panel that does not mind silence": (PANEL, 'self.states[message.sender] = "silent"', "pass", [SILENCE]),
    "a panel whose lamps are green": (PANEL, COLOUR, 'return "green"', [NORMAL, SILENCE]),
    "a panel whose lamps are red": (PANEL, COLOUR, 'return "red"', [NORMAL, SILENCE]),
    "a panel whose lamps never change": (PANEL, "self.lamp(state))", '"green")', [NORMAL, SILENCE]),
    "a panel that shows what was heard last": (PANEL, 'self.switch not in ("stay", state)', "False", [NORMAL]),
    "no fault of the leg": (SILENCE, "  - {at: 2 s,", "  # - {at: 2 s,", [SILENCE]),
    "no fault of the panel": (SILENCE, "  - {at: 9 s,", "  # - {at: 9 s,", [SILENCE]),
}


@cache
def not_held(sabotage: str) -> Mapping[str, frozenset[str]]:
    """The expectations of the default project that no longer hold under ``sabotage``, by scenario."""
    name, old, new, scenarios = SABOTAGES[sabotage]
    with TemporaryDirectory() as folder:
        root = new_project(Path(folder) / "gear").folder
        text = (root / name).read_text(encoding="utf-8")
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {name}"
        (root / name).write_text(text.replace(old, new), encoding="utf-8")
        runs = {scenario: busdesign.simulate(root / scenario) for scenario in scenarios}
    return {
        scenario: frozenset(found.name for found in run.expectations if found.holds is not True)
        for scenario, run in runs.items()
    }


@pytest.mark.parametrize("scenario", [NORMAL, SILENCE])
def test_every_expectation_can_break(scenario: str, tmp_path: Path) -> None:
    story = read_scenario(new_project(tmp_path / "gear").folder / scenario)
    broken = {name for sabotage in SABOTAGES for name in not_held(sabotage).get(scenario, ())}
    assert {expected.name for expected in story.expectations} == broken


@pytest.mark.parametrize("sabotage", SABOTAGES)
def test_no_sabotage_goes_unnoticed(sabotage: str) -> None:
    for scenario, broken in not_held(sabotage).items():
        assert broken, scenario


def test_what_each_guard_is_for() -> None:
    stops = {"left stops when orders no longer come", "right stops when orders no longer come"}
    assert not_held("a leg that carries on without orders")[SILENCE] >= stops
    assert not_held("no fault of the panel")[SILENCE] == stops
    lamp = "the lamp of left shows its silence"
    assert lamp in not_held("a panel that does not mind silence")[SILENCE]
    assert lamp in not_held("no fault of the leg")[SILENCE]
    assert "right slows down before its upper stop" in not_held("a leg that does not slow down")[NORMAL]


# Answers that cannot be used.


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        (
            {"name": "2gear"},
            "the project `2gear` needs a name of letters, digits and `_`, with no digit first | write `_2gear`",
        ),
        ({"name": "my-gear"}, "write `my_gear`"),
        ({"name": ""}, "the project `` needs a name"),
        ({"name": "gear\n"}, "write `gear_`"),
        ({"name": "while"}, "`while` is a word of C, so no project can bear it | write `while_`"),
        ({"name": "Null"}, "`Null` is no text in YAML"),
        ({"name": "x" * 32}, "has 32 letters: 31 are the most"),
        ({"bit_rate": "250"}, "`250` has no unit | a bit rate is written like `250 kbit/s`"),
        ({"bit_rate": "250 ms"}, "`ms` measures a duration"),
        ({"bit_rate": "1.1 Mbit/s"}, "`1.1 Mbit/s` is too fast | `1 Mbit/s` is the most of classical CAN"),
        ({"bit_rate": "9 kbit/s"}, "`9 kbit/s` is too slow | `10 kbit/s` is the slowest to start from"),
        ({"bit_rate": "-5 kbit/s"}, "must be above zero"),
        ({"bit_rate": "fast"}, "expected a bit rate"),
        ({"nodes": ["panel", "left", "left"]}, "the node `left` is there twice"),
        ({"nodes": ["panel", "left", "Left"]}, "the nodes `left` and `Left` differ in nothing but capitals"),
        ({"nodes": ["panel"]}, "found 1 node; one must give the orders, and another hear them and report"),
        ({"nodes": []}, "found 0 nodes"),
        (
            {"nodes": ["panel", "größe"]},
            "the node `größe` needs a name of letters, digits and `_`, with no digit first | write `gr__e`",
        ),
        ({"nodes": ["panel", "default"]}, "`default` is a word of C"),
        ({"nodes": ["panel", "never"]}, "`never` is a word of expectations"),
        ({"nodes": ["panel", "BO_"]}, "`BO_` is a word of DBC"),
        ({"nodes": ["panel", "demand"]}, "`demand` is the name of a message in the new project"),
        (
            {"nodes": ["left", "report_left"]},
            "`report_left` is the name of a message in the new project, so no node can bear it | write `left_node`",
        ),
        ({"nodes": ["panel", "x" * 25]}, "has 25 letters: 24 are the most"),
        (
            {"nodes": ["panel", *(f"n{number}" for number in range(30))]},
            "31 nodes are too many to start from: 30 are the most",
        ),
    ],
)
def test_an_answer_that_cannot_be_used(answers: dict[str, object], said: str) -> None:
    assert said in refusal(**answers)


def test_all_that_is_wrong_is_said_at_once(tmp_path: Path) -> None:
    with pytest.raises(InputError) as refused:
        new_project(tmp_path / "gear", name="int", bit_rate="250", nodes=["a-b", "1", "x", "x"])
    assert len(refused.value.findings) == 5
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("word", sorted(C_KEYWORDS))
def test_no_word_of_c(word: str) -> None:
    assert f"`{word}` is a word of C" in refusal(nodes=["panel", word])


def test_a_bus_that_is_too_slow_says_which_would_do(tmp_path: Path) -> None:
    nodes = ["panel", *(f"leg_{number}" for number in range(23))]
    with pytest.raises(InputError) as refused:
        new_project(tmp_path / "gear", bit_rate="10 kbit/s", nodes=nodes)
    (found,) = refused.value.findings
    assert found.text == "10 kbit/s is too slow for 24 nodes"
    assert found.fix == "`20 kbit/s` would carry them"
    assert new_project(tmp_path / "gear", bit_rate="20 kbit/s", nodes=nodes).holds


@pytest.mark.parametrize(
    ("folder", "name"),
    [
        ("gear", "gear"),
        ("my-gear", "my_gear"),
        ("2026", "_2026"),
        ("größe", "gr__e"),
        ("int", "int_"),
        ("", "project"),
        ("x" * 40, "x" * 31),
    ],
)
def test_a_name_is_made_from_the_folders(folder: str, name: str) -> None:
    assert default_name(folder) == name
    assert chosen(name, DEFAULT_BIT_RATE, DEFAULT_NODES).name == name


# Nothing is ever overwritten, and nothing is left behind.


def everything(folder: Path) -> dict[str, bytes | str]:
    """All that lies under ``folder``, by its way from there."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        if path.is_file()
        else str(path.readlink() if path.is_symlink() else "")
        for path in sorted(folder.rglob("*"))
    }


@pytest.mark.parametrize(
    ("folder", "said"),
    [
        ("full", "cannot make a project in `.*full`: the folder is not empty"),
        ("link_to_full", "the folder is not empty"),
        (".", "the folder is not empty"),
        ("file", "there is a file of that name"),
        ("dangling", "there is a file of that name"),
        ("file/gear", "Not a directory"),
        ("absent/gear", "there is no folder `.*absent`"),
        ("a\0b", "cannot make the folder"),
        ("x" * 300, "File name too long"),
    ],
)
def test_what_is_in_the_way_stays(tmp_path: Path, folder: str, said: str) -> None:
    (tmp_path / "full" / "messages").mkdir(parents=True)
    (tmp_path / "file").write_text("mine")
    (tmp_path / "link_to_full").symlink_to("full")
    (tmp_path / "dangling").symlink_to("nowhere")
    before = everything(tmp_path)
    with pytest.raises(OutputError, match=said):
        new_project(f"{tmp_path}/{folder}")
    assert everything(tmp_path) == before


def test_no_name_is_no_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(OutputError, match="needs the name of a folder"):
        new_project("")
    assert list(tmp_path.iterdir()) == []


def test_an_empty_folder_is_filled_and_stays_the_same_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "gear").mkdir(mode=0o750)
    number = (tmp_path / "gear").stat().st_ino
    monkeypatch.chdir(tmp_path / "gear")
    made = new_project(".")
    assert made.name == "gear"
    assert (tmp_path / "gear").stat().st_ino == number
    assert files_under(tmp_path / "gear") == {str(file) for file in made.files}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["gear"]
    with pytest.raises(OutputError, match="not empty"):
        new_project(".")


def test_a_link_to_an_empty_folder_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    new_project(tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real" / "README.md").is_file()


@pytest.mark.parametrize("is_there", [False, True])
@pytest.mark.parametrize("after", range(9))
@pytest.mark.parametrize("reason", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_what_fails_half_way_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, is_there: bool, after: int, reason: BaseException
) -> None:
    """The disk is full, or somebody interrupts, at the ``after``-th file, or (8) when all is to be moved."""
    if is_there:
        (tmp_path / "gear").mkdir()
    before = everything(tmp_path)
    write, left = Path.write_bytes, [after]

    def fail_late(file: Path, data: bytes) -> int:
        if not left[0]:
            raise reason
        left[0] -= 1
        return write(file, data)

    def never(*_: object) -> None:
        raise reason

    monkeypatch.setattr(Path, "write_bytes", fail_late)
    monkeypatch.setattr("os.rename", never)
    with pytest.raises((OutputError, KeyboardInterrupt)) as failed:
        new_project(tmp_path / "gear")
    assert isinstance(failed.value, KeyboardInterrupt) or "No space left on device" in str(failed.value)
    assert everything(tmp_path) == before


def test_what_has_come_meanwhile_is_not_overwritten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody else makes something just before the move: a file in an empty folder, or a whole folder."""
    (tmp_path / "empty").mkdir()
    write = new_folder._write

    def slowly(folder: Path, files: Mapping[str, str]) -> None:
        write(folder, files)
        for name in ("empty", "gear"):
            (tmp_path / name).mkdir(exist_ok=True)
            (tmp_path / name / "sim").write_text("mine")

    monkeypatch.setattr(new_folder, "_write", slowly)
    for name in ("empty", "gear"):
        with pytest.raises(OutputError):
            new_project(tmp_path / name)
        assert everything(tmp_path / name) == {"sim": b"mine"}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty", "gear"]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
@pytest.mark.parametrize("folder", ["locked", "locked/gear"])
def test_a_folder_that_may_not_be_written(tmp_path: Path, folder: str) -> None:
    (tmp_path / "locked").mkdir(mode=0o500)
    with pytest.raises(OutputError, match="may not be written"):
        new_project(tmp_path / folder)
    assert list((tmp_path / "locked").iterdir()) == []


def test_it_is_invented_and_says_so(made: NewAnswer) -> None:
    for file in made.files:
        if file.suffix != ".json":
            assert "invented" in file.read_text(encoding="utf-8").lower(), file
    readme = (made.folder / "README.md").read_text(encoding="utf-8")
    for caution in (
        "not certified",
        "people and tools clear",
        "on jacks",
        "Emergency extension must be independent",
        "responsible authority",
    ):
        assert caution in readme
