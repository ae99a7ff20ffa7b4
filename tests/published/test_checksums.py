"""Checks in payloads against catalogued check values and published test vectors.

Sources and their status stand beside each value in values/crc.yaml.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from busdesign.catalogue.checksums import CHECKSUMS, Checksum, checksum_of
from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.reader import parse_catalogue

VALUES: dict[str, Any] = yaml.safe_load((Path(__file__).parent / "values" / "crc.yaml").read_text(encoding="utf-8"))
OURS = {"CRC-8/SAE-J1850": "crc8-j1850", "CRC-8/AUTOSAR (8H2F)": "crc8-2f"}
PUBLISHED = [algorithm for algorithm in VALUES["algorithms"] if algorithm["name"] in OURS]
VECTOR_KEYS = {"crc8_j1850": "crc8-j1850", "crc8_2f": "crc8-2f"}


@pytest.mark.parametrize("published", PUBLISHED, ids=lambda published: str(published["name"]))
def test_parameters_and_check_value(published: dict[str, Any]) -> None:
    ours = CHECKSUMS[OURS[published["name"]]]
    written = (int(published[key], 16) for key in ("poly", "init", "xorout"))
    assert (ours.width, ours.polynomial, ours.start, ours.final_xor) == (published["width"], *written)
    assert ours.reflected is published["refin"] is published["refout"]
    assert checksum_of(ours.name, VALUES["check_string"].encode()) == int(published["check"], 16)


@pytest.mark.parametrize("published", PUBLISHED, ids=lambda published: str(published["name"]))
@given(data=st.binary(max_size=20))
def test_residue(published: dict[str, Any], data: bytes) -> None:
    """The register after data and its own check, before the final exclusive or, is the published residue."""
    ours = CHECKSUMS[OURS[published["name"]]]
    whole = data + checksum_of(ours.name, data).to_bytes(1, "big")
    assert checksum_of(ours.name, whole) ^ ours.final_xor == int(published["residue"], 16)


@pytest.mark.parametrize("vector", VALUES["autosar_vectors"], ids=lambda vector: str(vector["data"]))
@pytest.mark.parametrize("key", VECTOR_KEYS)
def test_published_vectors(vector: dict[str, Any], key: str) -> None:
    assert checksum_of(VECTOR_KEYS[key], bytes.fromhex(vector["data"])) == int(vector[key], 16)


@pytest.mark.parametrize(
    "vector", [v for v in VALUES["autosar_vectors"] if len(v["data"]) <= 14], ids=lambda v: v["data"]
)
@pytest.mark.parametrize("key", VECTOR_KEYS)
def test_published_vectors_through_a_codec(vector: dict[str, Any], key: str) -> None:
    """The vector's bytes as signals of one byte each, the check behind them."""
    data = bytes.fromhex(vector["data"])
    signals = ", ".join(f"b{n}: {{bits: 8}}" for n in range(len(data)))
    catalogue = parse_catalogue(
        "catalogue: x\nbus: {bit_rate: 250 kbit/s}\nnodes: {a: {}}\nmessages:\n"
        f"  m: {{from: a, every: 1 s, signals: {{{signals}, check: {{bits: 8, crc: {VECTOR_KEYS[key]}}}}}}}\n"
    )
    payload = MessageCodec(catalogue.message("m")).encode({f"b{n}": byte for n, byte in enumerate(data)})
    assert payload == data + bytes([int(vector[key], 16)])


def bit_by_bit(checksum: Checksum, data: bytes) -> int:
    """The definition: one bit after another through the register, least significant bit first where reflected."""
    register, mask = checksum.start, (1 << checksum.width) - 1
    for byte in data:
        for bit in range(8) if checksum.reflected else range(7, -1, -1):
            top = register >> (checksum.width - 1) & 1
            register = (register << 1 & mask) ^ (checksum.polynomial if top ^ (byte >> bit & 1) else 0)
    if checksum.reflected:
        register = int(f"{register:0{checksum.width}b}"[::-1], 2)
    return register ^ checksum.final_xor


