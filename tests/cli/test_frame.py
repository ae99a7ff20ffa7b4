"""``busdesign frame``: what is typed, what is shown."""

import pytest

from tests.cli.running import Here

SHOWN = """\
data frame, identifier 0x110, 11 bits, length code 2, 2 bytes of data
66 bits from start of frame to the end of intermission, 3 of them stuff bits, CRC 0x69c9

field                        from bit  bits, stuff bits in brackets
---------------------------  --------  ----------------------------
start of frame                      0  0
identifier                          1  00100010000
remote transmission request        12  0(1)
identifier extension               14  0
r0                                 15  0
length code                        16  0010
data                               20  0000(1)00100000(1)0000
crc                                38  110100111001001
crc delimiter                      53  1
acknowledge slot                   54  0
acknowledge delimiter              55  1
end of frame                       56  1111111
intermission                       63  111

level, dominant low and recessive high:
▁▁▁▔▁▁▁▔▁▁▁▁▁▔▁▁▁▁▔▁▁▁▁▁▔▁▁▔▁▁▁▁▁▔▁▁▁▁▔▔▁▔▁▁▔▔▔▁▁▔▁▁▔▔▁▔▔▔▔▔▔▔▔▔▔▔

acknowledge slot shown dominant, as any receiver drives it
"""


def test_the_picture_of_a_frame(here: Here) -> None:
    ran = here("frame", "0x110", "--data", "0200")
    assert (ran.status, ran.out, ran.err) == (0, SHOWN, "")


@pytest.mark.parametrize("identifier", ["0x110", "0X110", "272"])
@pytest.mark.parametrize("data", ["0200", "0x0200", "02 00", "02:00", " 02_00 "])
def test_other_ways_to_write_the_same(here: Here, identifier: str, data: str) -> None:
    assert here("frame", identifier, "--data", data).out == SHOWN


def test_a_remote_frame_and_a_29_bit_identifier(here: Here) -> None:
    ran = here("frame", "0x18FE0010", "--extended", "--remote", "--length", "3", "--json")
    assert ran.status == 0
    fields = {field["name"]: field["bits"] for field in ran.answer["fields"]}
    assert "data" not in fields
    assert fields["length code"] == "0011"
    assert (ran.answer["length_bytes"], ran.answer["length_code"]) == (0, 3)
    ran = here("frame", "0x18FE0010", "--extended", "--remote", "--length", "3")
    assert ran.out.startswith("remote frame, identifier 0x18FE0010, 29 bits, length code 3, 0 bytes of data\n")


def test_a_length_code_above_eight_goes_with_eight_bytes(here: Here) -> None:
    ran = here("frame", "1", "--data", "00" * 8, "--length", "15", "--json")
    assert (ran.status, ran.answer["length_code"], ran.answer["length_bytes"]) == (0, 15, 8)


def test_the_lowest_and_the_highest_identifiers(here: Here) -> None:
    for words in (["0"], ["0x7FF"], ["0", "--extended"], ["0x1FFFFFFF", "--extended"]):
        assert here("frame", *words).status == 0


@pytest.mark.parametrize(
    ("words", "text", "hint"),
    [
        ("0x800", "identifier 0x800 is not within 0..0x7ff", "`--extended` makes it a 29-bit identifier"),
        ("0x20000000", "identifier 0x20000000 is not within 0..0x7ff", None),
        ("0x20000000 --extended", "identifier 0x20000000 is not within 0..0x1fffffff", None),
        ("-1", "identifier -0x1 is not within 0..0x7ff", None),
        ("-- -1", "identifier -0x1 is not within 0..0x7ff", None),
        ("0110", "`0110` is no identifier", "write it like `0x110` or `272`"),
        ("0x", "`0x` is no identifier", "write it like"),
        ("110h", "`110h` is no identifier", "write it like"),
        ("1_0", "`1_0` is no identifier", "write it like"),
        ("١", "`١` is no identifier", "write it like"),
        ("9" * 5000, "` is no identifier", "write it like"),
        ("0x110 --data 020", "`020` has an odd number of digits", "write two digits a byte, like `0200`"),
        ("0x110 --data 0g", "`0g` is not hexadecimal", "write two digits a byte, like `0200`"),
        ("0x110 --data ٠٠", "`٠٠` is not hexadecimal", "write two digits a byte"),
        ("0x110 --data 001122334455667788", "9 data bytes are too many", None),
        ("0x110 --remote --data 00", "a remote frame carries no data", "leave out `--data`, or `--remote`"),
        ("0x110 --length 3", "length code 3 contradicts 0 data bytes", "leave out `--length`"),
        ("0x110 --data 0011 --length 3", "length code 3 contradicts 2 data bytes", "leave out `--length`"),
        ("0x110 --remote --length 16", "length code 16 is not within 0..15", None),
        ("0x110 --remote --length -1", "`-1` is no length code", "write a number from 0 to 15"),
        ("0x110 --remote --length two", "`two` is no length code", "write a number from 0 to 15"),
    ],
)
def test_a_frame_that_cannot_be(here: Here, words: str, text: str, hint: str | None) -> None:
    ran = here("frame", *words.split())
    assert (ran.status, ran.out) == (2, "")
    first, *others = ran.err.splitlines()
    assert first.startswith("error: ")
    assert first.endswith(" (no-such-frame)")
    assert text in first
    assert len(first) < 150
    assert others[-1] == "1 error"
    hints = [line for line in others if line.startswith("    hint: ")]
    assert len(hints) == (0 if hint is None else 1)
    assert hint is None or hint in hints[0]


def test_all_that_is_wrong_at_once(here: Here) -> None:
    ran = here("frame", "0x11g", "--data", "0", "--length", "x")
    assert ran.err.count("(no-such-frame)") == 3
    assert ran.err.endswith("\n\n3 errors\n")
