"""An included file that is checked by itself: said once, with the catalogue to check in its place."""

import os
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from busdesign.catalogue.text_file import Unreadable, read_text
from busdesign.findings import Finding, Place, error

_MOST_LOOKED_AT = 200  # files of a project in which an `include` of this one is sought
_ENDINGS = (".yaml", ".yml")


def about_a_lone_part(file: str, root: Path) -> Finding:
    """A finding for ``file``, which has neither `catalogue` nor `bus`; ``root`` is the project's folder."""
    by = next(_including(file, root), None)
    where = Place(file, 1, 1)
    text = "this is a part of a catalogue: it has neither `catalogue` nor `bus`, and names of other parts seem unknown"
    if by is None:
        return error("not-a-catalogue", where, text, "check the file that includes it, or give it both")
    return error("not-a-catalogue", where, text, f"check `{by}`, which includes it")


def _including(file: str, root: Path) -> Iterator[str]:
    """The catalogues of the project that seem to include ``file``: its name stands in one that has an `include`."""
    name, own = os.path.basename(file), os.path.realpath(file)
    for path in islice(_yaml_files(root), _MOST_LOOKED_AT):
        text = "" if os.path.realpath(path) == own else _text(path)
        is_main = any(line.startswith("catalogue:") for line in text.splitlines())
        if is_main and "include:" in text and name in text:
            yield os.path.relpath(path)


def _yaml_files(root: Path) -> Iterator[str]:
    """Those below the project's ``messages``; where there is no such folder, those that lie in ``root`` itself."""
    top = root / "messages"
    walked = os.walk(top) if top.is_dir() else islice(os.walk(root), 1)
    for folder, folders, names in walked:
        folders.sort()
        yield from (os.path.join(folder, name) for name in sorted(names) if name.endswith(_ENDINGS))


def _text(path: str) -> str:
    """What stands in a file, as far as it matters here; "" if it cannot be read."""
    try:
        return read_text(path) if os.path.isfile(path) else ""
    except Unreadable:
        return ""
