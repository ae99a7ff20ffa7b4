"""From a YAML file to a frozen scenario with its catalogue, or to everything that is wrong with both at once.

file → Source (data and places) → its shape → its sections, held against the catalogue → Scenario, if nothing was wrong
"""

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.named_files import named_from, near_files
from busdesign.catalogue.reader import read_catalogue
from busdesign.catalogue.source import Source, Unreadable, parse_source, read_source
from busdesign.catalogue.validation import validated
from busdesign.errors import CatalogueError, ScenarioError
from busdesign.findings import Finding, error
from busdesign.scenario.draft import ScenarioWritten
from busdesign.scenario.faults.reading import read_faults
from busdesign.scenario.happenings import read_steps
from busdesign.scenario.model import Scenario
from busdesign.scenario.nodes import read_drift, read_models, read_payload
from busdesign.scenario.project import project_root
from busdesign.scenario.promises import read_expectations
from busdesign.scenario.sections import Sections
from busdesign.units import QuantityError, positive_duration_ns

Load = Callable[[str], Catalogue]


def read_scenario(path: str | os.PathLike[str], load: Load = read_catalogue) -> Scenario:
    """The scenario in the YAML file at ``path``; ``load`` reads the catalogue that it names.

    Raises ScenarioError with all findings, sorted by place, those of a broken catalogue among them.
    """
    try:
        source, findings = read_source(path)
    except Unreadable as refused:
        raise ScenarioError([refused.finding]) from None
    return _scenario(source, findings, load)


def parse_scenario(text: str, file: str, load: Load = read_catalogue) -> Scenario:
    """The same from YAML text that would lie in ``file``. Raises ScenarioError."""
    try:
        source, findings = parse_source(text, file)
    except Unreadable as refused:
        raise ScenarioError([refused.finding]) from None
    return _scenario(source, findings, load)


def _scenario(source: Source, findings: list[Finding], load: Load) -> Scenario:
    data = _mapping(source, findings)
    written = validated(ScenarioWritten, data, source, (), findings)
    catalogue = _catalogue(data.get("catalogue"), source, findings, load)
    root = project_root(source.file)
    sections = Sections(source, data, catalogue, root, _run_for_ns(data), findings)
    models, payload, drift = read_models(sections), read_payload(sections), read_drift(sections)
    steps, faults, expectations = read_steps(sections), read_faults(sections), read_expectations(sections)
    if findings:
        raise ScenarioError(findings)
    assert written is not None
    assert catalogue is not None
    return Scenario(
        name=written.scenario,
        file=source.file,
        root=root or Path(source.file).resolve().parent,
        catalogue=catalogue,
        run_for_ns=written.run_for,
        seed=written.seed,
        payload=payload,
        models=models,
        steps=steps,
        faults=faults,
        drift=drift,
        jitter=written.jitter,
        phases=written.phases,
        expectations=expectations,
        comment=written.comment,
    )


def _mapping(source: Source, findings: list[Finding]) -> dict[Any, Any]:
    """The document's mapping. Raises ScenarioError if it is something else altogether."""
    data, where = source.data, source.of_value(())
    if not isinstance(data, dict):
        text = "a scenario is a mapping with `scenario`, `catalogue` and `run_for`"
        raise ScenarioError([*findings, error("wrong-value", where, text)])
    if "scenario" not in data and "messages" in data:
        text = "this is a catalogue, not a scenario"
        fix = "a scenario begins with `scenario:` and names its catalogue with `catalogue:`"
        raise ScenarioError([*findings, error("not-a-scenario", where, text, fix)])
    return data


def _run_for_ns(data: dict[Any, Any]) -> int | None:
    """The length of the run, or None; what is wrong with it has been said already."""
    try:
        return positive_duration_ns(data.get("run_for"))
    except QuantityError:
        return None


def _catalogue(written: object, source: Source, findings: list[Finding], load: Load) -> Catalogue | None:
    if not isinstance(written, str) or not written:
        return None
    path = named_from(written, source.file)
    if not os.path.exists(path):
        where = source.of_value(("catalogue",))
        fix = near_files(path, source.file)
        findings.append(error("file-missing", where, f"there is no catalogue `{path}`", fix))
        return None
    try:
        return load(path)
    except CatalogueError as refused:
        findings.extend(refused.findings)
        return None
