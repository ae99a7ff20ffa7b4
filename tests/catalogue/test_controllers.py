"""``transmit`` and ``receive`` of a node, and ``length_code`` of a message: what they say, and what is refused."""

from dataclasses import replace
from fractions import Fraction

import pytest

from busdesign.analysis.expected import mean_frame_bits
from busdesign.analysis.frame_lengths import LENGTHS, shortest_frame_bits
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.model_controllers import Queue, Receive, Transmit
from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import CatalogueError
from busdesign.wire.frame import Frame, lay_out

NET = """
catalogue: fitted
bus: {bit_rate: 250 kbit/s}
nodes:
  panel: {}
  strut: {%s}
messages:
  ask:  {requests: told, from: panel, every: 20 ms}
  told: {id: 0x120, from: strut, irregular: {at_least_apart: 10 ms}, %s}
"""


def read(node: str = "", message: str = "bytes: 8") -> Catalogue:
    return parse_catalogue(NET % (node, message))


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("", None),
        ("transmit: {queue: priority}", Transmit()),
        ("transmit: {queue: fifo}", Transmit(Queue.FIFO)),
        ("transmit: {queue: fifo, depth: 8}", Transmit(Queue.FIFO, 8)),
        ("transmit: {queue: buffers, buffers: 3}", Transmit(Queue.BUFFERS, None, 3)),
        ("transmit: {queue: buffers, buffers: 3, abort: true}", Transmit(Queue.BUFFERS, None, 3, True)),
    ],
)
def test_how_frames_wait(written: str, expected: Transmit | None) -> None:
    assert read(written).nodes["strut"].transmit == expected


def test_how_heard_frames_wait() -> None:
    assert read("receive: {depth: 3, read_every: 5 ms}").nodes["strut"].receive == Receive(3, 5_000_000)


@pytest.mark.parametrize(
    ("written", "text", "fix"),
    [
        ("transmit: {queue: buffers}", "nothing says how many buffers `strut` has", "add `buffers: 3`"),
        (
            "transmit: {queue: priority, depth: 3}",
            "`depth` of `strut` says nothing of `queue: priority`",
            "write `queue: fifo`, or remove `depth`",
        ),
        (
            "transmit: {queue: fifo, abort: true}",
            "`abort` of `strut` says nothing of `queue: fifo`",
            "write `queue: buffers`, or remove `abort`",
        ),
        ("transmit: {depth: 3}", "`queue` is missing", ""),
        ("transmit: {queue: fifo, depth: 0}", "", ""),
        (
            "transmit: {queue: lifo, depth: 3}",
            "expected `priority` or `fifo` or `buffers`, found `lifo`",
            "did you mean",
        ),
        ("receive: {depth: 3}", "`read_every` is missing", ""),
        ("receive: {depth: 3, read_every: 0 ms}", "", ""),
    ],
)
def test_what_a_node_may_not_say(written: str, text: str, fix: str) -> None:
    with pytest.raises(CatalogueError) as refused:
        read(written)
    (found,) = refused.value.findings
    assert text in found.text
    assert fix in found.fix
    assert found.where is not None
    assert found.where.line == 6


@pytest.mark.parametrize(
    ("written", "text"),
    [
        ("bytes: 6, length_code: 12", "length code 12 means 8 bytes, but `told` has 6 bytes"),
        ("signals: {turns: {bits: 8}}, length_code: 9", "length code 9 means 8 bytes, but `told` has 1 byte"),
        ("bytes: 8, length_code: 8", ""),
        ("bytes: 8, length_code: 16", ""),
    ],
)
def test_what_a_length_code_may_not_be(written: str, text: str) -> None:
    with pytest.raises(CatalogueError) as refused:
        read(message=written)
    (found,) = refused.value.findings
    assert text in found.text


def test_a_remote_frame_sends_the_code_of_what_it_asks_for() -> None:
    ask, told = read(message="bytes: 8, length_code: 12").messages
    assert (ask.length_code, told.length_code, told.length_bytes) == (12, 12, 8)
    sent = lay_out(Frame(0x120, remote=True, dlc=12)).length_bits
    assert mean_frame_bits(ask) == sent == LENGTHS["any-payload"](ask) == shortest_frame_bits(ask)
    with pytest.raises(CatalogueError, match="sends the length code of what it asks for"):
        parse_catalogue(NET.replace("every: 20 ms", "every: 20 ms, length_code: 12") % ("", "bytes: 8"))


@pytest.mark.parametrize("code", range(9, 16))
def test_lengths_are_those_of_the_code_that_is_sent(code: int) -> None:
    _, told = read(message=f"bytes: 8, length_code: {code}, signals: {{all: {{bits: 64, constant: 0}}}}").messages
    sent = lay_out(Frame(0x120, bytes(8), dlc=code)).length_bits
    assert mean_frame_bits(told) == Fraction(sent)
    assert LENGTHS["as-declared"](told) == sent
    assert shortest_frame_bits(told) <= sent <= LENGTHS["any-payload"](told) <= LENGTHS["published"](told)


@pytest.mark.parametrize("code", [9, 12, 15])
def test_without_an_identifier_the_longest_frame_is_that_of_the_worst_one(code: int) -> None:
    (_, told) = read(message=f"bytes: 8, length_code: {code}").messages
    longest = LENGTHS["any-payload"]
    unplaced = longest(replace(told, identifier=None))
    placed = [longest(replace(told, identifier=identifier)) for identifier in range(0, 0x800, 17)]
    assert max(placed) <= unplaced <= LENGTHS["published"](told)
