"""The guide cannot drift: every key of the two files stands in it, and its example of a model is one."""

import re
from pathlib import Path

import pytest
from pydantic import BaseModel

from busdesign.catalogue import draft as catalogue_draft
from busdesign.catalogue import draft_wires
from busdesign.catalogue.checksums import CHECKSUMS
from busdesign.scenario import draft as scenario_draft
from busdesign.virtual.node import Node

GUIDE = (Path(__file__).parent.parent / "docs" / "guide.md").read_text()
KEYS = sorted(
    {
        known.alias or name
        for module in (catalogue_draft, draft_wires, scenario_draft)
        for model in vars(module).values()
        if isinstance(model, type) and issubclass(model, BaseModel)
        for name, known in model.model_fields.items()
    }
)


@pytest.mark.parametrize("key", KEYS)
def test_every_key_is_explained(key: str) -> None:
    assert re.search(rf"[`{{ ]{key}[`:]", GUIDE), f"docs/guide.md says nothing of `{key}`"


def test_the_keys_were_found() -> None:
    assert {"bit_rate", "at_least_apart", "from", "data_id", "expect", "within"} <= set(KEYS)


@pytest.mark.parametrize("checksum", sorted(CHECKSUMS))
def test_every_check_is_named(checksum: str) -> None:
    assert f"`{checksum}`" in GUIDE


def test_the_example_model_is_one() -> None:
    (text,) = re.findall(r"```python\n(.*?)```", GUIDE, re.DOTALL)
    names: dict[str, object] = {}
    exec(text, names)
    panel = names["Panel"]
    assert isinstance(panel, type)
    assert issubclass(panel, Node)
    assert set(panel.shows) == {"switch", "lamp", "horn", "airspeed"}
    assert panel.settings == ("lamps",)
