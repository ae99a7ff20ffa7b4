"""The DBC file as a text: the golden file, its bytes, and what of the catalogue it leaves out or alters.

The golden file follows the demo catalogue. After a change of either, look at the difference and write it anew with

    python tests/export/test_dbc.py

from the root of the checkout.
"""

import os
import subprocess
import sys
from pathlib import Path

import cantools
import pytest
from cantools.database.can import Database

from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import parse_catalogue, read_catalogue
from busdesign.export.dbc import Rendered, render
from busdesign.findings import Severity

ROOT = Path(__file__).parents[2]
GOLDEN = Path(__file__).parent / "golden" / "saltmarsh.dbc"


def the_demo() -> Catalogue:
    return read_catalogue(ROOT / "messages" / "saltmarsh.yaml")


def render_written(text: str) -> Rendered:
    """``text`` holds messages, indented by two, of the nodes ``one`` and ``two``."""
    head = "catalogue: bench\nbus: {bit_rate: 250 kbit/s}\nnodes: {one: {}, two: {}}\nmessages:\n"
    return render(parse_catalogue(head + text))


def load(rendered: Rendered) -> Database:
    loaded = cantools.database.load_string(rendered.text, "dbc", strict=True)
    assert isinstance(loaded, Database)
    return loaded


def losses(rendered: Rendered) -> list[str]:
    return [f"{loss.where}: {loss.text}" for loss in rendered.losses]


def test_demo_is_the_golden_file() -> None:
    assert render(the_demo()).text.splitlines() == GOLDEN.read_text(encoding="cp1252").splitlines()


def test_lines_end_as_dbc_lines_do() -> None:
    text = render(the_demo()).text
    assert text.count("\n") == text.count("\r\n") > 100


def test_line_break_inside_a_comment_stays() -> None:
    rendered = render_written('  m: {id: 1, from: one, every: 5 ms, comment: "first\\nsecond"}\n')
    assert "first\nsecond" in rendered.text
    assert load(rendered).messages[0].comment == "first\nsecond"


def test_data_are_the_bytes_readers_expect(tmp_path: Path) -> None:
    rendered = render_written(
        "  m: {id: 1, from: one, every: 5 ms, signals: {s: {bits: 8, unit: °C, comment: à 5 €}}}\n"
    )
    file = tmp_path / "bench.dbc"
    file.write_bytes(rendered.data)
    read = cantools.database.load_file(file, strict=True)
    assert isinstance(read, Database)
    signal = read.messages[0].signals[0]
    assert (signal.unit, signal.comment) == ("°C", "à 5 €")


def test_two_processes_write_the_same_bytes_and_load_cantools_only_when_rendering() -> None:
    script = (
        "import sys, busdesign.export.dbc as dbc\n"
        "from busdesign.catalogue.reader import read_catalogue\n"
        "assert not {'cantools', 'can', 'numpy'} & set(sys.modules), 'loaded too early'\n"
        "sys.stdout.buffer.write(dbc.render(read_catalogue('messages/saltmarsh.yaml')).data)\n"
    )
    written = []
    for seed in ("1", "2"):
        environment = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)}
        run = subprocess.run(
            [sys.executable, "-c", script], cwd=ROOT, env=environment, capture_output=True, check=False
        )
        assert run.returncode == 0, run.stderr.decode()
        written.append(run.stdout)
    assert written[0] == written[1] == render(the_demo()).data


def test_order_in_the_catalogue_does_not_matter() -> None:
    first = "  b: {id: 1, from: one, every: 5 ms, signals: {s: {bits: 8, start: 0}, t: {bits: 8, start: 8}}}\n"
    other = "  b: {id: 1, from: one, every: 5 ms, signals: {t: {bits: 8, start: 8}, s: {bits: 8, start: 0}}}\n"
    second = "  a: {id: 2, from: two, every: 5 ms}\n"
    assert render_written(first + second).text == render_written(second + other).text


def test_demo_leaves_out_what_dbc_has_no_word_for_and_says_so_once() -> None:
    rendered = render(the_demo())
    assert {loss.severity for loss in rendered.losses} == {Severity.ADVICE}
    assert all(loss.where is not None and loss.where.file.endswith("saltmarsh.yaml") for loss in rendered.losses)
    texts = [loss.text for loss in rendered.losses]
    for word in ("sample point", "harness", "clock", "check", "counter", "for_each"):
        assert sum(word in text for text in texts) == 1, word


def test_functions_processing_and_receivers_without_signals_are_left_out_by_name() -> None:
    text = """
catalogue: bench
bus: {bit_rate: 250 kbit/s}
nodes: {one: {}, two: {processing: 2 ms}}
codes: {two words: {0: no, 1: yes}}
messages:
  empty: {id: 1, from: one, to: two, every: 5 ms, comment: c}
  full: {id: 2, from: one, to: two, every: 5 ms, signals: {s: {bits: 1, codes: two words}}}
functions:
  through: {path: [one.asks, full], within: 20 ms}
"""
    rendered = render(parse_catalogue(text))
    assert losses(rendered) == [
        "catalogue.yaml:1:1: DBC has no word for codes by these names (signals keep their own copies): `two words`",
        "catalogue.yaml:3:1: DBC has no word for the sample point (87.5 %)",
        "catalogue.yaml:4:18: DBC has no word for the processing time of a node: `two`",
        "catalogue.yaml:7:33: DBC has no word for the receivers of a message without signals: `empty`",
        "catalogue.yaml:10:3: DBC has no word for functions and the time they promise: `through`",
    ]
    choices = load(rendered).messages[1].signals[0].choices
    assert {raw: str(word) for raw, word in (choices or {}).items()} == {0: "no", 1: "yes"}


