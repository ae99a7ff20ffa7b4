"""Drawings of bits in time: the segments and the sample point to scale, the delays beside their room, the tolerances.

They carry their colours with them, so that the same drawing serves the page and a file of its own.
"""

from collections.abc import Iterable, Sequence
from typing import Protocol, TypeVar

from busdesign.answers.wires_check import PropagationAnswer
from busdesign.report.colours import BANDS
from busdesign.report.markup import Tick, text
from busdesign.units import NS_PER_S

HEIGHT = 66  # of one bit
SYNC = "#7d8994"
SEGMENTS = (("sync", SYNC), ("prop_seg", BANDS[1]), ("phase_seg1", BANDS[2]), ("phase_seg2", BANDS[3]))
MANY_QUANTA = 100  # beyond that, lines between quanta would merge
INK, QUIET, GRID = "#1d2733", "#5b6672", "#8a939c"
FILE_WIDTH, FILE_MARGIN, FILE_TITLE = 960, 20, 26
_FONT = 'font-family="system-ui, Liberation Sans, Arial, sans-serif" font-size="12"'


class Bit(Protocol):
    """What is drawn of a setting: lengths in quanta, the sample point a fraction of 1."""

    @property
    def node(self) -> str | None: ...
    @property
    def prescaler(self) -> int: ...
    @property
    def prop_seg(self) -> int: ...
    @property
    def phase_seg1(self) -> int: ...
    @property
    def phase_seg2(self) -> int: ...
    @property
    def sjw(self) -> int: ...
    @property
    def sample_point(self) -> float: ...
    @property
    def bit_rate_bit_s(self) -> float: ...


AnyBit = TypeVar("AnyBit", bound=Bit)


def bit_svg(bit: Bit, names: str = "") -> str:
    """One bit over the whole width: segments with their quanta, the sample point, the time below."""
    lengths = (1, bit.prop_seg, bit.phase_seg1, bit.phase_seg2)
    quanta = sum(lengths)
    drawn, start = [], 0
    for (name, colour), length in zip(SEGMENTS, lengths, strict=True):
        left, width = start / quanta * 100, length / quanta * 100
        drawn.append(
            f'<rect x="{left:.3f}%" y="20" width="{width:.3f}%" height="24" fill="{colour}" stroke="{INK}">'
            f"<title>{name}, {length} of {quanta} quanta</title></rect>"
        )
        ink = "#ffffff" if name == "sync" else INK
        drawn.append(_label(left + width / 2, 36, str(length), "middle", ink))
        start += length
    if quanta <= MANY_QUANTA:
        edges = [f"{edge / quanta * 100:.3f}%" for edge in range(1, quanta)]
        drawn += [f'<line x1="{at}" x2="{at}" y1="40" y2="44" stroke="{GRID}"/>' for at in edges]
    at, bit_ns = bit.sample_point * 100, NS_PER_S / bit.bit_rate_bit_s
    drawn.append(f'<line x1="{at:.3f}%" x2="{at:.3f}%" y1="16" y2="50" stroke="{INK}" stroke-width="2.5"/>')
    side = "end" if at > 50 else "start"
    drawn.append(_label(at, 12, f"sample point {at:.4g} %, at {bit.sample_point * bit_ns:.6g} ns", side))
    drawn.append(_label(0, 62, "0 ns", "start", QUIET))
    drawn.append(_label(100, 62, f"{bit_ns:.6g} ns", "end", QUIET))
    title = f"{text(names) or bit_words(bit)}: one bit of {quanta} quanta, sampled at {at:.4g} %"
    return f'<svg width="100%" height="{HEIGHT}" role="img"><title>{title}</title>{"".join(drawn)}</svg>'


def bit_words(bit: Bit) -> str:
    """The setting in one line, for above its drawing."""
    segments = f"1 + {bit.prop_seg} + {bit.phase_seg1} + {bit.phase_seg2} quanta"
    return f"prescaler {bit.prescaler}, {segments}, sjw {bit.sjw}"


