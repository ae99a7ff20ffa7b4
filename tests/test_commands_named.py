"""What a text of the program tells people to type exists."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import busdesign
from busdesign.cli.main import COMMANDS

SOURCE = Path(busdesign.__file__).parent
NAMED = re.compile(r"(?:`|example: |see )busdesign +(?:--\S+ +)*([a-z]\w*)")


def commands_named() -> Iterator[tuple[str, str]]:
    """(command, where) for each ``busdesign WORD`` in a string, and each first word given to ``text.command``."""
    for file in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield from ((word, f"{file}:{node.lineno}") for word in NAMED.findall(node.value))
            elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "command":
                first = node.args[0] if node.args else None
                if isinstance(first, ast.Constant):
                    yield str(first.value), f"{file}:{node.lineno}"


def test_every_command_that_a_text_names_exists() -> None:
    named = list(commands_named())
    known = {command.__name__.rpartition(".")[2] for command in COMMANDS}
    assert known == {word for word, _ in named if word in known}, "each command's own module names it"
    assert [(word, where) for word, where in named if word not in known] == []