@pytest.mark.parametrize(
    ("every", "written_ms", "exact"),
    [
        ("2.5 ms", 3, "2500 us"),
        ("333 us", 1, "333 us"),
        ("1.000000001 s", 1000, "1000000001 ns"),
        ("597 h", None, "2149200 s"),
    ],
)
def test_period_that_is_no_whole_millisecond_is_rounded_and_kept_exactly(
    every: str, written_ms: int | None, exact: str
) -> None:
    rendered = render_written(f"  m: {{id: 1, from: one, every: {every}}}\n")
    message = load(rendered).messages[0]
    assert message.cycle_time == written_ms
    assert message.dbc is not None
    assert message.dbc.attributes["MsgPeriod"].value == exact
    assert any(loss.startswith("catalogue.yaml:5:32: the period of `m`") for loss in losses(rendered))


def test_longest_period_in_range_is_no_loss() -> None:
    rendered = render_written("  m: {id: 1, from: one, every: 70000 ms}\n")
    assert load(rendered).messages[0].cycle_time == 70_000
    assert not any("period" in loss for loss in losses(rendered))


def test_family_with_a_rounded_period_says_it_once() -> None:
    members = "{word: [a, b], id: [1, 2], from: [one, two]}"
    rendered = render_written(f"  m: {{for_each: {members}, every: 2.5 ms}}\n")
    assert sum("the period of `m`" in loss for loss in losses(rendered)) == 1


def test_bit_rate_of_part_bits_is_rounded_and_said() -> None:
    bus = "bus: {bit_rate: 33.3333 kbit/s}"
    message = "messages: {m: {id: 1, from: one, every: 1 s}}"
    rendered = render(parse_catalogue(f"catalogue: x\n{bus}\nnodes: {{one: {{}}}}\n{message}\n"))
    assert load(rendered).buses[0].baudrate == 33_333
    assert "catalogue.yaml:2:1: the bit rate of 33.3333 kbit/s is written as 33333 bit/s" in "\n".join(losses(rendered))


def test_long_names_are_cut_apart_and_come_back_whole() -> None:
    stem = "position_of_the_undercarriage_leg_on_side_"
    signals = f"{{{stem}left: {{bits: 8, comment: l}}, {stem}right: {{bits: 8, codes: {{0: nil}}}}}}"
    rendered = render_written(f"  m: {{id: 1, from: one, every: 5 ms, signals: {signals}}}\n")
    assert stem + "left :" not in rendered.text
    left, right = load(rendered).messages[0].signals
    assert (left.name, left.comment) == (stem + "left", "l")
    assert right.choices is not None
    assert (right.name, str(right.choices[0])) == (stem + "right", "nil")
    assert sum("DBC cuts it to 32" in loss for loss in losses(rendered)) == 2


def test_start_value_beyond_floats_and_range_of_zero_are_said() -> None:
    far = "far: {bits: 64, initial: 9007199254740993}"
    rendered = render_written(f"  m: {{id: 1, from: one, every: 5 ms, signals: {{{far}}}}}\n")
    start = load(rendered).messages[0].signals[0].raw_initial
    assert start == 9_007_199_254_740_992
    rendered = render_written("  m: {id: 1, from: one, every: 5 ms, signals: {nil: {bits: 8, range: [0, 0]}}}\n")
    assert load(rendered).messages[0].signals[0].maximum is None
    assert any("the range 0 to 0 of `m.nil`" in loss for loss in losses(rendered))


def test_losses_stand_at_the_signal_or_the_wires_that_they_are_about() -> None:
    text = """
catalogue: bench
bus:
  bit_rate: 250 kbit/s
  harness: {trunk: 9 m}
nodes: {one: {}}
messages:
  m:
    id: 1
    from: one
    every: 5 ms
    signals:
      value: {bits: 8}
      count: {bits: 4, counts: 1}
      sum: {bits: 8, crc: crc8-j1850}
      nil: {bits: 8, range: [0, 0]}
"""
    said = dict(loss.split(": ", 1) for loss in losses(render(parse_catalogue(text))))
    assert said["catalogue.yaml:5:3"] == "DBC has no word for the harness"
    assert "counter" in said["catalogue.yaml:14:7"]
    assert "check" in said["catalogue.yaml:15:7"]
    assert "the range 0 to 0 of `m.nil`" in said["catalogue.yaml:16:7"]


if __name__ == "__main__":
    GOLDEN.write_bytes(render(the_demo()).data)
