"""Names that become one elsewhere, or mean something there already."""

from collections.abc import Iterator

from busdesign.catalogue.advice.told import advice
from busdesign.catalogue.model import Catalogue
from busdesign.findings import Finding, Place

# ISO/IEC 9899:2018, 6.4.1 (its list, from memory), and what C++, <stdbool.h> and <stdint.h> add.
_C_WORDS = """
NULL asm auto bool break case catch char class const continue default delete do double else enum explicit export
extern false float for friend goto if inline int int16_t int32_t int64_t int8_t long mutable namespace new nullptr
operator private protected public register restrict return short signed size_t sizeof static struct switch template
this throw true try typedef typename uint16_t uint32_t uint64_t uint8_t union unsigned using virtual void volatile while
"""
C_KEYWORDS = frozenset(_C_WORDS.split())


def _names(catalogue: Catalogue) -> Iterator[tuple[str, str, Place | None, str]]:
    """(what, name, place, the space in which it must be told apart)."""
    for node in catalogue.nodes.values():
        yield "node", node.name, node.place, "nodes"
    for message in catalogue.messages:
        yield "message", message.name, message.place_of(), "messages"
        for signal in message.signals:
            yield "signal", signal.name, signal.place, f"signals of {message.family or message.name}"


def alike_names(catalogue: Catalogue) -> Iterator[Finding]:
    """Two names that differ only in capitals or underscores: one macro in C, one column in many a table."""
    first: dict[tuple[str, str], str] = {}
    told: set[tuple[str, str]] = set()
    for what, name, place, space in _names(catalogue):
        plain = (space, name.lower().replace("_", ""))
        other = first.setdefault(plain, name)
        if other != name and (space, name) not in told:
            told.add((space, name))
            text = f"the {what}s `{other}` and `{name}` differ only in capitals or underscores"
            yield advice("alike-names", place, text, "one of them had better be called otherwise: in C they may be one")


def keyword_name(catalogue: Catalogue) -> Iterator[Finding]:
    """A name that C or C++ has taken: a header with it would not compile."""
    told: set[tuple[str, str]] = set()
    for what, name, place, space in _names(catalogue):
        if name in C_KEYWORDS and (space, name) not in told:
            told.add((space, name))
            text = f"the {what} `{name}` bears a word of C or C++"
            yield advice("keyword-name", place, text, f"`{name}_{what}`, say, can stand in a header")
