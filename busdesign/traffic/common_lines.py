"""Compiled loops over the lines of a text log that need no thought; every other line is left to `text_log`.

``read_common_lines`` takes data and error frames written in the usual way, eight characters at a time. A line that it
does not know is tried character by character: times with any number of digits, remote frames, other ends of the line.
Both ways take only what `text_log` takes, and make the same of it.

Nothing here goes beyond the end of a line: each step looks at the bytes it goes over, and only the last one goes over a
newline. So it is enough that the loop over lines knows where the last newline is, and that words may be loaded from a
few bytes behind it. What a mispredicted branch costs decides the speed: the data, whose length differs from line to
line, are read without one.
"""

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from busdesign.catalogue.model import MAX_CLASSICAL_BYTES, MAX_EXTENDED_IDENTIFIER
from busdesign.compiled import compiled, compiled_in_place
from busdesign.traffic.swar import decimal, first_highest, hexadecimal, load_word, not_decimal, packed, trailing_zeros
from busdesign.traffic.text_log import ERROR_BIT
from busdesign.units import NS_PER_S
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE

_MAX_SECONDS = (2**63 - 1) // NS_PER_S - 1  # the plain reader judges times near the last one that can be kept
_MAX_DECIMALS = 9
_MAX_ERROR_IDENTIFIER = MAX_EXTENDED_IDENTIFIER | ERROR_BIT
_OPEN, _CLOSE, _POINT, _HASH, _SPACE, _RETURN, _NEWLINE = b"().# \r\n"
_RECEIVED, _TRANSMITTED = b"RT"  # the first of which also marks a remote frame
_LOWER = 0x20  # the bit that makes an ASCII letter small
_NO_DIGIT = 255
_DIGITS = np.full(256, _NO_DIGIT, np.uint8)  # value of a hex digit; decimal ones are those below 10
for _value, _digit in enumerate("0123456789abcdef"):
    _DIGITS[[ord(_digit), ord(_digit.upper())]] = _value
_STEPS_NS = np.array([10 ** (9 - decimals) for decimals in range(10)], np.int64)  # of the last of so many decimals

_LOWEST = np.array([2 ** (8 * count) - 1 for count in range(9)], np.uint64)  # masks of the first bytes of a word
_ALL = np.uint64(2**64 - 1)
_TWO_ZEROS = np.uint64(int.from_bytes(b"00", "little"))
_CLOSED = np.uint64(int.from_bytes(b") ", "little"))
_16, _32, _48 = np.uint64(16), np.uint64(32), np.uint64(48)


Names: TypeAlias = tuple[NDArray[np.uint8], NDArray[np.int64], NDArray[np.uint64], NDArray[np.uint64]]
"""Of each channel its name with a space behind it, uint8 [n, room]; that length; its first eight bytes; their mask."""

Columns: TypeAlias = tuple[NDArray[Any], ...]
"""Those of ``Traffic`` in its order."""


@compiled
def read_common_lines(
    data: NDArray[np.uint8],
    place: int,
    end: int,
    names: Names,
    row: int,
    columns: Columns,
) -> tuple[int, int]:
    """Fill the columns from ``row`` on with the lines of ``data`` from ``place`` on, before ``end``, behind a newline.

    Returns the rows filled, and where the first line is that was not taken. ``data`` goes on for 64 bytes behind
    ``end``.
    """
    while row < columns[0].size and place < end:
        row, place = _by_words(data, place, end, names, row, columns)
        if row == columns[0].size or place == end:
            break
        taken = _by_characters(data, place, names, row, columns)
        if taken < 0:
            break
        row, place = row + 1, taken
    return row, place


@compiled
def _by_words(
    data: NDArray[np.uint8],
    place: int,
    end: int,
    names: Names,
    row: int,
    columns: Columns,
) -> tuple[int, int]:
    """The same, up to the first line that is not written in the usual way."""
    _, name_lengths, name_words, name_masks = names
    end_ns, identifiers, flags, lengths, channels, payloads = columns
    seen_0, seen_1, mask_0, mask_1 = np.uint64(0), np.uint64(0), _ALL, _ALL  # no line begins with a zero byte
    seconds_ns, behind_point, channel = 0, 0, 0
    while row < end_ns.size and place < end:
        if (load_word(data, place) & mask_0) != seen_0 or (load_word(data, place + 8) & mask_1) != seen_1:
            seconds, at = _seconds(data, place)
            if seconds < 0:
                break
            seconds_ns, behind_point = seconds * NS_PER_S, at - place
            mask_0, mask_1 = _LOWEST[min(behind_point, 8)], _LOWEST[max(behind_point - 8, 0)]
            seen_0, seen_1 = load_word(data, place) & mask_0, load_word(data, place + 8) & mask_1

        at = place + behind_point
        word = load_word(data, at)
        six = word << _16 | _TWO_ZEROS
        if word >> _48 == _CLOSED and not_decimal(six) == 0:
            within_ns = decimal(six) * 1000
            at += 8
        else:
            within_ns = _nine_decimals(data, at)
            if within_ns < 0:
                break
            at += 11
        is_same = channel < name_lengths.size and load_word(data, at) & name_masks[channel] == name_words[channel]
        if is_same and name_lengths[channel] <= 8:
            at += name_lengths[channel]
        else:
            channel, at = _after_channel(data, at, names)
            if channel < 0:
                break
        identifier, flag, at = _identifier(data, at)
        payload, digits, at = _data(data, at)
        if identifier < 0 or digits & 1 != 0 or data[at] != _NEWLINE:
            break

        end_ns[row] = seconds_ns + within_ns
        identifiers[row], flags[row] = identifier, flag
        lengths[row], channels[row] = digits >> 1, channel
        payloads[row] = payload & _LOWEST[digits >> 1]
        row += 1
        place = at + 1
    return row, place


