"""How long it takes from one end of a function's path to the other: bounds put together from the worst cases.

Along a path a value is handed on by lying there: each node puts what it knows into its message, and the next release
takes it along. The nodes' clocks are not in step, so the worst is that each release is missed by a hair. With the
longest period T / (1 - d) of a message whose sender's clock has tolerance d, the bound R of its response from the
nominal release, the k of its frames that have to agree before they are believed, the processing P of each node, and the
period F / (1 - d) in which a node empties its receive FIFO, where it declares one and goes on with what it heard:

    first reaction  =  sum of P  +  sum of k T / (1 - d)  +  sum of R  +  sum of F / (1 - d)

A value is published at t, just too late for a release: that one was due at n <= t, since jitter only delays it. The
k-th release after it is due by n + k T / (1 - d), and its frame is through R later, jitter included. The first read
that ends no earlier takes it out of the FIFO, with all that came before it, so that one read is waited for however many
frames have to agree; none is if the FIFO may overrun (``receiving``), for what is lost there never comes. An irregular
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
maximum data age for cause-effect chains", ECRTS 2023. All three from memory; k frames, clocks and reads are added here.

Assumed: an error-free bus with no node silent; a node that keeps to its ``processing`` (none where the catalogue says
none); events of an irregular message no closer than it declares; each message released before, so not the power-up.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain
from math import ceil

from busdesign.analysis.skews import Skew, Span, skews
from busdesign.analysis.stages import Stage, StagesOf, least_of, longest_period_ns, most_of
from busdesign.analysis.streams import WorstCase
from busdesign.catalogue.model import Catalogue, Function
from busdesign.catalogue.paths import Way, way_of


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
    stages_of = StagesOf(catalogue, cases)
    parts = [stages_of.way(way) for way in ways]
    spans = [[Span(most_of(part), least_of(part)) for part in own] for own in parts]
    found = zip(catalogue.functions, ways, parts, skews(catalogue.functions, spans), strict=True)
    return tuple(_bound(function, way, list(chain(*own)), skew, catalogue) for function, way, own, skew in found)


def _bound(function: Function, way: Way, stages: list[Stage], skew: Skew, catalogue: Catalogue) -> FunctionBound:
    unbounded = next((stage.why_not for stage in stages if stage.why_not), "")
    why_not = f"its path does not lead from `{way.gap[0]}` to `{way.gap[1]}`" if way.gap else unbounded
    most = None if why_not else most_of(stages)
    once = next((hop.message.name for hop in way.hops if hop.message.irregular), "")
    why_no_age = why_not or (f"`{once}` is irregular: nothing renews what it said" if once else "")
    age = None
    if most is not None and not why_no_age:
        unwaited = [hop for hop in way.hops if not hop.passes]
        age = most + sum((longest_period_ns(hop.message, catalogue) for hop in unwaited), Fraction(0))
    return FunctionBound(
        function=function,
        way=way,
        stages=tuple(stages),
        reaction_ns=None if most is None else ceil(most),
        age_ns=None if age is None else ceil(age),
        skew_ns=None if most is None or skew.most_ns is None else ceil(skew.most_ns),
        apart_from=skew.apart_from,
        uncounted=tuple(dict.fromkeys(node for node in way.nodes if not catalogue.nodes[node].processing_ns)),
        why_not=why_not,
        why_no_age=why_no_age,
    )
