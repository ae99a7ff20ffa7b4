"""One run: what was expected and whether it held, then everything over its time, then what became of the messages."""

from busdesign.answers.check import BusAnswer
from busdesign.answers.names_over_time import NameOverTime
from busdesign.answers.pictures import RunPicture, run_picture
from busdesign.answers.simulate import ExpectationAnswer, MessageRun, SimulateAnswer
from busdesign.report.markup import code, counted, folded, marked, milliseconds, prose, seconds, table, text
from busdesign.report.verdict import finding_list, status_of, verdict_line
from busdesign.report.view import view_block
from busdesign.units import format_ratio

MOST_SPANS = 40  # of one name in a table


def run_section(number: int, answer: SimulateAnswer, bus: BusAnswer) -> str:
    """Everything about run ``number``, counted from 1, beside the load that the catalogue promises for ``bus``."""
    picture = run_picture(answer)
    heading = f"{text(answer.scenario)}"
    facts = [
        f"{answer.duration_s:g} s simulated",
        f"seed {text(answer.seed)}",
        counted(answer.frames, "frame"),
        f"mean load {format_ratio(answer.load_mean)}",
        f"busiest 100 ms {format_ratio(answer.load_busiest_100ms)}, from {answer.load_busiest_at_s:.3f} s",
    ]
    comment = f"<p>{prose(answer.story.comment)}</p>" if answer.story.comment else ""
    findings = f'<ul class="findings">{finding_list(answer.findings)}</ul>' if answer.findings else ""
    return (
        f'<section class="run" id="run-{number}"><h2>Scenario: {heading}</h2>\n'
        f'<p class="facts">{" · ".join(facts)}</p>\n{comment}\n{verdict_line(answer.holds, _sentence(answer))}'
        f"{findings}\n{_expectations(number, answer)}\n"
        f"<h3>Over time</h3>\n{view_block(number, answer, picture, bus)}\n"
        f"{_load_table(picture)}\n{_names_table(picture)}\n"
        f"<h3>What became of the messages</h3>\n{_messages(number, answer, picture)}\n{_nodes(answer)}</section>"
    )


def _sentence(answer: SimulateAnswer) -> str:
    if not answer.expectations:
        told = "Nothing was expected of this run"
        return f"{told}, and no frame exceeded its bound." if answer.holds else f"{told}, yet it does not hold."
    met = sum(bool(expected.holds) for expected in answer.expectations)
    if answer.holds:
        return f"It went as expected: {_all(met)} met, and no frame exceeded its bound."
    if met == len(answer.expectations):
        return f"It does not hold, though {_all(met)} met."
    return f"It did not go as expected: {met} of {counted(len(answer.expectations), 'expectation')} met."


def _all(met: int) -> str:
    return "its one expectation was" if met == 1 else f"all {met} expectations were"


def _expectations(number: int, answer: SimulateAnswer) -> str:
    if not answer.expectations:
        return ""
    has_moments = any(expected.at_s is not None for expected in answer.expectations)
    heads = ["expectation", "outcome", *(["broken at"] if has_moments else []), "in words"]
    rows = [
        (
            text(expected.name),
            _status(expected),
            *([_when(number, expected)] if has_moments else []),
            marked(expected.text),
        )
        for expected in answer.expectations
    ]
    return "<h3>What was expected</h3>\n" + table("Expectations", heads, rows, stacks=True)


def _status(expected: ExpectationAnswer) -> str:
    sign, words = status_of(expected)
    kind = "open" if expected.holds is None else "holds" if expected.holds else "broken"
    return f'<span class="{kind}">{sign} {text(words)}</span>'


def _when(number: int, expected: ExpectationAnswer) -> str:
    if expected.at_s is None:
        return ""
    at_ns = round(expected.at_s * 1e9)
    return f'<button type="button" data-view="{number}" data-at="{at_ns}">{seconds(at_ns)}</button>'