@compiled
def _nine_decimals(data: NDArray[np.uint8], at: int) -> Any:
    """The ns that nine decimals and `) ` write; -1 if something else stands there."""
    word = load_word(data, at)
    last = _DIGITS[data[at + 8]]
    if not_decimal(word) != 0 or last > 9 or data[at + 9] != _CLOSE or data[at + 10] != _SPACE:
        return np.int64(-1)
    return decimal(word) * 10 + np.int64(last)


@compiled_in_place
def _identifier(data: NDArray[np.uint8], at: int) -> tuple[Any, Any, int]:
    """Identifier, flags and the place behind `#`; the first is -1 if they are not common."""
    if data[at + 3] == _HASH:
        high, middle, low = _DIGITS[data[at]], _DIGITS[data[at + 1]], _DIGITS[data[at + 2]]
        identifier = np.int64(high) << 8 | np.int64(middle) << 4 | np.int64(low)
        return (identifier if high < 8 and (middle | low) < 16 else -1), np.uint8(0), at + 4
    values, wrong = hexadecimal(load_word(data, at))
    identifier = np.int64(first_highest(packed(values)))
    is_common = wrong == 0 and data[at + 8] == _HASH and identifier <= _MAX_ERROR_IDENTIFIER
    flag = np.uint8(ERROR if identifier > MAX_EXTENDED_IDENTIFIER else EXTENDED)
    return (identifier & MAX_EXTENDED_IDENTIFIER if is_common else -1), flag, at + 9


@compiled_in_place
def _data(data: NDArray[np.uint8], at: int) -> tuple[Any, Any, int]:
    """What up to 16 hex digits write, how many there are, and the place behind them; above them it is undefined."""
    values, wrong = hexadecimal(load_word(data, at))
    more_values, more_wrong = hexadecimal(load_word(data, at + 8))
    digits = trailing_zeros(wrong) >> 3
    digits += (trailing_zeros(more_wrong) >> 3) & -(digits >> 3)
    return packed(values) | packed(more_values) << _32, digits, at + digits


@compiled
def _seconds(data: NDArray[np.uint8], place: int) -> tuple[int, int]:
    """The whole seconds of the line at ``place`` and the place behind the point; -1 if they are not common."""
    if data[place] != _OPEN:
        return -1, place
    at = place + 1
    seconds = 0
    while _DIGITS[data[at]] < 10 and seconds <= _MAX_SECONDS:
        seconds = 10 * seconds + _DIGITS[data[at]]
        at += 1
    if at == place + 1 or at > place + 11 or seconds > _MAX_SECONDS or data[at] != _POINT:
        return -1, place
    return seconds, at + 1


@compiled
def _after_channel(
    data: NDArray[np.uint8],
    at: int,
    names: Names,
) -> tuple[int, int]:
    """Which known channel is written at ``at``, and the place behind it; -1 if none is."""
    written, name_lengths, name_words, name_masks = names
    word = load_word(data, at)
    for channel in range(name_lengths.size):
        if word & name_masks[channel] == name_words[channel]:
            same = min(8, name_lengths[channel])
            while same < name_lengths[channel] and data[at + same] == written[channel, same]:
                same += 1
            if same == name_lengths[channel]:
                return channel, at + same
    return -1, at


@compiled
def _by_characters(
    data: NDArray[np.uint8],
    place: int,
    names: Names,
    row: int,
    columns: Columns,
) -> int:
    """Fill one row from the line at ``place``; the place behind the line, or -1 if it is for the plain reader."""
    seconds, at = _seconds(data, place)
    if seconds < 0:
        return -1
    fraction, decimals = 0, 0
    while _DIGITS[data[at]] < 10 and decimals < _MAX_DECIMALS:
        fraction = 10 * fraction + _DIGITS[data[at]]
        decimals += 1
        at += 1
    if decimals == 0 or data[at] != _CLOSE or data[at + 1] != _SPACE:
        return -1
    channel, at = _after_channel(data, at + 2, names)
    if channel < 0:
        return -1
    identifier, flag, at = _identifier(data, at)
    if identifier < 0:
        return -1

    payload, length = np.uint64(0), 0
    if data[at] & ~_LOWER == _RECEIVED:
        if flag == ERROR:
            return -1
        flag |= REMOTE
        at += 1
        if _DIGITS[data[at]] <= MAX_CLASSICAL_BYTES:
            length = _DIGITS[data[at]]
            at += 1
    else:
        payload, digits, at = _data(data, at)
        if digits & 1:
            return -1
        length = digits >> 1
        payload &= _LOWEST[length]
    if data[at] == _SPACE and (data[at + 1] & ~_LOWER == _RECEIVED or data[at + 1] & ~_LOWER == _TRANSMITTED):
        at += 2
    if data[at] == _RETURN:
        at += 1
    if data[at] != _NEWLINE:
        return -1

    end_ns, identifiers, flags, lengths, channels, payloads = columns
    end_ns[row] = seconds * NS_PER_S + fraction * _STEPS_NS[decimals]
    identifiers[row], flags[row] = identifier, flag
    lengths[row], channels[row], payloads[row] = length, channel, payload
    return at + 1


@compiled
def after_newline(data: NDArray[np.uint8], place: int, end: int) -> int:
    """The place behind the first newline of ``data`` from ``place`` on; ``end`` if there is none before it."""
    while place < end:
        place += 1
        if data[place - 1] == _NEWLINE:
            return place
    return end


@compiled
def after_last_newline(data: NDArray[np.uint8], end: int) -> int:
    """The place behind the last newline of ``data`` before ``end``; 0 if there is none."""
    while end > 0 and data[end - 1] != _NEWLINE:
        end -= 1
    return end
