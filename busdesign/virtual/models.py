"""Node models from files: loaded under a private name for each project, so that two projects never see each other's."""

from collections.abc import Callable
from copy import deepcopy
from difflib import get_close_matches
from inspect import isasyncgenfunction, iscoroutinefunction, isgeneratorfunction, signature
from linecache import getline
from traceback import extract_tb, walk_tb

from busdesign.errors import ModelError, ScenarioError
from busdesign.findings import Finding, Place, Severity, did_you_mean
from busdesign.scenario.model import ModelChoice, Scenario
from busdesign.virtual.node import Node
from busdesign.virtual.project_modules import ProjectModules, is_of_project, without_package


def load_models(scenario: Scenario) -> dict[str, Node]:
    """A fresh node object for every model that ``scenario`` names. Raises ScenarioError with all findings."""
    modules = ProjectModules(scenario.root)
    nodes: dict[str, Node] = {}
    findings: list[Finding] = []
    for name, choice in scenario.models.items():
        try:
            nodes[name] = _node(name, choice, modules)
        except _Refused as refused:
            findings.append(refused.finding)
    if findings:
        raise ScenarioError(findings)
    return nodes


DUTIES = {"begin": (), "heard": ("message",), "missed": ("message",), "power_lost": ()}  # what each is called with


class _Refused(Exception):
    def __init__(self, rule: str, where: Place | None, text: str, fix: str = "") -> None:
        super().__init__(text)
        self.finding = Finding(rule, Severity.ERROR, where, text, fix)


def _node(name: str, choice: ModelChoice, modules: ProjectModules) -> Node:
    model = _class(choice, modules)
    _refuse_odd_names(choice, model)
    try:
        made = model()
    except (Exception, SystemExit) as error:
        raise _Refused("model-failed", _place_in_model(error) or choice.place, _said(error)) from None
    made.name = name
    for duty, arguments in DUTIES.items():
        if is_deferred(getattr(made, duty)):
            text = f"`{duty}` of `{choice.class_name}` is a generator or a coroutine, which nobody would run"
            raise _Refused("model-duty", choice.place, text, "write a plain function, without `yield` and `async`")
        if not takes(getattr(made, duty), len(arguments)):
            wanted = "the message and nothing else" if arguments else "nothing"
            text = f"`{duty}` of `{choice.class_name}` must take {wanted}"
            raise _Refused("model-duty", choice.place, text, f"write `def {duty}({', '.join(('self', *arguments))}):`")
    for setting, value in choice.settings.items():
        if setting not in made.settings:
            hint = did_you_mean(setting, made.settings) or "it has no settings"
            raise _Refused("model-setting", choice.place, f"`{choice.class_name}` has no setting `{setting}`", hint)
        try:
            setattr(made, setting, deepcopy(value))
        except (Exception, SystemExit) as error:
            raise _Refused("model-setting", _place_in_model(error) or choice.place, _said(error)) from None
    for setting in made.settings:
        if not hasattr(made, setting):
            text = f"`{choice.class_name}` needs the setting `{setting}`"
            raise _Refused("model-setting", choice.place, text, f"add `{setting}: ...`")
    return made


def _refuse_odd_names(choice: ModelChoice, model: type[Node]) -> None:
    """A shown name that the node interface has already, and a duty that looks misspelt: it would never be called."""
    for shown in model.shows:
        if hasattr(Node, shown) or shown in ("name", "silent"):
            text = f"`{choice.class_name}` shows `{shown}`, which every node has already with another meaning"
            raise _Refused("model-name", choice.place, text, f"call it `{shown}_` or otherwise")
    for ancestor in model.__mro__[: model.__mro__.index(Node)]:
        for name, value in vars(ancestor).items():
            close = get_close_matches(name, DUTIES, n=1, cutoff=0.85)
            if callable(value) and close and name not in DUTIES:
                text = f"`{choice.class_name}.{name}` is never called: it looks like a misspelt `{close[0]}`"
                raise _Refused("model-duty", choice.place, text, f"call it `{close[0]}`, or give it another name")


def _class(choice: ModelChoice, modules: ProjectModules) -> type[Node]:
    try:
        module = modules.load(choice.file)
    except SyntaxError as error:
        where = Place(error.filename or str(choice.file), error.lineno or 1, error.offset or 1, _first_line(error.text))
        raise _Refused("model-unreadable", where, f"not readable as Python: {error.msg}") from None
    except (Exception, SystemExit) as error:
        fix = _about_import(error, choice)
        raise _Refused("model-unreadable", _place_in_model(error) or choice.place, _said(error), fix) from None
    found = getattr(module, choice.class_name, None)
    models = [key for key, value in vars(module).items() if _is_model(value)]
    if found is None:
        text = f"{choice.file.name} has no class `{choice.class_name}`"
        raise _Refused("model-missing", choice.place, text, did_you_mean(choice.class_name, models))
    if not _is_model(found):
        text = f"`{choice.class_name}` in {choice.file.name} is no node model"
        raise _Refused("model-missing", choice.place, text, "a model is a subclass of `busdesign.virtual.node.Node`")
    return found  # type: ignore[no-any-return]


def is_deferred(duty: Callable[..., object]) -> bool:
    """Whether calling ``duty`` only makes something that is still to be run."""
    return isgeneratorfunction(duty) or iscoroutinefunction(duty) or isasyncgenfunction(duty)


def takes(duty: Callable[..., object], arguments: int) -> bool:
    """Whether ``duty`` can be called with so many arguments."""
    try:
        signature(duty).bind(*range(arguments))
    except TypeError:
        return False
    except ValueError:  # of something compiled, which does not tell
        return True
    return True


def _about_import(error: BaseException, choice: ModelChoice) -> str:
    """A hint where a neighbour was imported as if it were an installed package."""
    missing = (error.name or "").split(".")[-1] if isinstance(error, ModuleNotFoundError) else ""
    if missing and (choice.file.parent / f"{missing}.py").is_file():
        return f"imports inside a project are relative: `from .{missing} import ...`"
    return ""


def _is_model(value: object) -> bool:
    return isinstance(value, type) and issubclass(value, Node) and value is not Node


def _first_line(text: str | None) -> str:
    return (text or "").split("\n")[0]


def _place_in_model(error: BaseException) -> Place | None:
    """The innermost line of a project's own module that ``error`` came through, or None."""
    steps = zip(walk_tb(error.__traceback__), extract_tb(error.__traceback__), strict=True)
    own = [told for (frame, _), told in steps if is_of_project(str(frame.f_globals.get("__name__")))]
    if not own:
        return None
    file, line, bytes_before = own[-1].filename, own[-1].lineno or 1, own[-1].colno or 0
    quoted = getline(file, line).rstrip("\n")
    letters_before = len(quoted.encode()[:bytes_before].decode(errors="replace"))
    return Place(file, line, letters_before + 1, quoted)


def model_error(error: BaseException, at_s: float) -> ModelError | None:
    """``error`` as a finding at the model's line, or None if no model is to blame."""
    where = _place_in_model(error)
    if where is None:
        return None
    text = f"{_said(error)} (at {at_s:.6f} s of the run)"
    return ModelError([Finding("model-failed", Severity.ERROR, where, text)])


def _said(error: BaseException) -> str:
    try:
        return _in_words(error)
    except Exception:  # its own text fails
        return type(error).__name__


def _in_words(error: BaseException) -> str:
    if isinstance(error, ValueError) and str(error):
        return str(error)
    if isinstance(error, SystemExit):
        return "a model must not end the program"
    return without_package(f"{type(error).__name__}: {error}" if str(error) else type(error).__name__)
