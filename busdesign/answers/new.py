"""A project of one's own to start from: a catalogue, two models and two scenarios that hold, in a new folder."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from busdesign.answers.new_files import SCENARIO_FILES, catalogue_file, project_files
from busdesign.answers.new_folder import require_free, write_new_folder
from busdesign.answers.new_names import (
    DEFAULT_BIT_RATE,
    DEFAULT_NODES,
    Choices,
    bit_rate_findings,
    bit_rate_spelt,
    default_name,
    name_findings,
    nodes_findings,
)
from busdesign.answers.plain import without_facts
from busdesign.errors import InputError
from busdesign.findings import Finding
from busdesign.units import positive


@dataclass(frozen=True, slots=True)
class NewAnswer:
    """What was made. The first of ``nodes`` gives the orders. What cannot be made is raised."""

    folder: Path
    name: str
    bit_rate: str
    bit_rate_bit_s: float
    nodes: tuple[str, ...]
    catalogue: Path
    scenarios: tuple[Path, ...]
    files: tuple[Path, ...]
    findings: tuple[Finding, ...] = ()
    holds: bool = True


def new_project(
    folder: str | os.PathLike[str],
    *,
    name: str | None = None,
    bit_rate: str = DEFAULT_BIT_RATE,
    nodes: Sequence[str] = DEFAULT_NODES,
) -> NewAnswer:
    """Make a project in ``folder``, which must not be there yet, or be empty; its name is the folder's if not given.

    ``bit_rate`` is written with its unit. Raises InputError with all that is wrong with the answers, OutputError if the
    folder cannot be made or anything is in its way; nothing is then written.
    """
    require_free(folder)
    choices = chosen(name if name is not None else name_for(folder), bit_rate, nodes)
    files = project_files(choices)
    write_new_folder(folder, files)
    root = Path(folder)
    return NewAnswer(
        folder=root,
        name=choices.name,
        bit_rate=choices.bit_rate,
        bit_rate_bit_s=float(choices.bit_rate_bit_s),
        nodes=choices.nodes,
        catalogue=root / catalogue_file(choices.name),
        scenarios=tuple(root / file for file in SCENARIO_FILES),
        files=tuple(root / file for file in sorted(files)),
    )


def name_for(folder: str | os.PathLike[str]) -> str:
    """The name of a project in ``folder`` if nobody gives it another."""
    return default_name(os.path.basename(os.path.abspath(folder)))


def chosen(name: str, bit_rate: str, nodes: Sequence[str]) -> Choices:
    """The three answers, if they can be used. Raises InputError with all that is wrong with them."""
    findings = [*name_findings(name), *bit_rate_findings(bit_rate), *nodes_findings(nodes)]
    if findings:
        raise InputError(findings)
    spelt = bit_rate_spelt(bit_rate)
    return Choices(name, spelt, positive(spelt, "bit rate"), tuple(nodes))


def refused(findings: Sequence[Finding]) -> dict[str, Any]:
    """The shape of ``new --json`` where nothing could be made."""
    return without_facts(NewAnswer, findings)
