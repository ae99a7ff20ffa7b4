"""Pieces of HTML. Whatever comes from a file goes through ``text``; all else here takes and gives finished HTML."""

from collections.abc import Collection, Iterable, Sequence
from html import escape

from busdesign.findings import printable


def text(value: object) -> str:
    """``value`` as harmless text of one line: markup and control characters are only shown."""
    return escape(printable(str(value)), quote=True)


def prose(value: str) -> str:
    """A comment, its line ends taken as spaces."""
    return text(" ".join(value.split()))


def code(value: object) -> str:
    """A name or number as it stands in a file."""
    return f"<code>{text(value)}</code>"


def marked(said: str) -> str:
    """A sentence in which names stand between backticks."""
    parts = said.split("`")
    if len(parts) % 2 == 0:
        return text(said)
    return "".join(code(part) if index % 2 else text(part) for index, part in enumerate(parts))


def counted(number: int, one: str, many: str = "") -> str:
    """``1 frame``, ``1 313 frames``: thousands apart by a narrow space that does not break."""
    digits = f"{number:,}".replace(",", "\u202f")
    return f"{digits} {one if number == 1 else many or one + 's'}"


def seconds(time_ns: int) -> str:
    """A time of a run in seconds, to the microsecond, without zeros that say nothing."""
    return f"{time_ns / 1e9:.6f}".rstrip("0").rstrip(".") + " s"


def milliseconds(time_ms: float | None) -> str:
    """A time in a column of milliseconds."""
    return "none" if time_ms is None else f"{time_ms:.3f}"


def table(
    caption: str,
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    numbers: Collection[int] = (),
    *,
    stacks: bool = False,
) -> str:
    """A table whose first column names its rows; columns ``numbers`` are set to the right.

    Where it is too wide it scrolls; one that ``stacks`` puts its cells below each other on a narrow page.
    """

    def aligned(index: int) -> str:
        return ' class="num"' if index in numbers else ""

    def line(row: Sequence[str]) -> str:
        first, *others = row
        cells = "".join(f"<td{aligned(index)}>{cell}</td>" for index, cell in enumerate(others, 1))
        return f'<tr><th scope="row">{first}</th>{cells}</tr>'

    head = "".join(f'<th scope="col"{aligned(index)}>{name}</th>' for index, name in enumerate(heads))
    kind = ' class="stacks"' if stacks else ""
    body = "\n".join(line(row) for row in rows)
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{caption}"><table{kind}>\n'
        f"<caption>{caption}</caption>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody></table></div>"
    )


def folded(summary: str, inner: str, *, printed: bool = True) -> str:
    """``inner`` behind its summary, to be opened; printed open unless it is long."""
    mark = " data-print" if printed else ""
    return f"<details{mark}><summary>{summary}</summary>\n{inner}\n</details>"


Tick = tuple[float, str, bool]  # per cent of the width, label, whether it stays where there is little room


def lane(name: str, value: str, title: str, ticks: Sequence[Tick], drawn: str) -> str:
    """A row of a plot of ours: its name and value as text, and below them the drawing, 18 px high and of full width."""
    grid = "".join(f'<line class="grid" x1="{at:.2f}%" x2="{at:.2f}%" y1="0" y2="18"/>' for at, _, _ in ticks)
    return (
        f'<div class="lane"><div class="head"><span class="name">{name}</span> <span class="value">{value}</span></div>'
        f'<svg width="100%" height="18" role="img"><title>{title}</title>{grid}{drawn}</svg></div>\n'
    )


def axis(ticks: Sequence[Tick]) -> str:
    """The scale below the lanes of a plot."""
    labels = []
    for at, label, stays in ticks:
        anchor = "start" if at < 3 else "end" if at > 97 else "middle"
        kind = "tick" if stays else "tick minor"
        labels.append(f'<text class="{kind}" x="{at:.2f}%" y="14" text-anchor="{anchor}">{label}</text>')
    return f'<svg class="axis" width="100%" height="18" aria-hidden="true">{"".join(labels)}</svg>\n'
