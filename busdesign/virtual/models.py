"""Node models from files: loaded under a private name for each project, so that two projects never see each other's."""

import sys
from collections.abc import Iterator, Mapping
from hashlib import sha256
from importlib import import_module
from pathlib import Path
from traceback import extract_tb
from types import ModuleType

from busdesign.catalogue.model import Catalogue
from busdesign.errors import ModelError, ScenarioError
from busdesign.findings import Finding, Place, Severity, did_you_mean
from busdesign.scenario.model import ModelChoice, Scenario
from busdesign.virtual.node import Node


def load_models(scenario: Scenario) -> dict[str, Node]:
    """A fresh node object for every model that ``scenario`` names. Raises ScenarioError with all findings."""
    package = _private_package(scenario.root)
    nodes: dict[str, Node] = {}
    findings: list[Finding] = []
    for name, choice in scenario.models.items():
        try:
            nodes[name] = _node(name, choice, package, scenario.root)
        except _Refused as refused:
            findings.append(refused.finding)
    if findings:
        raise ScenarioError(findings)
    return nodes


class _Refused(Exception):
    def __init__(self, rule: str, where: Place | None, text: str, fix: str = "") -> None:
        super().__init__(text)
        self.finding = Finding(rule, Severity.ERROR, where, text, fix)


def _private_package(root: Path) -> str:
    """An empty package whose modules are the files under ``root``, forgotten and made anew at each call."""
    name = "_busdesign_project_" + sha256(str(root.resolve()).encode()).hexdigest()[:12]
    for loaded in [known for known in sys.modules if known == name or known.startswith(name + ".")]:
        del sys.modules[loaded]
    package = ModuleType(name)
    package.__path__ = [str(root.resolve())]
    sys.modules[name] = package
    return name


def _node(name: str, choice: ModelChoice, package: str, root: Path) -> Node:
    made = _class(choice, package, root)()
    made.name = name
    for setting, value in choice.settings.items():
        if setting not in made.settings:
            hint = did_you_mean(setting, made.settings) or "it has no settings"
            raise _Refused("model-setting", choice.place, f"`{choice.class_name}` has no setting `{setting}`", hint)
        setattr(made, setting, value)
    for setting in made.settings:
        if not hasattr(made, setting):
            text = f"`{choice.class_name}` needs the setting `{setting}`"
            raise _Refused("model-setting", choice.place, text, f"add `{setting}: ...`")
    return made


def _class(choice: ModelChoice, package: str, root: Path) -> type[Node]:
    relative = choice.file.resolve().relative_to(root.resolve()).with_suffix("")
    try:
        module = import_module(".".join([package, *relative.parts]))
    except SyntaxError as error:
        where = Place(str(choice.file), error.lineno or 1, error.offset or 1, (error.text or "").rstrip("\n"))
        raise _Refused("model-unreadable", where, f"not readable as Python: {error.msg}") from None
    except Exception as error:
        raise _Refused("model-unreadable", place_in_model(error, root) or choice.place, _said(error)) from None
    found = getattr(module, choice.class_name, None)
    models = [key for key, value in vars(module).items() if _is_model(value)]
    if found is None:
        text = f"{choice.file.name} has no class `{choice.class_name}`"
        raise _Refused("model-missing", choice.place, text, did_you_mean(choice.class_name, models))
    if not _is_model(found):
        text = f"`{choice.class_name}` in {choice.file.name} is no node model"
        raise _Refused("model-missing", choice.place, text, "a model is a subclass of `busdesign.virtual.node.Node`")
    return found  # type: ignore[no-any-return]


def _is_model(value: object) -> bool:
    return isinstance(value, type) and issubclass(value, Node) and value is not Node


def place_in_model(error: BaseException, root: Path) -> Place | None:
    """The innermost line under ``root`` that ``error`` came through, or None."""
    inside = str(root.resolve())
    for frame in reversed(extract_tb(error.__traceback__)):
        if frame.filename.startswith(inside) and "/.venv/" not in frame.filename[len(inside) :]:
            return Place(frame.filename, frame.lineno or 1, (frame.colno or 0) + 1, frame.line or "")
    return None


def model_error(error: Exception, root: Path, at_s: float) -> ModelError | None:
    """``error`` as a finding at the model's line, or None if no model is to blame."""
    where = place_in_model(error, root)
    if where is None:
        return None
    text = f"{_said(error)} (at {at_s:.6f} s of the run)"
    return ModelError([Finding("model-failed", Severity.ERROR, where, text)])


def _said(error: BaseException) -> str:
    if isinstance(error, ValueError) and str(error):
        return str(error)
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__


def listeners_of(catalogue: Catalogue, nodes: Mapping[str, Node]) -> Iterator[tuple[str, Node]]:
    """(message, node) for every receiver that has a model."""
    for message in catalogue.messages:
        for receiver in message.receivers:
            if receiver in nodes:
                yield message.name, nodes[receiver]
