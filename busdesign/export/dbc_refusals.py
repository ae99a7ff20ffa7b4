"""What a DBC file cannot be made of: names and texts that would break it, or that would read back as something else.

The catalogue's own rules hold already; here is only what DBC adds to them.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from busdesign.catalogue.model import Catalogue, Message
from busdesign.export.dbc_attributes import TAG_SEPARATOR
from busdesign.export.dbc_pages import pages_refused, written_signals
from busdesign.findings import Finding, Place, Severity

ENCODING = "cp1252"  # DBC files name no encoding; readers take this one (common practice, no source)

_KEYWORDS = """
    BA_ BA_DEF_ BA_DEF_DEF_ BA_DEF_DEF_REL_ BA_DEF_REL_ BA_DEF_SGTYPE_ BA_REL_ BA_SGTYPE_ BO_ BO_TX_BU_ BS_ BU_
    BU_BO_REL_ BU_EV_REL_ BU_SG_REL_ CAT_ CAT_DEF_ CM_ ENVVAR_DATA_ EV_ EV_DATA_ FILTER NS_ NS_DESC_ SG_ SG_MUL_VAL_
    SGTYPE_ SGTYPE_VAL_ SIG_GROUP_ SIG_TYPE_REF_ SIG_VALTYPE_ SIGTYPE_VALTYPE_ VAL_ VAL_TABLE_ VERSION
"""
KEYWORDS = frozenset(_KEYWORDS.split())
PLACEHOLDERS: Mapping[str, str] = {
    "Vector__XXX": "no node",
    "VECTOR__INDEPENDENT_SIG_MSG": "a signal without a message",
}
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")
_SPELT_OUT = {
    "Ω": "`ohm`",
    "\u2126": "`ohm`",
    "\u03bc": "`\u00b5` (U+00B5) or `u`",
    "≤": "`<=`",
    "≥": "`>=`",
    "Δ": "`delta`",
}


def refusals(catalogue: Catalogue) -> Iterator[Finding]:
    """Everything in ``catalogue`` that would give a broken or wrong DBC file."""
    for message in _written(catalogue):
        if message.identifier is None:
            text = f"`{message.name}` has no identifier, and a message in DBC is known by it"
            yield _error("dbc-no-identifier", message.place_of(), text, "give it an `id`")
        yield from pages_refused(message)
        yield from _tags_refused(message)
    for what, name, where in _names(catalogue):
        yield from _name_refused(what, name, where)
    for written in _texts(catalogue):
        yield from _text_refused(written)


def _written(catalogue: Catalogue) -> list[Message]:
    return [message for message in catalogue.messages if not message.is_remote]


def _tags_refused(message: Message) -> Iterator[Finding]:
    for tag in message.tags:
        if TAG_SEPARATOR in tag:
            text = f"the tag `{tag}` of `{message.family or message.name}` holds a comma, which in DBC ends a tag"
            yield _error("dbc-text", message.place_of("tags"), text, "write it without one, or as two tags")


def is_name(name: str) -> bool:
    """Whether DBC can spell ``name`` and readers take it for a name."""
    return bool(_NAME.match(name)) and name not in KEYWORDS and name not in PLACEHOLDERS


def _names(catalogue: Catalogue) -> Iterator[tuple[str, str, Place | None]]:
    for node in catalogue.nodes.values():
        yield "node", node.name, node.place
    for message in _written(catalogue):
        yield "message", message.name, message.place_of()
        for signal in written_signals(message):
            yield "signal", signal.name, signal.place or message.place_of("signals")


def _name_refused(what: str, name: str, where: Place | None) -> Iterator[Finding]:
    if is_name(name):
        return
    fix = f"call it `{name}_{what}` or otherwise"
    if name in KEYWORDS:
        text = f"the {what} `{name}` has the name of a DBC keyword: the file could not be read"
        yield _error("dbc-name", where, text, fix)
    elif name in PLACEHOLDERS:
        text = f"the {what} `{name}` has the name by which DBC says {PLACEHOLDERS[name]}"
        yield _error("dbc-name", where, text, fix)
    else:
        spelt = re.sub(r"[^A-Za-z0-9_]", "_", name)
        text = f"DBC cannot spell the {what} name `{name}`, and two such names may become one"
        yield _error("dbc-name", where, text, f"write `{spelt if _NAME.match(spelt) else '_' + spelt}`")


@dataclass(frozen=True, slots=True)
class _Text:
    """A text on its way into the file: ``of`` says whose it is."""

    of: str
    text: str
    where: Place | None
    may_have_lines: bool = False


def _texts(catalogue: Catalogue) -> Iterator[_Text]:
    whole = Place(catalogue.file, 1, 1) if catalogue.file else None
    yield _Text("the catalogue's name", catalogue.name, whole)
    yield _Text("the catalogue's comment", catalogue.comment, whole, may_have_lines=True)
    for node in catalogue.nodes.values():
        yield _comment(node.name, node.comment, node.place)
    for message in catalogue.messages:
        if message.is_remote:
            yield _Text(f"the name of `{message.name}`", message.name, message.place_of())
    for message in _written(catalogue):
        written_as = message.family or message.name
        yield _comment(written_as, message.comment, message.place_of("comment"))
        for tag in message.tags:
            yield _Text(f"the tag `{tag}` of `{written_as}`", tag, message.place_of("tags"))
        for signal in written_signals(message):
            name, where = f"{written_as}.{signal.name}", signal.place or message.place_of("signals")
            yield _comment(name, signal.comment, where)
            yield _Text(f"the unit of `{name}`", signal.unit, where)
            if signal.codes not in catalogue.codes.values():  # shared ones are looked at once
                yield from _words(name, signal.codes, where)
    for table, codes in catalogue.codes.items():
        yield from _words(table, codes, whole)


def _words(owner: str, codes: Mapping[int, str], where: Place | None) -> Iterator[_Text]:
    for raw, word in codes.items():
        yield _Text(f"code {raw} of `{owner}`", word, where)


def _comment(owner: str, comment: str, where: Place | None) -> _Text:
    return _Text(f"the comment of `{owner}`", comment, where, may_have_lines=True)


def _text_refused(written: _Text) -> Iterator[Finding]:
    text = written.text
    foreign = next((letter for letter in text if not _encodes(letter)), None)
    if foreign is not None:
        said = f"{written.of} holds `{foreign}` (U+{ord(foreign):04X}), which DBC's Windows-1252 does not have"
        instead = _SPELT_OUT.get(foreign)
        yield _error("dbc-text", written.where, said, f"write {instead}" if instead else "write it in other letters")
    control = _CONTROL.search(re.sub(r"[\n\t]", "", text) if written.may_have_lines else text)
    if control:
        what = "a line break" if control.group() == "\n" else f"the control character U+{ord(control.group()):04X}"
        yield _error("dbc-text", written.where, f"{written.of} holds {what}, which breaks a line of DBC", "remove it")
    if text.endswith("\\"):
        said = f"{written.of} ends in a backslash, which makes DBC read on past its end"
        yield _error("dbc-text", written.where, said, "end it with another character")


def _encodes(letter: str) -> bool:
    try:
        letter.encode(ENCODING)
    except UnicodeEncodeError:
        return False
    return True


def _error(rule: str, where: Place | None, text: str, fix: str) -> Finding:
    return Finding(rule, Severity.ERROR, where, text, fix)
