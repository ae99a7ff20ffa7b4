"""One definition handed on: the catalogue in the formats that firmware, bench and paperwork read."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from busdesign.answers.plain import without_facts
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import read_catalogue
from busdesign.errors import OutputError
from busdesign.export import dbc
from busdesign.findings import Finding
from busdesign.outputs import refuse_to_overwrite, write_bytes


@dataclass(frozen=True, slots=True)
class CompileAnswer:
    """The files that were written, and what the formats could not carry. A catalogue that cannot be used is raised."""

    catalogue: str
    files: tuple[Path, ...]
    losses: tuple[Finding, ...]
    findings: tuple[Finding, ...] = ()
    holds: bool = True


def compile_catalogue(catalogue: Catalogue | str | os.PathLike[str], folder: str | os.PathLike[str]) -> CompileAnswer:
    """Write a catalogue, or the YAML file of one, into ``folder`` as ``NAME.dbc``; the folder is made if need be.

    Raises CatalogueError if the catalogue is unusable, OutputError if the folder is; earlier files are then untouched.
    """
    definition = catalogue if isinstance(catalogue, Catalogue) else read_catalogue(catalogue)
    rendered = dbc.render(definition)
    target = folder_for(folder) / f"{_file_name(definition.name)}.dbc"
    refuse_to_overwrite(target, definition.files)
    write_bytes(target, rendered.data)
    return CompileAnswer(definition.name, (target,), rendered.losses)


def refused(findings: Sequence[Finding]) -> dict[str, Any]:
    """The shape of ``compile --json`` for a catalogue that cannot be used."""
    return without_facts(CompileAnswer, findings)


def folder_for(folder: str | os.PathLike[str]) -> Path:
    """``folder`` as a path, made if it is not there. Raises OutputError."""
    path = Path(folder)
    try:
        path.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise OutputError(f"cannot make the folder `{folder}`: there is a file of that name") from None
    except (OSError, ValueError) as reason:  # ValueError: a NUL in the path
        said = getattr(reason, "strerror", None) or reason
        raise OutputError(f"cannot make the folder `{folder}`: {said}") from None
    return path


def _file_name(name: str) -> str:
    """A catalogue's name with nothing in it that a file's name should not have."""
    return "".join(letter if letter.isalnum() or letter in "-_." else "_" for letter in name).lstrip(".") or "catalogue"
