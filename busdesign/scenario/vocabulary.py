"""Which names a scenario may speak of, what they can be, and whether it speaks of them rightly.

A catalogue gives every ``message.signal`` and every ``node.silent``; the names that a node's model declares are added
with ``with_names`` once the models are loaded.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, Self

from busdesign.catalogue.model import Catalogue, Message, Signal
from busdesign.findings import Finding, Place, Severity, did_you_mean, nearest, printable
from busdesign.scenario.expression import (
    And,
    Comparison,
    Condition,
    Expression,
    Name,
    Not,
    Number,
    Operand,
    Or,
    Word,
)
from busdesign.scenario.model import Scenario, Step, Value

SILENT = "silent"
_MOST_LISTED = 8


@dataclass(frozen=True, slots=True)
class Kind:
    """What a name can be: a number (or one of ``words`` in place of one), true or false, or one of ``words``."""

    shape: Literal["number", "boolean", "choice"]
    unit: str = ""
    words: tuple[str, ...] = ()

    @classmethod
    def number(cls, unit: str = "", words: Collection[str] = ()) -> Self:
        """Numbers in ``unit``; ``words`` are what may stand in place of a number, such as ``not_available``."""
        return cls("number", unit, tuple(dict.fromkeys(words)))

    @classmethod
    def boolean(cls) -> Self:
        """True and false."""
        return cls("boolean")

    @classmethod
    def choice(cls, words: Collection[str]) -> Self:
        """One of ``words``, in their order."""
        return cls("choice", "", tuple(dict.fromkeys(words)))

    def __str__(self) -> str:
        if self.shape == "number":
            return f"a number in {self.unit}" if self.unit else "a number"
        return "true or false" if self.shape == "boolean" else "one of " + ", ".join(f"`{word}`" for word in self.words)


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Every name that can be spoken of, with its kind, and those that a step may set."""

    kinds: Mapping[str, Kind]
    settable: frozenset[str] = field(default=frozenset())


def vocabulary_of(catalogue: Catalogue) -> Vocabulary:
    """What the catalogue alone gives: every ``message.signal``, and ``silent`` of every node; none of it can be set."""
    kinds = {f"{node}.{SILENT}": Kind.boolean() for node in catalogue.nodes}
    for message in catalogue.messages:
        kinds |= {f"{message.name}.{signal.name}": _kind_of(signal) for signal in message.signals}
    return Vocabulary(MappingProxyType(kinds))


def _kind_of(signal: Signal) -> Kind:
    if not signal.codes:
        return Kind.number(signal.unit)
    if not signal.only_codes:  # a range beside the codes: the codes stand in place of a number
        return Kind.number(signal.unit, signal.codes.values())
    return Kind.choice(signal.codes.values())


def with_names(
    vocabulary: Vocabulary, node: str, kinds: Mapping[str, Kind], settable: Collection[str] = ()
) -> Vocabulary:
    """``vocabulary`` and the names that ``node``'s model declares, of which steps may set ``settable``.

    Raises ValueError if a name is taken (``silent`` always is) or a settable one is not declared.
    """
    for name in kinds:
        if f"{node}.{name}" in vocabulary.kinds:
            raise ValueError(f"`{node}.{name}` has a meaning already; the model must call it otherwise")
    for name in settable:
        if name not in kinds:
            raise ValueError(f"`{node}.{name}` is to be set by steps but is not declared; {did_you_mean(name, kinds)}")
    added = {f"{node}.{name}": kind for name, kind in kinds.items()}
    return Vocabulary(
        MappingProxyType({**vocabulary.kinds, **added}),
        vocabulary.settable | {f"{node}.{name}" for name in settable},
    )


