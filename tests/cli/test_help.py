"""Help texts, hints for slips of the finger, completion scripts."""

import re
import shlex
import subprocess

import pytest

import busdesign
from busdesign.cli.main import COMMANDS, SHELLS, command_line
from tests.cli.projects import Gate
from tests.cli.running import Here

NAMES = [command.__name__.rpartition(".")[2] for command in COMMANDS]


@pytest.mark.parametrize("name", NAMES)
def test_each_command_explains_itself_with_an_example_that_can_be_read(here: Here, name: str) -> None:
    ran = here(name, "--help")
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith(f"usage: busdesign {name} ")
    assert "\nexit status: 0" in ran.out
    example = re.search(r"^example: (busdesign .*)$", ran.out, re.MULTILINE)
    assert example
    program, *words = shlex.split(example[1])
    assert (program, words[0]) == ("busdesign", name)
    assert command_line().read(words).command == name


@pytest.mark.parametrize("words", [(), ("--help",), ("-h",)])
def test_without_a_command_all_are_listed(here: Here, words: tuple[str, ...]) -> None:
    ran = here(*words)
    assert (ran.status, ran.err) == (0, "")
    for name in NAMES:
        assert re.search(rf"^    {name} ", ran.out, re.MULTILINE)
    assert "no evidence of airworthiness" in ran.out


def test_every_option_has_a_word_of_help() -> None:
    parser = command_line()
    for name, command in parser._commands().items():
        for action in command._actions:
            assert action.help, f"{name} {action.dest}"


@pytest.mark.parametrize(
    ("line", "text", "hint"),
    [
        ("chekc x.yaml", "busdesign: there is no command `chekc`", "did you mean `check`?"),
        ("analyse x.yaml", "there is no command `analyse`", "allowed: `demo`, `new`, `check`, `compile`, `simulate`"),
        ("--verison", "busdesign: there is no option `--verison`", "did you mean `--version`?"),
        ("check x.yaml --jsno", "busdesign check: there is no option `--jsno`", "did you mean `--json`?"),
        ("check --jsno", "busdesign check: there is no option `--jsno`", "did you mean `--json`?"),
        ("compile x.yaml --ouptut=out", "busdesign compile: there is no option `--ouptut`", "did you mean `--output`?"),
        ("check x.yaml --report r.html", "there is no option `--report`", "it is an option of `busdesign simulate`"),
        ("check --debug x.yaml", "there is no option `--debug`", "`busdesign --debug ...`"),
        ("check x.yaml --lengths publisht", "--lengths cannot be `publisht`", "did you mean `published`?"),
        ("--completion bsh", "busdesign: --completion cannot be `bsh`", "did you mean `bash`?"),
        ("check x.yaml y.yaml", "busdesign check: cannot make anything of `y.yaml`", None),
        ("check x.yaml -q", "busdesign check: cannot make anything of `-q`", None),
        ("check", "busdesign check: the following arguments are required: CATALOGUE", None),
        ("compile x.yaml", "busdesign compile: the following arguments are required: -o/--output", None),
        ("simulate x.yaml --seed", "busdesign simulate: --seed has no value", "`--seed=-1`"),
        ("timing --clock -16MHz --rate 500kbit/s", "busdesign timing: --clock has no value", "`--clock=-1`"),
        ("simulate x.yaml --trafic=a.log", "there is no option `--trafic`", "did you mean `--traffic`?"),
    ],
)
def test_a_slip_of_the_finger(here: Here, line: str, text: str, hint: str | None) -> None:
    ran = here(*line.split())
    assert (ran.status, ran.out) == (2, "")
    first, *others = ran.err.splitlines()
    assert text in first
    program = first.partition(":")[0]
    assert others[-1] == f"see `{program} --help`"
    assert len(others) == (1 if hint is None else 2)
    assert hint is None or hint in others[0]


def test_what_is_typed_cannot_write_to_the_terminal(here: Here) -> None:
    for words in (["\x1b[31mred"], ["check", "x.yaml", "--\x1b[31m"], ["check", "x.yaml", "\x1b[31m"]):
        ran = here(*words)
        assert ran.status == 2
        assert "\x1b" not in ran.err


def test_a_file_whose_name_begins_with_a_dash(gate: Gate, here: Here) -> None:
    gate.catalogue.rename(gate.root / "--gate.yaml")
    assert here("check", "--", "--gate.yaml").status == 0


def test_the_version(here: Here) -> None:
    ran = here("--version")
    assert ran.status == 0
    assert re.fullmatch(r"busdesign \d+(\.\d+)*\S*\n", ran.out)
    assert ran.out == f"busdesign {busdesign.__version__}\n"


@pytest.mark.parametrize("shell", SHELLS)
def test_a_completion_script_knows_commands_and_options(here: Here, shell: str) -> None:
    ran = here("--completion", shell)
    assert (ran.status, ran.err) == (0, "")
    for word in (*NAMES, "traffic", "lengths"):
        assert word in ran.out


def test_bash_reads_its_script_and_completes_with_it(here: Here, gate: Gate) -> None:
    script = here("--completion", "bash").out
    complete = 'COMP_WORDS=({words}); COMP_CWORD={last}; _shtab_busdesign 2>/dev/null; echo "${{COMPREPLY[*]}}"\n'
    asked = [["busdesign", "sim"], ["busdesign", "check", "--js"], ["busdesign", "check", "messages/g"]]
    script += "".join(complete.format(words=" ".join(words), last=len(words) - 1) for words in asked)
    assert subprocess.run(["bash", "-n"], input=script, text=True, check=False).returncode == 0
    ran = subprocess.run(["bash"], input=script, text=True, capture_output=True, check=True, cwd=gate.root)
    assert ran.stdout.splitlines() == ["simulate", "--json", "messages/gate.yaml"]
