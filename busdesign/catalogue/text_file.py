"""The text of a file, or one clear reason why there is none: missing, a folder, too large, not UTF-8, binary."""

import os
import re
from pathlib import Path

from busdesign.findings import Finding, Place, error, nearest

MAX_FILE_BYTES = 4 * 1024 * 1024
_NAMES_LISTED = 6
_FOLDERS_UP = 3

_LINE_ENDS = re.compile("\r\n|[\n\r\x85\u2028\u2029]")  # as YAML counts lines
_FORBIDDEN = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")  # YAML 5.1


class Unreadable(Exception):
    """A file that yields no data at all; ``finding`` says why."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.text)
        self.finding = finding


def read_text(path: str | os.PathLike[str]) -> str:
    """The text of the file at ``path``, without a byte order mark. Raises Unreadable."""
    return decoded(read_raw(path), os.fspath(path))


def read_raw(path: str | os.PathLike[str]) -> bytes:
    """The bytes of the file at ``path``. Raises Unreadable."""
    file, start = os.fspath(path), Place(os.fspath(path), 1, 1)
    try:
        if os.path.isdir(file):
            raise Unreadable(error("file-unreadable", start, "this is a folder, not a file", _there_is(Path(file))))
        with open(file, "rb") as opened:
            raw = opened.read(MAX_FILE_BYTES + 1)  # no more, whatever it is: a device has no end
    except FileNotFoundError:
        raise Unreadable(error("file-missing", start, "there is no such file", _near(Path(file)))) from None
    except (OSError, ValueError) as refused:  # ValueError: a NUL in the path
        said = getattr(refused, "strerror", None) or str(refused)
        raise Unreadable(error("file-unreadable", start, f"the file cannot be read: {said}")) from None
    if len(raw) > MAX_FILE_BYTES:
        text = f"the file is larger than {MAX_FILE_BYTES // 1024**2} MiB, the most that is read"
        raise Unreadable(error("file-too-large", start, text, "is it the right file?"))
    return raw


def decoded(raw: bytes, file: str) -> str:
    """The text that ``raw`` holds, without a byte order mark; ``file`` is named if it is none. Raises Unreadable."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as bad:
        before = lines_of(raw[: bad.start].decode("utf-8-sig"))
        whole = lines_of(raw.decode("utf-8-sig", errors="replace"))
        where = Place(file, len(before), len(before[-1]) + 1, whole[len(before) - 1])
        text = f"the byte 0x{raw[bad.start]:02x} is not UTF-8 text"
        raise Unreadable(error("not-utf8", where, text, "save the file as UTF-8")) from None


def lines_of(text: str) -> tuple[str, ...]:
    """The lines of ``text`` without their ends; what follows the last end counts, if only as an empty line."""
    return tuple(_LINE_ENDS.split(text))


def line_starts(text: str) -> tuple[int, ...]:
    """Where each of the lines of ``text`` begins."""
    return (0, *(end.end() for end in _LINE_ENDS.finditer(text)))


def place_in(lines: tuple[str, ...], line: int, column: int, file: str) -> Place:
    """The place at ``line`` and ``column``, counted from 0 as YAML marks are; the end of the text at the latest."""
    if line >= len(lines):  # where YAML sees the end of a last line that has no line end
        line, column = len(lines) - 1, len(lines[-1])
    return Place(file, line + 1, min(column, len(lines[line])) + 1, lines[line])


def refuse_control_characters(text: str, file: str) -> None:
    """Raises Unreadable at the first character that YAML does not allow in a file."""
    found = _FORBIDDEN.search(text)
    if found:
        before, lines = lines_of(text[: found.start()]), lines_of(text)
        where = Place(file, len(before), len(before[-1]) + 1, lines[len(before) - 1])
        said = f"the control character U+{ord(found.group()):04X} may not stand in a YAML file"
        raise Unreadable(error("control-character", where, said, "is it a text file? else remove the character"))


def found_nearby(path: str | os.PathLike[str]) -> str | None:
    """A file of the same name where a project keeps such files, in the folder of ``path`` or up to three above it."""
    folder, name = os.path.split(os.fspath(path))
    for up in range(_FOLDERS_UP + 1):
        for inside in ("", "messages", os.path.join("sim", "scenarios")):
            candidate = os.path.normpath(os.path.join(folder, *[os.pardir] * up, inside, name))
            if os.path.isfile(candidate):
                return candidate
    return None


def _near(path: Path) -> str:
    elsewhere = found_nearby(path)
    if elsewhere:
        return f"there is `{elsewhere}`"
    names = _yaml_names(path.parent)
    by_stem = {Path(name).stem: name for name in reversed(names)}
    close = nearest(path.stem, by_stem)  # the ending alone makes no two names alike
    return f"did you mean `{path.parent / by_stem[close]}`?" if close else _there_is(path.parent)


def _there_is(folder: Path) -> str:
    names = _yaml_names(folder)
    if not names:
        return f"there is no YAML file in `{folder}`" if folder.is_dir() else f"there is no folder `{folder}`"
    listed = ", ".join(f"`{folder / name}`" for name in names[:_NAMES_LISTED])
    return f"there is {listed}" + (f" ... ({len(names)} in all)" if len(names) > _NAMES_LISTED else "")


def _yaml_names(folder: Path) -> list[str]:
    try:
        return sorted(entry.name for entry in folder.iterdir() if entry.suffix in (".yaml", ".yml"))
    except (OSError, ValueError):
        return []