def check_names(scenario: Scenario, vocabulary: Vocabulary) -> list[Finding]:
    """What is wrong with the names and values in the scenario's steps and expectations, by the given vocabulary."""
    check = _Check(scenario, vocabulary)
    findings: list[Finding] = []
    for step in scenario.steps:
        findings.extend(check.step(step))
    for expectation in scenario.expectations:
        for expression in (expectation.when, expectation.then):
            if expression is not None:
                findings.extend(check.condition(expression.root, expression))
    return findings


class _Check:
    def __init__(self, scenario: Scenario, vocabulary: Vocabulary) -> None:
        self._scenario, self._kinds, self._settable = scenario, vocabulary.kinds, vocabulary.settable

    def step(self, step: Step) -> Iterator[Finding]:
        for name, value in step.sets.items():
            at_name, at_value = step.places.get(name, (step.place, step.place))
            if name not in self._kinds:
                yield self._unknown(name, at_name, self._settable)
            elif name not in self._settable:
                fix = (
                    f"can be set: {_listed(self._settable)}" if self._settable else "no model declares one that can be"
                )
                yield _error("not-settable", at_name, f"`{name}` cannot be set, only observed", fix)
            else:
                yield from _check_value(name, self._kinds[name], value, at_value)

    def condition(self, node: Condition, expression: Expression) -> Iterator[Finding]:
        """Everything wrong below ``node``, a part of ``expression``."""
        if isinstance(node, And | Or):
            for part in node.parts:
                yield from self.condition(part, expression)
        elif isinstance(node, Not):
            yield from self.condition(node.part, expression)
        elif isinstance(node, Comparison):
            yield from self._comparison(node, expression)
        elif isinstance(node, Name):
            yield from self._alone(node, expression)

    def _alone(self, name: Name, expression: Expression) -> Iterator[Finding]:
        where, kind = expression.place_at(name.at), self._kinds.get(name.text)
        if kind is None:
            yield self._unknown(name.text, where, self._kinds)
        elif kind.shape != "boolean":
            example = f"{name.text} == {kind.words[0]}" if kind.words else f"{name.text} > 0"
            text = f"`{name.text}` is {kind}, so alone it is neither true nor false"
            yield _error("unlike-kinds", where, text, f"compare it, as in `{example}`")

    def _comparison(self, node: Comparison, expression: Expression) -> Iterator[Finding]:
        names = [side for side in (node.left, node.right) if isinstance(side, Name)]
        unknown = [name for name in names if name.text not in self._kinds]
        if unknown:
            yield from (self._unknown(name.text, expression.place_at(name.at), self._kinds) for name in unknown)
            return
        if node.operator not in ("==", "!="):
            for side in (node.left, node.right):
                if not self._can_be_number(side):
                    text, fix = f"`{node.operator}` orders numbers; {self._said(side)}", "use `==` or `!=` here"
                    yield _error("unlike-kinds", expression.place_at(side.at), text, fix)
                    return
        if len(names) == 2:
            yield from self._two_names(names[0], names[1], expression)
        else:
            literal = node.right if names[0] is node.left else node.left
            where = expression.place_at(literal.at)
            yield from _check_value(names[0].text, self._kinds[names[0].text], _value_of(literal), where)

    def _two_names(self, left: Name, right: Name, expression: Expression) -> Iterator[Finding]:
        one, other = self._kinds[left.text], self._kinds[right.text]
        where = expression.place_at(right.at)
        text = f"`{left.text}` is {one}, `{right.text}` is {other}"
        if one.shape == other.shape == "number":
            if one.unit and other.unit and one.unit != other.unit:
                yield _error("unlike-kinds", where, text, "compare numbers in one unit")
        elif one.shape != other.shape or (one.words and not set(one.words) & set(other.words)):
            yield _error("unlike-kinds", where, f"{text}: they can never be equal", "compare names of one kind")

    def _can_be_number(self, side: Operand) -> bool:
        return isinstance(side, Number) or (isinstance(side, Name) and self._kinds[side.text].shape == "number")

    def _said(self, side: Operand) -> str:
        if isinstance(side, Name):
            return f"`{side.text}` is {self._kinds[side.text]}"
        return f"`{_shown(_value_of(side))}` is none"

    def _unknown(self, name: str, where: Place | None, known: Collection[str]) -> Finding:
        owner = name.partition(".")[0]
        catalogue = self._scenario.catalogue
        own = sorted(other for other in known if other.partition(".")[0] == owner)
        members = [message for message in catalogue.messages if message.family == owner]
        if members and owner not in catalogue.nodes:
            return _error("unknown-name", where, *_about_family(name, members))
        if owner in catalogue.nodes and owner not in self._scenario.models:
            text = f"there is no `{name}`: `{owner}` has no model in this scenario"
            fix = f"give it one under `models:`; without one there is only `{owner}.{SILENT}`"
            return _error("unknown-name", where, text, fix)
        if own:
            near = nearest(name.partition(".")[2], [other.partition(".")[2] for other in own])
            fix = f"did you mean `{owner}.{near}`?" if near else f"there is {_listed(own)}"
            return _error("unknown-name", where, f"there is no `{name}`", fix)
        owners = {**catalogue.nodes, **{message.name: None for message in catalogue.messages}}
        if owner in owners:
            return _error("unknown-name", where, f"there is no `{name}`", did_you_mean(name, sorted(known)))
        text = f"there is no `{name}`: `{owner}` is neither a node nor a message"
        return _error("unknown-name", where, text, did_you_mean(owner, owners))


