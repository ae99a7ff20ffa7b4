"""How long it takes from one end of a function's path to the other: bounds put together from the worst cases.

Along a path a value is handed on by lying there: each node puts what it knows into its message, and the next release
takes it along. The nodes' clocks are not in step, so the worst is that each release is missed by a hair. With the
longest period T / (1 - d) of a message whose sender's clock has tolerance d, the bound R of its response from the
nominal release, the k of its frames that have to agree before they are believed, and the processing P of each node:

    first reaction  =  sum of P  +  sum of k T / (1 - d)  +  sum of R

A value is published at t, just too late for a release: that one was due at n <= t, since jitter only delays it. The
k-th release after it is due by n + k T / (1 - d), and its frame is through R later, jitter included. An irregular
message is released as soon as its node has something to say: no wait. A path that begins with a message begins at its
nominal release, so that only k - 1 periods are waited for there.

    oldest age      =  the same, with k periods for that first message too

for a value stays in force until the frame that replaces it is believed. What came with an irregular message may be of
any age, since nothing repeats it. Where a path begins with a label, first reaction and oldest age are the same.

Sources: N. Feiertag, K. Richter, J. Nordlander, J. Jonsson, "A compositional framework for end-to-end path delay
calculation of automotive systems under different path semantics", CRTS 2008: the first reaction is its "first to
first", the age its "last to last". A. Davare, Q. Zhu, M. Di Natale, C. Pinello, S. Kanajan, A. Sangiovanni-Vincentelli,
"Period optimization for hard real-time distributed automotive systems", DAC 2007: the sum of periods and responses.
M. Guenzel, H. Teper, K.-H. Chen, G. von der Brueggen, J.-J. Chen, "On the equivalence of maximum reaction time and
maximum data age for cause-effect chains", ECRTS 2023. All three from memory; k frames and clocks are added here.

Assumed: an error-free bus with no node silent; a node that keeps to its ``processing`` (none where the catalogue says
none); events of an irregular message no closer than it declares; each message released before, so not the power-up.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import takewhile
from math import ceil
from typing import Literal

from busdesign.analysis.frame_lengths import shortest_frame_bits
from busdesign.analysis.streams import WorstCase
from busdesign.catalogue.model import Catalogue, Function, Message
from busdesign.catalogue.paths import Hop, Way, way_of
from busdesign.wire.frame import INTERMISSION_BITS

What = Literal["processing", "wait", "response"]


@dataclass(frozen=True, slots=True)
class Stage:
    """One part of the way: the processing of a node, the wait for a message's release, or its response.

    ``most_ns`` is None where no bound exists, and ``why_not`` says why.
    """

    what: What
    of: str
    most_ns: Fraction | None
    least_ns: Fraction = Fraction(0)
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class FunctionBound:
    """The worst case of one function, each time rounded up to a nanosecond; None where no bound exists.

    ``stages`` add up to ``reaction_ns``. ``skew_ns``: for one cause, the most between its effect and that of one of
    ``apart_from``, the functions that begin with the same steps up to a message at least; 0 where there are none.
    ``uncounted``: nodes on the way that declare no processing.
    """

    function: Function
    way: Way
    stages: tuple[Stage, ...]
    reaction_ns: int | None
    age_ns: int | None
    skew_ns: int | None
    apart_from: tuple[str, ...]
    uncounted: tuple[str, ...]
    why_not: str = ""  # of the reaction
    why_no_age: str = ""

    @property
    def costliest(self) -> Stage | None:
        """The stage that takes longest, the first of equals; None where one has no bound, or none takes any time."""
        costly = [stage for stage in self.stages if stage.most_ns] if self.reaction_ns is not None else []
        return max(costly, key=lambda stage: stage.most_ns or 0, default=None)


def function_bounds(catalogue: Catalogue, cases: Mapping[str, WorstCase]) -> tuple[FunctionBound, ...]:
    """The bounds of all functions of ``catalogue``, in its order; ``cases`` as ``streams.worst_cases`` gives them."""
    ways = [way_of(function, catalogue) for function in catalogue.functions]
    costed = [
        _Costed(function.path, way, _parts(way, catalogue, cases))
        for function, way in zip(catalogue.functions, ways, strict=True)
    ]
    pairs = zip(catalogue.functions, costed, strict=True)
    return tuple(_bound(function, own, costed, catalogue) for function, own in pairs)


def longest_period_ns(message: Message, catalogue: Catalogue) -> Fraction:
    """Its period on the slowest clock that its sender may have: T / (1 - d)."""
    return message.period_ns / (1 - catalogue.nodes[message.sender].tolerance)


@dataclass(frozen=True, slots=True)
class _Costed:
    """A path with its stages: those of each hop in a list of their own, and those after the last hop."""

    path: tuple[str, ...]
    way: Way
    parts: list[list[Stage]]

    def stages(self, after: int = 0) -> list[Stage]:
        """The stages after so many hops."""
        return [stage for part in self.parts[after:] for stage in part]


def _bound(function: Function, own: _Costed, all_of_them: list[_Costed], catalogue: Catalogue) -> FunctionBound:
    way, stages = own.way, own.stages()
    why_not = f"its path does not lead from `{way.gap[0]}` to `{way.gap[1]}`" if way.gap else _why_not(stages)
    most = None if why_not else _most(stages)
    once = next((hop.message.name for hop in way.hops if hop.message.irregular), "")
    why_no_age = why_not or (f"`{once}` is irregular: nothing renews what it said" if once else "")
    age = None
    if most is not None and not why_no_age:
        unwaited = [hop for hop in way.hops if not hop.passes]
        age = most + sum((longest_period_ns(hop.message, catalogue) for hop in unwaited), Fraction(0))
    beside = {
        other.name: _apart(own, costed)
        for other, costed in zip(catalogue.functions, all_of_them, strict=True)
        if costed.path != own.path and _shared_hops(own.path, costed.path)
    }
    known = [skew for skew in beside.values() if skew is not None]
    is_bounded = len(known) == len(beside) and most is not None
    return FunctionBound(
        function=function,
        way=way,
        stages=tuple(stages),
        reaction_ns=None if most is None else ceil(most),
        age_ns=None if age is None else ceil(age),
        skew_ns=ceil(max(known, default=Fraction(0))) if is_bounded else None,
        apart_from=tuple(beside),
        uncounted=tuple(dict.fromkeys(node for node in way.nodes if not catalogue.nodes[node].processing_ns)),
        why_not=why_not,
        why_no_age=why_no_age,
    )


def _shared_hops(path: tuple[str, ...], other: tuple[str, ...]) -> int:
    """How many messages the two have in common at their beginning, with all steps before them."""
    same = takewhile(lambda steps: steps[0] == steps[1], zip(path, other, strict=False))
    return sum("." not in step for step, _ in same)


def _apart(own: _Costed, other: _Costed) -> Fraction | None:
    """The most between the two effects of one cause: both hear the end of the same frame, and from there on the one may
    be as quick as can be and the other as slow.
    """
    shared = _shared_hops(own.path, other.path)
    ends = [(_most(one.stages(shared)), _least(one.stages(shared))) for one in (own, other)]
    (most, least), (others_most, others_least) = ends
    if most is None or others_most is None:
        return None
    return max(most - others_least, others_most - least)


def _parts(way: Way, catalogue: Catalogue, cases: Mapping[str, WorstCase]) -> list[list[Stage]]:
    hops = [_of_hop(hop, catalogue, cases.get(hop.message.name)) for hop in way.hops]
    return [*hops, _processing(way.acts, catalogue)]


def _of_hop(hop: Hop, catalogue: Catalogue, case: WorstCase | None) -> list[Stage]:
    message, name = hop.message, hop.message.name
    found = _processing(hop.passes, catalogue)
    periods = hop.frames if hop.passes else hop.frames - 1
    if message.irregular and hop.frames > 1:
        why = f"`{name}` is irregular, and believed only once {hop.frames} good frames have come"
        found.append(Stage("wait", name, None, why_not=why))
    elif not message.irregular and periods:
        least = (hop.frames - 1) * message.period_ns / (1 + catalogue.nodes[message.sender].tolerance)
        least = max(least - message.jitter_ns, Fraction(0))
        found.append(Stage("wait", name, periods * longest_period_ns(message, catalogue), least))
    bit_ns = catalogue.bus.bit_ns / (1 + catalogue.nodes[message.sender].tolerance)
    least = (shortest_frame_bits(message) - INTERMISSION_BITS) * bit_ns
    if case is None:
        found.append(Stage("response", name, None, least, f"`{name}` has no identifier, so no response time"))
    elif case.response_ns is None:
        found.append(Stage("response", name, None, least, f"`{name}` has no bound: {case.why_not}"))
    else:
        found.append(Stage("response", name, Fraction(case.response_ns), least))
    return found


def _processing(node: str, catalogue: Catalogue) -> list[Stage]:
    return [Stage("processing", node, Fraction(catalogue.nodes[node].processing_ns))] if node else []


def _most(stages: Sequence[Stage]) -> Fraction | None:
    most = [stage.most_ns for stage in stages if stage.most_ns is not None]
    return sum(most, Fraction(0)) if len(most) == len(stages) else None


def _least(stages: Sequence[Stage]) -> Fraction:
    return sum((stage.least_ns for stage in stages), Fraction(0))


def _why_not(stages: Sequence[Stage]) -> str:
    return next((stage.why_not for stage in stages if stage.why_not), "")
