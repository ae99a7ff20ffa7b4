"""The demo catalogue, damaged at random: it reads, or every finding stands at a place inside the file."""

from pathlib import Path
from tempfile import NamedTemporaryFile

from hypothesis import example, given, settings
from hypothesis import strategies as st

from busdesign.catalogue.codec import codecs_of
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import parse_catalogue, read_catalogue
from busdesign.catalogue.text_file import lines_of
from busdesign.errors import CatalogueError
from busdesign.findings import Finding

DEMO = (Path(__file__).parents[2] / "messages" / "saltmarsh.yaml").read_text(encoding="utf-8")
LINES = DEMO.splitlines()

# Scalars that a slip of the hand, another tool or another habit could leave where something else belongs.
WORDS = r"""
    ~ null true no on .nan .inf -1 0 1 5.5 1e999 0x1FFFFFFFF 010 0o17 1:30 99999999999999999999999999 '' "\e\0" '{leg}'
    {leg} {} [] [1] {1:2} {a:} [[]] {?a:b} *x &x &x{<<:*x} !!int !a <<: | > % @ ` - ? : # --- ... 50ms 5m -5ms 1e99h
    0.0 panel strut_left leg_state leg_report_nose signals never extended bits 64 65 511 crc8-j1850 \u2028 \ufeff
"""
SCALARS = st.sampled_from(WORDS.split())


def inside(finding: Finding, file: str, lines: tuple[str, ...]) -> bool:
    where = finding.where
    if where is None or where.file != file or not 1 <= where.line <= len(lines):
        return False
    return where.quoted == lines[where.line - 1] and 1 <= where.column <= len(where.quoted) + 1


def places_are_inside(text: str) -> Catalogue | None:
    try:
        return parse_catalogue(text, "damaged.yaml")
    except CatalogueError as refused:
        findings = refused.findings
    lines = lines_of(text.removeprefix("\ufeff"))
    assert findings
    assert [finding for finding in findings if not inside(finding, "damaged.yaml", lines)] == []
    assert all(finding.text and (finding.text + finding.fix).isprintable() for finding in findings)
    return None


def what_reads_is_usable(text: str) -> None:
    catalogue = places_are_inside(text)
    if catalogue is not None:
        for name, codec in codecs_of(catalogue.messages).items():
            payload = codec.encode({}, count=3)
            assert len(payload) == catalogue.message(name).length_bytes
            assert codec.check_holds(payload) in (True, None)


@st.composite
def damaged_lines(draw: st.DrawFn) -> str:
    lines = list(LINES)
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, len(lines) - 1))
        kind = draw(st.sampled_from(["delete", "double", "move", "indent", "cut", "comment"]))
        if kind == "delete":
            del lines[at]
        elif kind == "double":
            lines.insert(at, lines[at])
        elif kind == "move":
            lines.insert(draw(st.integers(0, len(lines) - 1)), lines.pop(at))
        elif kind == "indent":
            lines[at] = draw(st.sampled_from([" ", "  ", "    ", "\t"])) + lines[at].lstrip(
                draw(st.sampled_from(["", " "]))
            )
        elif kind == "cut":
            lines[at] = lines[at][: draw(st.integers(0, len(lines[at])))]
        else:
            lines[at] = lines[at].replace(draw(st.sampled_from(list(":,{}[]'#"))), "")
    return "\n".join(lines)


@st.composite
def damaged_words(draw: st.DrawFn) -> str:
    text = DEMO
    for _ in range(draw(st.integers(1, 3))):
        words = [at for at in range(1, len(text)) if text[at].isalnum() and text[at - 1] in " [{:,"]
        start = draw(st.sampled_from(words))
        end = next((at for at in range(start, len(text)) if text[at] in ":,]}\n"), len(text))
        text = text[:start] + draw(SCALARS) + text[end:]
    return text


@st.composite
def damaged_characters(draw: st.DrawFn) -> str:
    text = DEMO
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(text)))
        put = draw(st.one_of(st.text(max_size=3), st.sampled_from(list(":,{}[]&*!|>'\"%@`#-?\t\r\n\x85\0"))))
        text = text[:at] + put + text[at + draw(st.integers(0, 3)) :]
    return text


@settings(max_examples=40, deadline=None)
@given(damaged_lines())
def test_damaged_lines(text: str) -> None:
    what_reads_is_usable(text)


@settings(max_examples=50, deadline=None)
@given(damaged_words())
def test_damaged_words(text: str) -> None:
    what_reads_is_usable(text)


@settings(max_examples=40, deadline=None)
@given(damaged_characters())
@example("\ufeff" + DEMO)
@example(DEMO.replace("\n", "\r\n"))
@example(DEMO.replace("\n", "\r"))
def test_damaged_characters(text: str) -> None:
    what_reads_is_usable(text)


@settings(max_examples=60, deadline=None)
@given(st.binary(min_size=1, max_size=6), st.integers(0, len(DEMO)))
def test_damaged_bytes(junk: bytes, at: int) -> None:
    raw = DEMO.encode()[:at] + junk + DEMO.encode()[at:]
    with NamedTemporaryFile(suffix=".yaml") as file:
        Path(file.name).write_bytes(raw)
        try:
            read_catalogue(file.name)
        except CatalogueError as refused:
            findings = refused.findings
        else:
            return
    lines = lines_of(raw.decode("utf-8-sig", errors="replace"))
    assert [finding for finding in findings if not inside(finding, file.name, lines)] == []
