"""How the rules of this folder tell something: once for a family, where its name is written; once for one cause."""

from collections.abc import Iterable, Iterator, Sequence

from busdesign.catalogue.model import Catalogue, Message
from busdesign.findings import Finding, Place, Severity, printable

_NAMED = 3  # of many alike, so many are called by name
_USUAL_PERIODS = 3  # of silence before a message counts as lost: common practice, no source


def advice(rule: str, where: Place | None, text: str, fix: str = "") -> Finding:
    """A finding that is worth a look."""
    return Finding(rule, Severity.ADVICE, where, printable(text), printable(fix))


def broken(rule: str, where: Place | None, text: str, fix: str = "") -> Finding:
    """A finding that a promise does not hold."""
    return Finding(rule, Severity.BROKEN, where, printable(text), printable(fix))


def written_name(message: Message) -> str:
    """The name that stands in the file."""
    return message.family or message.name


def once_each(messages: Iterable[Message]) -> Iterator[Message]:
    """``messages``, the first member only of each family: what is told of one is told of all.

    A rule gives it the messages that it has something to say of, since members of a family may differ in that.
    """
    told: set[str] = set()
    for message in messages:
        name = written_name(message)
        if name not in told:
            told.add(name)
            yield message


def by_sender(catalogue: Catalogue) -> Iterator[tuple[str, tuple[Message, ...]]]:
    """Each node with the messages it sends."""
    for node in catalogue.nodes:
        yield node, catalogue.sent_by(node)


def listed(names: Sequence[str]) -> str:
    """Names in backticks, a long list cut short: `` `a`, `b` ``, `` `a`, `b`, `c` and 4 more ``."""
    quoted = [f"`{name}`" for name in names[:_NAMED]]
    left = len(names) - len(quoted)
    return ", ".join(quoted) + (f" and {left} more" if left else "")


def number(value: float) -> str:
    """``value`` as a person would write it, and so that it reads back as the same: ``1234.5678``, ``-40``."""
    return f"{value:.15g}"


def usual_lost_after_ns(message: Message) -> int:
    """Three periods; more where the deadline is beyond the period, so that one late frame is no silence."""
    periods = max(_USUAL_PERIODS, 2 - -message.deadline_ns // message.period_ns)
    return periods * message.period_ns