def _about_family(name: str, members: Sequence[Message]) -> tuple[str, str]:
    """What to say of ``family.signal``, which only the members of the family have, and the hint."""
    family, _, signal = name.partition(".")
    known = dict.fromkeys(known.name for message in members for known in message.signals)
    near = signal if signal in known else nearest(signal, known)
    text = f"`{family}` is a family: {_listed([message.name for message in members])}"
    if near is None:
        return text, f"name one of them, with one of its signals: {_listed(known)}" if known else "they have no signals"
    ways = [f"`{message.name}.{near}`" for message in members[:_MOST_LISTED]]
    return text, f"write {' or '.join(ways)}" + (" ..." if len(members) > _MOST_LISTED else "")


def _check_value(name: str, kind: Kind, value: Value, where: Place | None) -> Iterator[Finding]:
    """A finding if ``name`` can never be ``value``."""
    is_boolean = isinstance(value, bool)
    if kind.shape == "boolean":
        if not is_boolean:
            near = str(value).lower()
            fix = f"write `{near}`" if near in ("true", "false") else "allowed: `true`, `false`"
            yield _error("unlike-kinds", where, f"`{name}` is true or false, never `{_shown(value)}`", fix)
    elif isinstance(value, str):
        if value not in kind.words and kind.words:
            text = f"`{name}` is never `{value}`"
            yield _error("unknown-word", where, text, did_you_mean(value, kind.words))
        elif not kind.words:
            fix = f"give a number in {kind.unit}, without writing the unit" if kind.unit else "give a number"
            yield _error("unlike-kinds", where, f"`{name}` is {kind}, never `{value}`", fix)
    elif is_boolean or kind.shape == "choice":
        fix = did_you_mean(_shown(value), kind.words)
        yield _error("unlike-kinds", where, f"`{name}` is {kind}, never `{_shown(value)}`", fix)


def _listed(names: Collection[str]) -> str:
    more = f" ... ({len(names)} in all)" if len(names) > _MOST_LISTED else ""
    return ", ".join(f"`{name}`" for name in sorted(names)[:_MOST_LISTED]) + more


def _value_of(literal: Operand) -> Value:
    return literal.text if isinstance(literal, Name | Word) else literal.value


def _shown(value: Value) -> str:
    return ("true" if value else "false") if isinstance(value, bool) else str(value)


def _error(rule: str, where: Place | None, text: str, fix: str = "") -> Finding:
    return Finding(rule, Severity.ERROR, where, printable(text), printable(fix))
