"""Where a scenario's project lies: its root folder, and the files it names."""

import os
import re
from pathlib import Path

from busdesign.findings import Refused, did_you_mean, shown

_CLASS_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
FOLDERS = ("messages", "sim")


class ModelPathError(Refused):
    """A text that names no model."""


def project_root(file: str | os.PathLike[str]) -> Path | None:
    """The nearest folder above ``file`` that holds both ``messages/`` and ``sim/``, absolute; None if there is none."""
    for folder in Path(file).resolve().parents:
        if all((folder / name).is_dir() for name in FOLDERS):
            return folder
    return None


def model_file(written: str, root: Path) -> tuple[Path, str]:
    """The absolute path and the class that ``written`` (``sim/panel.py:Panel``) names. Raises ModelPathError.

    ``root`` must be absolute and free of symbolic links; a file that leads out of it is refused.
    """
    relative, colon, class_name = written.rpartition(":")
    if not colon or not relative:
        raise ModelPathError(
            f"{shown(written)} is not written as a file and a class", "write it like `sim/panel.py:Panel`"
        )
    if not _CLASS_NAME.match(class_name):
        raise ModelPathError(f"{shown(class_name)} cannot be a class", "write it like `sim/panel.py:Panel`")
    if "\0" in relative:
        raise ModelPathError("a file name holds no zero character")
    file = (root / relative).resolve()
    if Path(relative).is_absolute() or not file.is_relative_to(root):
        text = f"`{relative}` does not lie under the project's root `{root}`"
        raise ModelPathError(text, "name a file by its way from there, such as `sim/panel.py:Panel`")
    if file.suffix != ".py":
        raise ModelPathError(f"{shown(relative)} is no Python file", "a model is a class in a file `*.py`")
    if not file.is_file():
        raise ModelPathError(f"there is no file `{relative}` under `{root}`", _near(relative, root))
    return file, class_name


def _near(relative: str, root: Path) -> str:
    try:
        files = sorted(entry for entry in (root / relative).resolve().parent.iterdir() if entry.suffix == ".py")
    except OSError:
        return ""
    return did_you_mean(relative, [str(file.relative_to(root)) for file in files])
