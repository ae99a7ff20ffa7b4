"""The house is built as drawn: a room imports what stands above it, never a neighbour, never what is below."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "busdesign"

# From the basement up, as DEVELOPERS.md draws it: rooms of one floor are neighbours and do not know each other.
FLOORS: list[set[str]] = [
    {"words"},
    {"chance", "compiled", "findings"},
    {"card_file", "errors", "units"},
    {"outputs"},
    {"wire"},
    {"catalogue"},
    {"traffic"},
    {"scenario"},
    {"analysis", "export", "virtual", "bench"},
    {"answers"},
    {"__init__"},  # the Python API: answers under short names
    {"report", "desk"},
    {"cli", "testing"},
    {"__main__"},
]
FLOOR_OF = {room: number for number, rooms in enumerate(FLOORS) for room in rooms}
FILES = sorted(PACKAGE.rglob("*.py"))


def room_of(module: str) -> str:
    """The room that ``busdesign.x.y`` stands in; the root package itself is ``__init__``."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else "__init__"


def room_of_file(file: Path) -> str:
    relative = file.relative_to(PACKAGE)
    return relative.parts[0].removesuffix(".py")


def imports_of(file: Path) -> Iterator[tuple[str, int]]:
    """Every module of ours that ``file`` imports anywhere, in functions too, with its line."""
    for node in ast.walk(ast.parse(file.read_text(), str(file))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}:{node.lineno}: imports inside the package are absolute"
            names = [
                f"{node.module}.{alias.name}" if node.module == "busdesign" else str(node.module)
                for alias in node.names
            ]
        else:
            continue
        yield from ((name, node.lineno) for name in names if name.split(".")[0] == "busdesign")


@pytest.mark.parametrize("file", FILES, ids=lambda file: str(file.relative_to(PACKAGE)))
def test_a_file_imports_only_from_above(file: Path) -> None:
    room = room_of_file(file)
    assert room in FLOOR_OF, (
        f"busdesign/{room} is a room that nobody has drawn; give it a floor here and in DEVELOPERS.md"
    )
    for module, line in imports_of(file):
        other = room_of(module)
        if other == room:
            continue
        assert other in FLOOR_OF, f"{file}:{line}: imports `{module}`, which is in no room"
        assert FLOOR_OF[other] < FLOOR_OF[room], f"{file}:{line}: {room} may not know {other}"


def test_rooms_below_the_faces_do_not_print() -> None:
    """Their findings and answers are data; what a person reads is made by a face."""
    for file in FILES:
        if room_of_file(file) in {"cli", "testing", "desk"}:
            continue
        calls = [node for node in ast.walk(ast.parse(file.read_text())) if isinstance(node, ast.Call)]
        assert not [call for call in calls if isinstance(call.func, ast.Name) and call.func.id == "print"], file


def test_sim_knows_only_the_node_interface() -> None:
    """The engine knows no aircraft, and the aircraft knows only what a board would."""
    for file in (PACKAGE.parent / "sim").rglob("*.py"):
        tree = ast.parse(file.read_text())
        known = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.level == 0}
        ours = {module for module in known if module and module.startswith("busdesign")}
        assert ours <= {"busdesign.virtual.node", "busdesign.catalogue.model"}, file


@pytest.mark.parametrize("word", ["panel", "strut", "undercarriage", "saltmarsh", "lamp"])
def test_the_engine_knows_no_aircraft(word: str) -> None:
    """Names in its code; examples in texts and docstrings may speak of one."""
    for file in FILES:
        if room_of_file(file) in {"cli", "answers"}:  # they know where the demo lies
            continue
        names = {node.id for node in ast.walk(ast.parse(file.read_text())) if isinstance(node, ast.Name)}
        assert not [name for name in names if word in name.lower()], file