def alike(bits: Iterable[AnyBit]) -> list[tuple[str, AnyBit]]:
    """Each different bit once, with the names of the nodes that have it; no name where it is nobody's."""
    nodes: dict[tuple[object, ...], list[AnyBit]] = {}
    for bit in bits:
        nodes.setdefault((bit_words(bit), bit.sample_point, bit.bit_rate_bit_s), []).append(bit)
    return [(", ".join(each.node for each in same if each.node), same[0]) for same in nodes.values()]


def bits_file(bits: Sequence[Bit]) -> str:
    """A whole SVG file: a key of the segments, then each different bit below the nodes that have it."""
    different = alike(bits)
    inner_width, step = FILE_WIDTH - 2 * FILE_MARGIN, FILE_TITLE + HEIGHT + 10
    height = 2 * FILE_MARGIN + 24 + step * len(different)
    key = "".join(
        f'<rect x="{FILE_MARGIN + place * 120}" y="{FILE_MARGIN}" width="14" height="14" fill="{colour}" '
        f'stroke="{INK}"/><text x="{FILE_MARGIN + place * 120 + 20}" y="{FILE_MARGIN + 12}" fill="{INK}">{name}</text>'
        for place, (name, colour) in enumerate(SEGMENTS)
    )
    drawn = []
    for place, (names, bit) in enumerate(different):
        top = FILE_MARGIN + 24 + step * place
        said = f"{text(names)}: {bit_words(bit)}" if names else bit_words(bit)
        drawn.append(
            f'<text x="{FILE_MARGIN}" y="{top + 14}" fill="{INK}">{said}</text>\n'
            f'<svg x="{FILE_MARGIN}" y="{top + FILE_TITLE}" width="{inner_width}" height="{HEIGHT}">'
            f"{bit_svg(bit, names)}</svg>"
        )
    body = "\n".join(drawn)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{FILE_WIDTH}" height="{height}" '
        f'viewBox="0 0 {FILE_WIDTH} {height}" {_FONT}>\n<title>Bit timing</title>\n'
        f'<rect width="100%" height="100%" fill="#ffffff"/>\n{key}\n{body}\n</svg>\n'
    )


def delay_bar(way: PropagationAnswer, most_ns: float) -> str:
    """The parts of the delay end to end, and the room that the propagation segment gives them; 18 px high."""
    drawn, start = [], 0.0
    for place, part in enumerate(part for part in way.parts if part.delay_ns):
        left, width = start / most_ns * 100, part.delay_ns / most_ns * 100
        drawn.append(
            f'<rect x="{left:.3f}%" y="2" width="{width:.3f}%" height="14" fill="{delay_colour(place)}" '
            f'stroke="{INK}"><title>{text(part.name)}: {part.delay_ns:.6g} ns</title></rect>'
        )
        start += part.delay_ns
    at = f"{way.limit_ns / most_ns * 100:.3f}%"
    drawn.append(f'<line class="deadline" x1="{at}" x2="{at}" y1="0" y2="18"/>')
    drawn.append(f'<svg x="{at}" overflow="visible"><path class="deadline" d="M-5 1H5M-5 17H5"/></svg>')
    return "".join(drawn)


def delay_colour(place: int) -> str:
    """Of the part that is number ``place`` of those that take any time."""
    return BANDS[1:][place % len(BANDS[1:])]


def tolerance_bar(bears: float, takes: float, most: float) -> str:
    """A bar to what a setting bears, and a mark at what its clock and its rate take of it; 18 px high."""
    kind = "over" if takes > bears else "sum"
    at = f"{takes / most * 100:.3f}%"
    return (
        f'<rect class="bar {kind}" y="2" width="{bears / most * 100:.3f}%" height="14"/>'
        f'<line class="range" x1="0" x2="{at}" y1="9" y2="9"/><line class="range" x1="{at}" x2="{at}" y1="3" y2="15"/>'
    )


def ticks_to(most: float, step: float, unit: str, scale: float = 1) -> list[Tick]:
    """Marks each ``step`` up to ``most``, named in ``unit`` after a factor of ``scale``."""
    count = int(most / step + 1e-9)
    return [(step * place / most * 100, f"{step * place * scale:.4g} {unit}", True) for place in range(count + 1)]


def _label(at: float, y: int, said: str, anchor: str, ink: str = INK) -> str:
    return f'<text x="{at:.3f}%" y="{y}" text-anchor="{anchor}" fill="{ink}" font-size="12">{said}</text>'
