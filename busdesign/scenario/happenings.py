"""Reading ``steps``: what happens during the run."""

from types import MappingProxyType

from busdesign.findings import Place
from busdesign.scenario.draft import StepWritten
from busdesign.scenario.model import Step
from busdesign.scenario.sections import Sections


def read_steps(sections: Sections) -> tuple[Step, ...]:
    """The steps in the order of time; steps at one time stay in the order written."""
    source, steps = sections.source, []
    for trail, written in sections.entries("steps", StepWritten):
        sections.check_in_run(written.at, (*trail, "at"))
        trails = {name: (*trail, "set", name) for name in written.sets}
        places = {name: (source.of_key(inner), source.of_value(inner)) for name, inner in trails.items()}
        for name, (where, _) in places.items():
            _check_name(name, where, sections)
        steps.append(Step(written.at, MappingProxyType(written.sets), source.of_value(trail), MappingProxyType(places)))
    return tuple(sorted(steps, key=lambda step: step.at_ns))


def _check_name(name: str, where: Place, sections: Sections) -> None:
    """A step sets ``node.word`` of a node that has a model; which words there are only the model knows."""
    node, dot, word = name.partition(".")
    if not dot or not word or "." in word:
        sections.complain("unknown-name", where, f"`{name}` cannot be set", "a step sets names like `panel.switch`")
    elif sections.is_node(node, where) and not sections.may_have_model(node):
        fix = f"give it one under `models:`, such as `{node}: sim/{node}.py:Model`"
        sections.complain("no-model", where, f"`{node}` has no model here, so nothing of it can be set", fix)