def _load_table(picture: RunPicture) -> str:
    parts = picture.load_parts
    rows = [
        (f"from {seconds(place * parts.bin_ns)}", format_ratio(load)) for place, load in enumerate(parts.loads.tolist())
    ]
    said = f"Load in parts of {seconds(parts.bin_ns)}"
    return folded("Load over time as a table", table(said, ("part of the run", "load"), rows, {1}))


def _names_table(picture: RunPicture) -> str:
    moving = [name for name in picture.names if not name.is_constant]
    numbers = [_extremes_row(name) for name in moving if name.extremes()]
    spans = [_spans_row(name, picture.end_ns) for name in moving if not name.extremes()]
    tables = []
    if numbers:
        heads = ("name", "unit", "first", "least", "at", "greatest", "at", "last", "changes")
        tables.append(table("Numbers over time", heads, numbers, {2, 3, 4, 5, 6, 7, 8}))
    if spans:
        tables.append(
            table("Choices and flags over time", ("name", "changes", "values, each from when on"), spans, {1})
        )
    return folded("Names over time as tables", "\n".join(tables), printed=False) if tables else ""


def _extremes_row(name: NameOverTime) -> tuple[str, ...]:
    least, greatest = name.extremes() or (0, 0)
    last = len(name.times_ns) - 1
    return (
        code(name.name),
        text(name.unit),
        text(name.shown(0)),
        text(name.shown(least)),
        seconds(int(name.times_ns[least])),
        text(name.shown(greatest)),
        seconds(int(name.times_ns[greatest])),
        text(name.shown(last)),
        str(last),
    )


def _spans_row(name: NameOverTime, end_ns: int) -> tuple[str, ...]:
    said: list[str] = []
    for value, from_ns, _ in name.spans(end_ns):
        if len(said) == MOST_SPANS:
            said.append(f"and {len(name.times_ns) - MOST_SPANS} more")
            break
        said.append(f"{text(value)} {seconds(from_ns)}")
    return code(name.name), str(len(name.times_ns) - 1), ", ".join(said)


def _messages(number: int, answer: SimulateAnswer, picture: RunPicture) -> str:
    slowest = {row.message.name: row.slowest for row in picture.frames.rows}
    by_name = {message.name: message for message in answer.messages}
    # A stranger's frames (a babbling node) belong to no message of the catalogue, and stand in the picture alone.
    rows = [_message(number, by_name[name], frame) for name, frame in slowest.items() if name in by_name]
    heads = (
        "message",
        "sent",
        "lost",
        "least, ms",
        "mean, ms",
        "99 %, ms",
        "greatest, ms",
        "bound, ms",
        "in bound",
        "",
    )
    return table("Messages of this run, highest priority first", heads, rows, {1, 2, 3, 4, 5, 6, 7})


def _message(number: int, message: MessageRun, slowest: int | None) -> tuple[str, ...]:
    spread = message.response_ms
    times = (spread.min, spread.mean, spread.p99, spread.max) if spread else (None,) * 4
    within = {True: "\u2713 yes", False: "\u2717 no", None: ""}[message.within_bound]
    button = ""
    if slowest is not None:
        label = f"show the slowest frame of {text(message.name)}"
        button = (
            f'<button type="button" data-view="{number}" data-frame="{slowest}" aria-label="{label}">slowest</button>'
        )
    return (
        code(message.name),
        str(message.sent),
        str(message.lost),
        *("" if time is None else milliseconds(time) for time in times),
        milliseconds(message.response_worst_ms),
        within,
        button,
    )


def _nodes(answer: SimulateAnswer) -> str:
    rows = [(code(node.name), str(node.tec), str(node.rec), text(node.state)) for node in answer.nodes]
    heads = ("node", "transmit errors", "receive errors", "state")
    return folded("Error counters at the end", table("Error counters at the end", heads, rows, {1, 2}))
