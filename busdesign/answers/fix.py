"""Which mistakes of a catalogue can be mended without a doubt, and the file with them mended.

Looking writes nothing: ``fix`` answers with the file as it would be, ``write_fixed`` puts that in its place.
"""

import codecs
import os
import stat
from dataclasses import dataclass, field

from busdesign.catalogue.mending import Mend, mended
from busdesign.catalogue.text_file import Unreadable, decoded, read_raw
from busdesign.errors import CatalogueError, OutputError
from busdesign.findings import Edit, Place
from busdesign.outputs import write_bytes


@dataclass(frozen=True, slots=True)
class Fix:
    """One finding and its edit. ``why_not`` says why the edit is none of those to be applied; else it is "".

    The edits are given in their order: each speaks of the text as those before it leave it.
    """

    rule: str
    where: Place | None
    text: str
    edit: Edit
    why_not: str


@dataclass(frozen=True, slots=True)
class FixAnswer:
    """A file as it is (``before``) and as it would be (``after``): apart from the edits the same, byte for byte."""

    file: str
    fixes: tuple[Fix, ...]
    before: bytes = field(repr=False, metadata={"json": False})
    after: bytes = field(repr=False, metadata={"json": False})

    @property
    def applicable(self) -> tuple[Fix, ...]:
        """The fixes that ``after`` holds."""
        return tuple(fix for fix in self.fixes if not fix.why_not)

    @property
    def left_out(self) -> tuple[Fix, ...]:
        """The fixes that ``after`` does not hold, for what their ``why_not`` says."""
        return tuple(fix for fix in self.fixes if fix.why_not)


def fix(path: str | os.PathLike[str]) -> FixAnswer:
    """What can be mended in the catalogue at ``path``. Raises CatalogueError if there is no text to read there."""
    file = os.fspath(path)
    try:
        before = read_raw(file)
        text = decoded(before, file)
    except Unreadable as refused:
        raise CatalogueError([refused.finding]) from None
    found = mended(text, file)
    mark = codecs.BOM_UTF8 if before.startswith(codecs.BOM_UTF8) else b""
    fixes = tuple(_fix(mend) for mend in (*found.made, *found.dropped))
    return FixAnswer(file, fixes, before, mark + found.text.encode())


def write_fixed(answer: FixAnswer) -> None:
    """Put the mended text in the place of the file. Raises OutputError; the file is then untouched."""
    require_writable(answer)
    try:
        now = read_raw(answer.file)
    except Unreadable as refused:
        raise OutputError(f"cannot mend `{answer.file}`: {refused.finding.text}") from None
    if now != answer.before:
        raise OutputError(f"cannot mend `{answer.file}`: it was changed in the meantime; look at it again")
    write_bytes(answer.file, answer.after)


def require_writable(answer: FixAnswer) -> None:
    """Raises OutputError for what is no file on a disk, and for one that is marked as read-only."""
    if not os.path.isfile(answer.file):
        raise OutputError(f"cannot mend `{answer.file}`: it is no file on a disk")
    mode = os.stat(answer.file).st_mode
    if not mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH) or not os.access(answer.file, os.W_OK):
        raise OutputError(f"cannot mend `{answer.file}`: it is read-only")


def _fix(mend: Mend) -> Fix:
    return Fix(mend.finding.rule, mend.finding.where, mend.finding.text, mend.edit, mend.why_not)
