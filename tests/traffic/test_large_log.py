"""The compiled reader of text logs says of any bytes what the plain one says."""

from io import BytesIO
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.traffic import files, formats, large_log, text_log
from busdesign.traffic.frames import Traffic
from busdesign.traffic.reading import MAX_LINE_BYTES

GOOD = b"(12.000540) can0 110#0200\n"
TELLING = b"()#. \t\r\n:@`/gG0f9RTrt_\x00\x7f\x80\xff\xc3\xa9"  # next to the borders of every class of characters


def require_same(data: bytes) -> None:
    fast, plain = large_log.read(BytesIO(data)), text_log.read(BytesIO(data))
    assert fast.traffic.equal(plain.traffic)
    assert fast.traffic.channels == plain.traffic.channels
    assert (fast.bad_lines, fast.bad_line_count) == (plain.bad_lines, plain.bad_line_count)


@settings(deadline=None)  # the first call compiles
@given(st.from_type(Traffic))
def test_every_written_log(traffic: Traffic) -> None:
    data = text_log.write(traffic)
    assert large_log.read(BytesIO(data)).traffic.equal(traffic)
    require_same(data)


@pytest.mark.parametrize("ends", [b"\n", b"\r\n", b" R\n", b" t\n", b" T\r\n", b"\t\n", b"  R\n", b"RT\n", b"\n\n"])
def test_every_way_to_end_a_line(ends: bytes) -> None:
    require_same(GOOD.replace(b"\n", ends) * 3)


@pytest.fixture
def line_by_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every line is first tried by the compiled loop."""
    monkeypatch.setattr(large_log, "_MAX_PLAIN_LINES", 1)


@pytest.mark.usefixtures("line_by_line")
@pytest.mark.parametrize(
    "line",
    [
        GOOD,
        b"(1.123456789) can10 1FFFFFFF#0123456789ABCDEF R\r\n",
        b"(1700000000.123456) a_long_name 20000080#0000000000000000\n",
        b"(12.000540001) can0 7F0#R8\n",
        b"(0.5) can0 7f0#8877665544332211\n",
    ],
)
def test_every_line_one_byte_away_from_a_good_one(line: bytes) -> None:
    known = line + GOOD  # both channels: from here on the compiled loop need not stop for a new one
    near = [line[:place] + line[place + 1 :] for place in range(len(line))]
    for byte in (bytes([value]) for value in range(256)):
        near += [line[:place] + byte + line[place + 1 :] for place in range(len(line))]
        near += [line[:place] + byte + line[place:] for place in range(len(line))]
    require_same(known + b"".join(near))


@pytest.mark.usefixtures("line_by_line")
@pytest.mark.parametrize("digits", range(1, 20))
def test_every_number_of_digits(digits: int) -> None:
    times = [b"9" * digits + b".0", b"0" * digits + b".5", b"1." + b"1" * digits]
    lines = [b"(%b) can0 110#01\n" % time for time in times]
    lines += [b"(1.0) can0 %b#01\n" % (b"1" * digits), b"(1.0) can0 110#%b\n" % (b"A" * digits)]
    require_same(GOOD + b"".join(lines))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\n",
        b"\xef\xbb\xbf" + GOOD,
        GOOD.strip(),
        GOOD + GOOD[:-4],
        GOOD + b"x" * (3 * MAX_LINE_BYTES) + b"\n" + GOOD,
        GOOD + b"x" * (3 * MAX_LINE_BYTES),
        GOOD + b"(9223372036.854775807) can0 110#\n(9223372036.854775808) can0 110#\n(9999999999.0) can0 110#\n",
        GOOD + b"(1.) can0 110#\n(.5) can0 110#\n(1) can0 110#\n",
        b"".join(b"(1.0) can%d 110#\n" % number for number in [*range(258), 0, 300, 255]),
    ],
)
def test_the_corners(data: bytes) -> None:
    require_same(data)


@pytest.mark.usefixtures("line_by_line")
@pytest.mark.parametrize("seed", range(6))
def test_damaged_logs(seed: int) -> None:
    rng = Random(seed)
    lines = [_line(rng) for _ in range(600)]
    damaged = bytearray(b"".join(lines))
    for _ in range(rng.choice([20, 300])):
        place = rng.randrange(len(damaged))
        match rng.randrange(3):
            case 0:
                damaged[place] = rng.choice(TELLING)
            case 1:
                damaged[place] ^= 1 << rng.randrange(8)
            case _:
                del damaged[place : place + rng.randrange(3)]
    require_same(bytes(damaged))


def _line(rng: Random) -> bytes:
    seconds = rng.choice([rng.randrange(10**9), 1_700_000_000, 1_700_000_000])
    time = f"{seconds}.{rng.choices([f'{rng.randrange(10**6):06d}', f'{rng.randrange(10**9):09d}', '5'], [8, 2, 1])[0]}"
    identifier = f"{rng.getrandbits(30):08X}" if rng.random() < 0.3 else f"{rng.getrandbits(11):03x}"
    data = rng.choices([rng.randbytes(rng.randrange(9)).hex(), "R", "R5", "#1AABB"], [20, 1, 1, 1])[0]
    return f"({time}) {rng.choice(['can0', 'can1', 'can10', 'can_of_length'])} {identifier}#{data}\n".encode()


def test_logs_longer_than_a_chunk(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(large_log, "_CHUNK_BYTES", 1000)
    rng = Random(1)
    require_same(
        b"".join(_line(rng) if rng.random() < 0.97 else b"x" * rng.randrange(9000) + b"\n" for _ in range(500))
    )


def test_a_storm_of_uncommon_lines_and_its_end() -> None:
    storm = b"(1.0) can0 20000080#0000000000000000\n"
    require_same(GOOD * 20 + storm * 700 + (GOOD + storm) * 300 + GOOD * 700 + storm + GOOD)


def test_a_large_file_takes_the_compiled_road(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "run.log"
    path.write_bytes(GOOD * 100 + b"rubbish\n")
    plain = files.read_traffic(path)
    monkeypatch.setattr(formats, "LARGE_BYTES", 1000)
    monkeypatch.delattr(text_log, "blocks")
    large = files.read_traffic(path)
    assert large.traffic.equal(plain.traffic)
    assert large.bad_lines == plain.bad_lines
