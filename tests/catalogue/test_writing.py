"""A catalogue written as YAML and read back is the same catalogue; another YAML library reads the same data."""

from dataclasses import replace
from fractions import Fraction
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from ruamel.yaml import YAML

from busdesign.answers.starter import CATALOGUE, starter_root
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import parse_catalogue, read_catalogue
from busdesign.catalogue.source import parse_source
from busdesign.catalogue.writing import catalogue_text
from tests.catalogue.random_catalogues import catalogues

DEMO = starter_root() / CATALOGUE
NETWORK = Path(__file__).parents[1] / "published/networks/sae_class_c.yaml"


@given(catalogues())
@settings(max_examples=30, deadline=None)
def test_what_is_written_reads_back_equal(catalogue: Catalogue) -> None:
    text = catalogue_text(catalogue)
    assert parse_catalogue(text) == catalogue
    assert catalogue_text(parse_catalogue(text)) == text


def test_the_demo_reads_back_equal_but_for_its_families() -> None:
    demo = read_catalogue(DEMO)
    single = replace(demo, messages=tuple(replace(message, family="") for message in demo.messages))
    assert parse_catalogue(catalogue_text(demo)) == single


def test_what_no_decimal_number_says_is_refused() -> None:
    demo = read_catalogue(DEMO)
    with pytest.raises(ValueError, match="1/3 has no end"):
        catalogue_text(replace(demo, bus=replace(demo.bus, bit_rate_bit_s=Fraction(1, 3))))


@given(catalogues())
@settings(max_examples=15, deadline=None)
def test_another_library_reads_the_same_data(catalogue: Catalogue) -> None:
    # ruamel.yaml resolves by YAML 1.2 as we do; what is written has no octal-looking number, on which it may differ.
    text = catalogue_text(catalogue)
    assert as_plain(YAML(typ="safe", pure=True).load(StringIO(text))) == parse_source(text, "x.yaml")[0].data


@pytest.mark.parametrize("path", [DEMO, NETWORK], ids=lambda path: path.name)
def test_both_libraries_read_real_files_alike(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    ours = parse_source(text, "x.yaml")[0].data
    assert as_plain(YAML(typ="safe", pure=True).load(StringIO(text))) == ours
    # PyYAML's own resolver follows YAML 1.1, to which the demo's word `off` is a truth value; nothing else differs.
    theirs = yaml.safe_load(text)
    if path == DEMO:
        assert theirs["codes"]["drive"][0] is False
        theirs["codes"]["drive"][0] = "off"
    assert theirs == ours


def as_plain(value: Any) -> Any:
    """``value`` with plain dicts and lists."""
    if isinstance(value, dict):
        return {key: as_plain(inner) for key, inner in value.items()}
    return [as_plain(inner) for inner in value] if isinstance(value, list) else value