@pytest.mark.parametrize("name", CHECKSUMS)
@given(data=st.binary(max_size=12))
def test_every_algorithm_is_that_of_its_parameters(name: str, data: bytes) -> None:
    assert checksum_of(name, data) == bit_by_bit(CHECKSUMS[name], data)


@given(st.binary(max_size=40))
def test_16_and_32_bits_agree_with_the_standard_library(data: bytes) -> None:
    import binascii
    import zlib

    assert checksum_of("crc16-ccitt", data) == binascii.crc_hqx(data, 0xFFFF)
    assert checksum_of("crc32", data) == zlib.crc32(data)


def test_unknown_algorithm() -> None:
    with pytest.raises(KeyError):
        checksum_of("crc8", b"")


def _encoded(signals: str, values: Mapping[str, object], count: int) -> bytes:
    """The payload of a message with ``signals``, which also holds its own check."""
    text = (
        "catalogue: x\nbus: {bit_rate: 250 kbit/s}\nnodes: {a: {}}\n"
        f"messages: {{m: {{from: a, every: 1 s, signals: {{{signals}}}}}}}\n"
    )
    codec = MessageCodec(parse_catalogue(text).message("m"))
    payload = codec.encode(values, count)
    assert codec.check_holds(payload)
    assert not codec.check_holds(payload[:-1] + bytes([payload[-1] ^ 1]))
    return payload


PROFILE_1, PROFILE_2, PROFILE_5 = (VALUES[f"e2e_profile{number}"] for number in (1, 2, 5))
WAYS_OF_PROFILE_1 = {"both": "both", "alt": "alternate", "low": "low", "nibble": "low-zero"}


@pytest.mark.parametrize("vector", PROFILE_1["vectors"], ids=lambda vector: vector["mode"])
@pytest.mark.parametrize("count", [0, 1])
def test_profile_1(vector: dict[str, Any], count: int) -> None:
    """In mode `nibble`, the data id's third nibble is sent beside the counter: a constant."""
    way, number = WAYS_OF_PROFILE_1[vector["mode"]], PROFILE_1["data_id"]
    nibble = f"nibble: {{bits: 4, start: 12, constant: {int(number, 16) >> 8}}}, " if way == "low-zero" else ""
    signals = (
        f"check: {{bits: 8, start: 0, crc: crc8-j1850-zero, data_id: {number}, data_id_as: {way}}}, "
        f"counter: {{bits: 4, start: 8, counts: 1, modulo: 15}}, {nibble}data: {{bits: 48, start: 16}}"
    )
    assert _encoded(signals, {"data": 0}, count) == bytes.fromhex(vector[f"counter{count}"])
    assert _encoded(signals, {"data": 0}, count + 15) == _encoded(signals, {"data": 0}, count)  # 15 is never sent


@pytest.mark.parametrize("vector", PROFILE_2["vectors"], ids=lambda vector: vector["out"])
def test_profile_2(vector: dict[str, Any]) -> None:
    """The counter chooses the data id; it and the check are written over the first two bytes of ``payload_in``."""
    numbers = {"16 zeros": [0] * 16, "0..15": list(range(16))}[vector["id_list"]]
    rest = bytes.fromhex(vector["payload_in"])[2:]
    signals = (
        f"check: {{bits: 8, start: 0, crc: crc8-2f, data_ids: {numbers}}}, "
        "counter: {bits: 4, start: 8, counts: 1}, data: {bits: 48, start: 16}"
    )
    values = {"data": int.from_bytes(rest, "little")}
    assert _encoded(signals, values, vector["counter"]) == bytes.fromhex(vector["out"])


@pytest.mark.parametrize("vector", PROFILE_5["vectors"], ids=lambda vector: vector["out"])
def test_profile_5(vector: dict[str, Any]) -> None:
    number = PROFILE_5["data_id"]
    signals = (
        f"check: {{bits: 16, start: 0, crc: crc16-ccitt, data_id: {number}, data_id_as: behind}}, "
        f"counter: {{bits: 8, start: 16, counts: 1}}, data: {{bits: {8 * (vector['length'] - 3)}, start: 24}}"
    )
    assert _encoded(signals, {"data": 0}, vector["counter"]) == bytes.fromhex(vector["out"])
