"""What an expectation states about a moment, as a typed tree. ``grammar`` makes it; ``truth`` evaluates it."""

from dataclasses import dataclass, field

from busdesign.findings import Place


@dataclass(frozen=True, slots=True)
class Name:
    """``node.name`` or ``message.signal``; alone it stands for itself being true."""

    text: str
    at: int  # here and below: the offset of its first character in the expression


@dataclass(frozen=True, slots=True)
class Word:
    """The name of a code, such as ``up_locked``."""

    text: str
    at: int


@dataclass(frozen=True, slots=True)
class Number:
    """A number, without unit."""

    value: int | float
    at: int


@dataclass(frozen=True, slots=True)
class Constant:
    """``true`` or ``false``."""

    value: bool
    at: int


Operand = Name | Word | Number | Constant


@dataclass(frozen=True, slots=True)
class Comparison:
    """``left operator right``; at least one side is a name."""

    left: Operand
    operator: str  # == != < <= > >=
    right: Operand
    at: int  # of the operator


@dataclass(frozen=True, slots=True)
class Not:
    """The opposite of ``part``."""

    part: "Condition"


@dataclass(frozen=True, slots=True)
class And:
    """All of ``parts``, two or more."""

    parts: tuple["Condition", ...]


@dataclass(frozen=True, slots=True)
class Or:
    """At least one of ``parts``, two or more."""

    parts: tuple["Condition", ...]


Condition = Name | Constant | Comparison | Not | And | Or


@dataclass(frozen=True, slots=True)
class Expression:
    """One expression as written, and what it says.

    ``start`` is where its first character stands; where it goes over several lines (``one_line`` false) the places
    inside it are not known, and all of them are ``start``.
    """

    text: str
    root: Condition
    names: tuple[str, ...]  # each once, in the order of their first mention
    start: Place | None = field(default=None, compare=False, repr=False)
    one_line: bool = field(default=True, compare=False, repr=False)

    def place_at(self, offset: int) -> Place | None:
        """Where the character at ``offset`` of the text stands in its file."""
        if self.start is None or not self.one_line:
            return self.start
        return Place(self.start.file, self.start.line, self.start.column + offset, self.start.quoted)
