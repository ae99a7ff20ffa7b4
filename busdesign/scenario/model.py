"""The frozen scenario: what happens to the bus, and what must hold. ``reader`` made sure that it is consistent.

Names that only a node's model declares (``panel.switch``) are not judged here: the models are loaded further down, so
whoever loads them adds their names to the vocabulary and asks ``vocabulary.check_names``.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from busdesign.catalogue.model import Catalogue
from busdesign.findings import Place
from busdesign.scenario.expression import Expression

Value = bool | int | float | str
Filling = Literal["zero", "random"]
DriftWord = Literal["none", "random", "worst"]
JitterWord = Literal["random", "none", "worst"]
PhaseWord = Literal["declared", "random", "aligned"]

SeenByWord = Literal["all", "transmitter", "receivers"]


@dataclass(frozen=True, slots=True)
class PayloadChoice:
    """What nodes without a model put into their messages: ``fixed`` bytes for the messages named, ``others`` else."""

    others: Filling = "random"
    fixed: Mapping[str, bytes] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class ModelChoice:
    """The model that plays a node: the class ``class_name`` in ``file``, an absolute path under the project's root."""

    file: Path
    class_name: str
    settings: Mapping[str, object] = field(default_factory=lambda: MappingProxyType({}))
    place: Place | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Step:
    """At ``at_ns`` each name ``node.word`` in ``sets`` takes its value."""

    at_ns: int
    sets: Mapping[str, Value]
    place: Place | None = field(default=None, compare=False, repr=False)
    places: Mapping[str, tuple[Place, Place]] = field(  # of each name and of its value
        default_factory=lambda: MappingProxyType({}), compare=False, repr=False
    )


@dataclass(frozen=True, slots=True)
class Fault:
    """From ``at_ns`` until just before ``until_ns`` (None: to the end) something fails in the manner of ``kind``.

    What each key means to which kind stands in ``faults.kinds``; keys that a kind does not take are as here. Faults
    of one kind may overlap; they act as their union.
    """

    kind: str
    node: str
    at_ns: int
    until_ns: int | None = None
    place: Place | None = field(default=None, compare=False, repr=False)
    name: str = ""
    message: str = ""
    frame: int = 1  # since ``at_ns``, from 1
    bit: int = 0
    field_name: str = ""
    attempts: int = 1
    seen_by: SeenByWord | tuple[str, ...] = "all"
    rate: Fraction = Fraction(0)
    seed: int | None = None
    lasts_ns: int = 0
    every_ns: int | None = None
    time_out_ns: int | None = None
    identifier: int = 0
    extended: bool = False
    length_bytes: int = 8
    by_ns: int = 0
    payload_bit: int | None = None
    one_in: int = 1
    bit_rate_bit_s: Fraction | None = None
    sample_point: Fraction | None = None
    clock_error: Fraction = Fraction(0)
    position_m: Fraction | None = None
    between: tuple[str, ...] = ()
    wire: Literal["", "high", "low"] = ""
    ohm: Fraction | None = None
    error_rate: Fraction = Fraction(0)
    voltage_v: Fraction | None = None
    restart_ns: int = 0

    @property
    def where(self) -> str:
        """What it hits, in a word or two."""
        place = "" if self.position_m is None else f"at {float(self.position_m):g} m"
        return self.node or self.message or " to ".join(self.between) or place or "the bus"

    @property
    def title(self) -> str:
        """Its name, or what it is where nobody named it."""
        return self.name or f"{self.where} {self.kind.replace('_', ' ')}"


@dataclass(frozen=True, slots=True)
class Expectation:
    """What must hold.

    ``never`` and ``always`` speak of every moment of the run. ``after`` speaks of every moment at which ``when``
    becomes true (or is true from the start): ``then`` must be true at some moment from that one to ``within_ns`` later.
    """

    name: str
    kind: Literal["never", "always", "after"]
    when: Expression
    within_ns: int | None = None
    then: Expression | None = None
    place: Place | None = field(default=None, compare=False, repr=False)

    @property
    def names(self) -> tuple[str, ...]:
        """The names it speaks of, each once, in the order of their first mention."""
        return tuple(dict.fromkeys(self.when.names + (self.then.names if self.then else ())))


@dataclass(frozen=True, slots=True)
class Scenario:
    """One story on one bus.

    ``root`` is the folder that holds ``messages/`` and ``sim/`` (the scenario's own folder where there is none, which
    is no error as long as no model is named). ``drift``: clocks are exact, wrong by a random share of their declared
    tolerance, wrong by all of it, or wrong by the given fraction of one for the nodes named (the others exact).
    ``jitter``: each release of a message with declared jitter is late by a random part of it; never late; or only the
    first release, by all of it. ``phases``: first releases as declared; each node's start shifted at random; or all
    offsets zero, so that everything is released together at the start.
    """

    name: str
    file: str
    root: Path
    catalogue: Catalogue
    run_for_ns: int
    seed: int = 1
    payload: PayloadChoice = PayloadChoice()
    models: Mapping[str, ModelChoice] = field(default_factory=lambda: MappingProxyType({}))
    steps: tuple[Step, ...] = ()  # in the order of time
    faults: tuple[Fault, ...] = ()  # in the order of time
    drift: DriftWord | Mapping[str, Fraction] = "none"
    jitter: JitterWord = "random"
    phases: PhaseWord = "declared"
    expectations: tuple[Expectation, ...] = ()
    comment: str = ""
