"""What can be wrong with a ``for_each``, before ``families`` spreads it out."""

import re
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from busdesign.catalogue.draft import FunctionWritten, MessageWritten
from busdesign.catalogue.edits import other_word, word_meant
from busdesign.catalogue.source import Source, Trail
from busdesign.findings import Finding, Place, did_you_mean, error, nearest, shown

KEYS: Mapping[str, frozenset[str]] = {  # of one entry of each section that has families
    section: frozenset(known.alias or name for name, known in model.model_fields.items()) - {"for_each"}
    for section, model in (("messages", MessageWritten), ("functions", FunctionWritten))
}

_ONE = {"messages": "a message", "functions": "a function"}
_PLACEHOLDER = re.compile(r"\{([A-Za-z_][A-Za-z0-9_]*)\}")
MAX_MEMBERS = 1000  # the text stays short, what is made of it does not


def naming_key(lists: Mapping[Any, Any], section: str) -> Any:
    """The key whose list ends the members' names: the first one of words, else the senders', else the first."""
    words = [key for key in lists if key not in KEYS[section]]
    return words[0] if words else "from" if "from" in lists else next(iter(lists))


def for_each_findings(name: str, written: Mapping[Any, Any], source: Source, section: str) -> Iterator[Finding]:
    """Findings about the ``for_each`` of the message or function ``name``."""
    trail, for_each, keys = (section, name, "for_each"), written["for_each"], KEYS[section]
    if not isinstance(for_each, dict) or not for_each:
        text = f"`for_each` takes a mapping of lists, found {shown(for_each or None)}"
        where = source.of_value(trail) if for_each else source.of_key(trail)
        yield error("for-each", where, text, "write it like `for_each: {leg: [nose, left], id: [0x210, 0x211]}`")
        return
    first = next((key for key, values in for_each.items() if isinstance(values, list) and values), None)
    naming = naming_key(for_each, section)
    common = {key: value for key, value in written.items() if key != "for_each"}
    words = [key for key in for_each if isinstance(key, str) and key not in keys]
    strays = list(_strays(common, (section, name), words)) if words else []
    for stray, at in strays:
        text = f"`{{{stray}}}` stands for nothing: `{stray}` is no word of this `for_each`"
        yield error("for-each", source.of_value(at), text, did_you_mean(stray, words))
    meant = {nearest(stray, words) for stray, _ in strays}
    for key, values in for_each.items():
        at = (*trail, key)
        yield from _about_key(key, for_each, common, at, source, key == naming or key in meant)
        if not isinstance(values, list) or not values:
            text = f"`{key}` takes a list with one entry for each member, found {shown(values or None)}"
            yield error("for-each", source.of_key(at), text, f"write it like `{key}: [one, two]`")
        elif len(values) != len(for_each[first]):
            text = f"`{key}` lists {len(values)} members, but `{first}` lists {len(for_each[first])}"
            yield error("for-each", source.of_value(at), text, "the lists run in step: give them equal lengths")
        elif len(values) > MAX_MEMBERS:
            text = f"`{key}` lists {len(values)} members"
            yield error("for-each", source.of_value(at), text, f"{MAX_MEMBERS} are the most")
        elif key == naming or key not in keys:
            yield from _about_words(at, values, source, key == naming)


def _about_key(
    key: Any, beside: Mapping[Any, Any], common: Mapping[Any, Any], at: Trail, source: Source, is_name: bool
) -> Iterator[Finding]:
    where = source.of_key(at)
    if not isinstance(key, str):
        yield error(
            "for-each", where, f"`{key}` is no key of {_ONE[at[0]]}, and no word", "write it like `leg: [nose, left]`"
        )
    elif key in common:
        line = source.of_key((*at[:2], key)).line
        text = f"`{key}` is given to each member here, and to all of them in line {line}"
        yield error("for-each", where, text, "keep one of the two")
    elif key not in KEYS[str(at[0])] and not is_name and not _stands_in(common, f"{{{key}}}"):
        yield _unused(key, where, str(at[0]), [*common, *beside])


def _unused(key: str, where: Place, section: str, taken: Collection[Any]) -> Finding:
    close, free = nearest(key, KEYS[section]), KEYS[section].difference(taken)
    text = f"`{key}` is no key of {_ONE[section]}, and `{{{key}}}` stands in none of its texts"
    hint = f"did you mean `{close}`?" if close else "remove it"
    return error("for-each", where, text, hint, other_word(where, key, word_meant(key, free, hint, closed=True)))


def _about_words(at: Trail, values: list[Any], source: Source, is_name: bool) -> Iterator[Finding]:
    for index, value in enumerate(values):
        where = source.of_value((*at, index))
        if isinstance(value, bool) or not isinstance(value, str | int):
            text = f"expected a word or a whole number, found {shown(value)}"
            yield error("for-each", where, text, f"it takes the place of `{{{at[-1]}}}`")
        elif is_name and value in values[:index]:
            text = f"`{value}` would be the name of two members"
            yield error("for-each", where, text, "give each member a word of its own")


def _strays(value: Any, at: Trail, words: Collection[str]) -> Iterator[tuple[str, Trail]]:
    """Each ``{word}`` in the texts of ``value`` that is none of ``words``, and where it stands."""
    if isinstance(value, dict | list):
        for step, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _strays(inner, (*at, step), words)
    elif isinstance(value, str):
        yield from ((found, at) for found in _PLACEHOLDER.findall(value) if found not in words)


def _stands_in(value: Any, text: str) -> bool:
    if isinstance(value, dict | list):
        return any(_stands_in(inner, text) for inner in (value.values() if isinstance(value, dict) else value))
    return isinstance(value, str) and text in value
