"""Reading ``models``, ``payload`` and ``drift``: what plays the nodes, and how their clocks run."""

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType
from typing import Any

from busdesign.findings import Place, did_you_mean, nearest, shown
from busdesign.scenario.draft import DRIFTS, FILLINGS
from busdesign.scenario.model import DriftWord, Filling, ModelChoice, PayloadChoice
from busdesign.scenario.project import FOLDERS, ModelPathError, model_file
from busdesign.scenario.sections import Sections
from busdesign.units import QuantityError, read_quantity

MOST_DRIFT = Fraction(1, 10)


def read_models(sections: Sections) -> Mapping[str, ModelChoice]:
    """The models by the nodes they play."""
    models = {}
    for node, written in sections.mapping("models").items():
        sections.is_node(node, sections.source.of_key(("models", node)))
        choice = _model(node, written, sections)
        if choice is not None:
            models[node] = choice
    return MappingProxyType(models)


def _model(node: str, written: Any, sections: Sections) -> ModelChoice | None:
    trail = ("models", node)
    where, settings = sections.source.of_value(trail), {}
    if isinstance(written, dict):
        settings = _settings(node, written, sections)
        if "model" not in written:
            near = next((key for key in settings if nearest(key, ["model"])), None)
            fix = f"did you mean `model` for `{near}`?" if near else "add `model:`, such as `sim/strut.py:Strut`"
            sections.complain("missing-key", where, "`model` is missing", fix)
            return None
        written, where = written["model"], sections.source.of_value((*trail, "model"))
    if not isinstance(written, str):
        text = "expected a model such as `sim/panel.py:Panel`"
        sections.complain("wrong-value", where, text, "or a mapping such as `{model: sim/strut.py:Strut, leg: left}`")
        return None
    found = _class_in_file(written, where, sections)
    return found and ModelChoice(*found, MappingProxyType(settings), sections.source.of_key(trail))


def _settings(node: str, written: dict[Any, Any], sections: Sections) -> dict[str, Any]:
    for key in written:
        if not isinstance(key, str) or not key.isidentifier():
            where = sections.source.of_key(("models", node, key))
            text = f"{shown(key)} cannot be the name of a model's setting"
            sections.complain("wrong-value", where, text, "use letters, digits and _, no digit first")
    return {key: value for key, value in written.items() if key != "model"}


def _class_in_file(written: str, where: Place, sections: Sections) -> tuple[Path, str] | None:
    if sections.root is None:
        text = "no folder above this file holds both " + " and ".join(f"`{name}/`" for name in FOLDERS)
        sections.complain("no-project", where, text, "models are found from the folder that does; make both, or move")
        return None
    try:
        return model_file(written, sections.root)
    except ModelPathError as refused:
        sections.complain("model-file", where, refused.text, refused.fix)
        return None


def read_payload(sections: Sections) -> PayloadChoice:
    """What the messages of nodes without a model carry."""
    written = sections.data.get("payload", "random")
    if not isinstance(written, dict):
        return PayloadChoice(written if written in FILLINGS else "random")
    others: Filling = "random"
    fixed: dict[str, bytes] = {}
    for name, value in sections.mapping("payload").items():
        if name == "others" and isinstance(value, str) and value in FILLINGS:
            others = "zero" if value == "zero" else "random"
            continue
        data = _bytes(name, value, sections)
        if data is not None:
            fixed[name] = data
    return PayloadChoice(others, MappingProxyType(fixed))


def _bytes(name: str, value: Any, sections: Sections) -> bytes | None:
    key, where = sections.source.of_key(("payload", name)), sections.source.of_value(("payload", name))
    data = _from_hex(value, where, sections)
    if sections.catalogue is None:
        return data
    messages = {message.name: message for message in sections.catalogue.messages}
    if name not in messages:
        also = "; `others` takes `zero` or `random`" if name == "others" else ""
        sections.complain("unknown-message", key, f"there is no message `{name}`{also}", did_you_mean(name, messages))
        return data
    sender, length_bytes = messages[name].sender, messages[name].length_bytes
    if sender in sections.mapping("models"):
        text = f"`{name}` is sent by `{sender}`, whose model says what is in it"
        sections.complain("payload-of-a-model", key, text, f"leave out this entry, or the model of `{sender}`")
    if data is not None and len(data) != length_bytes:
        text = f"{len(data)} bytes for `{name}`, which has {length_bytes}"
        sections.complain("payload-length", where, text, f"write {2 * length_bytes} hex digits")
    return data


def _from_hex(value: Any, where: Place, sections: Sections) -> bytes | None:
    if not isinstance(value, str):
        _forget_octal(where, sections)
        sections.complain("wrong-value", where, "bytes are hex digits in quotes", 'write them like `"0102"`')
        return None
    try:
        return bytes.fromhex(value)
    except ValueError:
        text = f"{shown(value)} is not bytes in hex, two digits each"
        sections.complain("wrong-value", where, text, 'write them like `"0102"`')
        return None


def _forget_octal(where: Place, sections: Sections) -> None:
    """Bytes without quotes may look like an octal number; the advice for numbers would mislead here."""
    sections.findings[:] = [
        found for found in sections.findings if found.where != where or found.rule != "leading-zero"
    ]


def read_drift(sections: Sections) -> DriftWord | Mapping[str, Fraction]:
    """How wrong the clocks are: a word, or a fraction of one for each node named."""
    written = sections.data.get("drift", "none")
    if not isinstance(written, dict):
        return written if written in DRIFTS else "none"
    drifts = {}
    for node, value in sections.mapping("drift").items():
        sections.is_node(node, sections.source.of_key(("drift", node)))
        where = sections.source.of_value(("drift", node))
        try:
            drift = read_quantity(value, "ratio", lambda ratio: abs(ratio) <= MOST_DRIFT)
        except QuantityError as refused:
            sections.complain("wrong-value", where, refused.text, refused.fix)
            continue
        if abs(drift) > MOST_DRIFT:
            sections.complain(
                "wrong-value", where, f"{shown(value)} is not how clocks drift", "allowed: -10 % to +10 %"
            )
        drifts[node] = drift
    return MappingProxyType(drifts)
