"""Every rule name that a finding of the program can bear, found by reading its code.

A rule name is what arrives at ``Finding(rule, ...)``: a text, or a parameter that hands it on, function by function.
"""

import ast
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import busdesign

SOURCE = Path(busdesign.__file__).parent
Where = tuple[Path, str]  # a file, and a function that takes a rule's name


@dataclass(frozen=True)
class _Given:
    """What one call hands on as the rule's name: ``value`` inside ``function`` (None at the top of the file)."""

    file: Path
    function: ast.FunctionDef | None
    value: ast.expr

    @property
    def place(self) -> str:
        return f"{self.file.relative_to(SOURCE)}:{self.value.lineno}"


def rule_names() -> dict[str, str]:
    """Each rule's name, and one place where the code says it. Fails on a name that cannot be traced to a text."""
    trees = {file: ast.parse(file.read_text(encoding="utf-8")) for file in sorted(SOURCE.rglob("*.py"))}
    takers: dict[str, set[tuple[Path | None, int, str]]] = defaultdict(set)
    takers["Finding"] = {(None, 0, "rule")}
    takers["ScalarError"] = {(None, 0, "rule")}  # carries it as an attribute
    names: dict[str, str] = {}
    while True:
        known = {name: set(found) for name, found in takers.items()}
        for given in [given for file, tree in trees.items() for given in _given(file, tree, known)]:
            for name in _texts(given, takers):
                names.setdefault(name, given.place)
        if known == takers:
            return names


def _given(file: Path, tree: ast.AST, takers: dict[str, set[tuple[Path | None, int, str]]]) -> Iterator[_Given]:
    """What the calls in ``file`` give to functions that take a rule's name; private ones of its own only."""
    for function, call in _calls(tree, None):
        called = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
        for home, position, parameter in takers.get(called, ()):
            if home not in (None, file) and called.startswith("_"):
                continue
            by_name = [keyword.value for keyword in call.keywords if keyword.arg == parameter]
            yield from (_Given(file, function, value) for value in [*call.args[position : position + 1], *by_name])


def _calls(tree: ast.AST, function: ast.FunctionDef | None) -> Iterator[tuple[ast.FunctionDef | None, ast.Call]]:
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Call):
            yield function, node
        yield from _calls(node, node if isinstance(node, ast.FunctionDef) else function)


def _texts(given: _Given, takers: dict[str, set[tuple[Path | None, int, str]]]) -> Iterator[str]:
    """The texts that ``given`` can be; if it is a parameter, the function that has it takes a rule's name too."""
    value, function = given.value, given.function
    if isinstance(value, ast.Constant) and isinstance(value.value, str):
        yield value.value
    elif isinstance(value, ast.IfExp):
        for branch in (value.body, value.orelse):
            yield from _texts(_Given(given.file, function, branch), takers)
    elif isinstance(value, ast.Name) and function is not None:
        parameters = [argument.arg for argument in function.args.args]
        if value.id in parameters:
            bound = parameters[:1] in (["self"], ["cls"])
            name = _class_of(given.file, function) if function.name == "__init__" else function.name
            takers[name].add((given.file, parameters.index(value.id) - bound, value.id))
            return
        assigned = [part for to, source in _bindings(function) for part in _parts(to, source, value.id)]
        assert assigned, f"{given.place}: where does the rule's name `{value.id}` come from?"
        for each in assigned:
            yield from _texts(_Given(given.file, function, each), takers)
    else:  # what an exception of ours carries: it was given to its class
        assert isinstance(value, ast.Attribute), f"{given.place}: a rule's name is a text"
        assert value.attr == "rule", f"{given.place}: a rule's name is a text"


def _bindings(function: ast.FunctionDef) -> Iterator[tuple[ast.expr, ast.expr]]:
    """What ``function`` assigns to what; of a loop over a written-out list, each entry."""
    for node in ast.walk(function):
        if isinstance(node, ast.Assign):
            yield from ((to, node.value) for to in node.targets)
        elif isinstance(node, ast.For | ast.comprehension) and isinstance(node.iter, ast.Tuple | ast.List):
            yield from ((node.target, entry) for entry in node.iter.elts)


def _parts(to: ast.expr, source: ast.expr, name: str) -> Iterator[ast.expr]:
    """What of ``source`` ends up in ``name`` when it is assigned to ``to``."""
    if isinstance(source, ast.IfExp):
        yield from _parts(to, source.body, name)
        yield from _parts(to, source.orelse, name)
    elif isinstance(to, ast.Tuple) and isinstance(source, ast.Tuple):
        for inner, part in zip(to.elts, source.elts, strict=False):
            yield from _parts(inner, part, name)
    elif isinstance(to, ast.Name) and to.id == name:
        yield source


def _class_of(file: Path, function: ast.FunctionDef) -> str:
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ClassDef) and any(
            getattr(inner, "lineno", 0) == function.lineno for inner in node.body
        ):
            return node.name
    raise AssertionError(f"{file}: `__init__` outside a class")
