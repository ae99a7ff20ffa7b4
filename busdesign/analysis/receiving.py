"""How many frames can come to a node between two of its reads.

Own derivation. Of a message with period T and bound R, the ends of its frames lie between their releases plus the
shortest frame C' and plus R, so that in any window of length t there are at most ceil((t + R - C') / T). And no more
than fit one after the other: the first may end as the window begins, each further one takes C' or more, but that its
three bits of intermission come after it, and before it those of another sender, whose clock may be faster.
"""

from collections.abc import Mapping
from fractions import Fraction
from math import ceil

from busdesign.analysis.frame_lengths import shortest_frame_bits
from busdesign.analysis.streams import WorstCase
from busdesign.catalogue.model import Catalogue, Message, Node
from busdesign.wire.frame import INTERMISSION_BITS


def most_between_reads(catalogue: Catalogue, node: Node, cases: Mapping[str, WorstCase]) -> int:
    """The most frames that name ``node`` as receiver and end within one ``read_every`` of its slowest clock."""
    assert node.receive is not None
    heard = [message for message in catalogue.messages if node.name in message.receivers]
    if not heard:
        return 0
    window_ns = node.receive.read_every_ns / (1 - node.tolerance)
    fitting = 1 + int(window_ns // min(_soonest_after_another_ns(catalogue, message) for message in heard))
    ending = [_ends(catalogue, message, window_ns, cases.get(message.name)) for message in heard]
    return min([fitting, *([] if None in ending else [sum(count or 0 for count in ending)])])


def _shortest_ns(catalogue: Catalogue, message: Message) -> Fraction:
    fastest_bit_ns = catalogue.bus.bit_ns / (1 + catalogue.nodes[message.sender].tolerance)
    return shortest_frame_bits(message) * fastest_bit_ns


def _soonest_after_another_ns(catalogue: Catalogue, message: Message) -> Fraction:
    own, fastest = catalogue.nodes[message.sender].tolerance, max(node.tolerance for node in catalogue.nodes.values())
    later = INTERMISSION_BITS * catalogue.bus.bit_ns * (1 / (1 + own) - 1 / (1 + fastest))
    return _shortest_ns(catalogue, message) - later


def _ends(catalogue: Catalogue, message: Message, window_ns: Fraction, case: WorstCase | None) -> int | None:
    if case is None or case.response_ns is None:
        return None
    shortest_period_ns = message.period_ns / (1 + catalogue.nodes[message.sender].tolerance)
    return ceil((window_ns + case.response_ns - _shortest_ns(catalogue, message)) / shortest_period_ns)
