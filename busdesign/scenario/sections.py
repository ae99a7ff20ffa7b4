"""What reading a section of a scenario needs: the data with its places, what it is held against, and the findings."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel

from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.source import Source, Trail
from busdesign.catalogue.validation import validated
from busdesign.findings import Finding, Place, did_you_mean, error, nearest
from busdesign.units import format_duration

Entry = TypeVar("Entry", bound=BaseModel)


@dataclass(slots=True)
class Sections:
    """A scenario while it is read. What could not be read is None, and checks against it are left out.

    The shape of the whole has been validated, with its findings, before any section is read: an entry that cannot be
    read is passed over here without another word.
    """

    source: Source
    data: dict[Any, Any]
    catalogue: Catalogue | None
    root: Path | None
    run_for_ns: int | None
    findings: list[Finding]

    def entries(self, key: str, model: type[Entry]) -> Iterator[tuple[Trail, Entry]]:
        """The entries of the list behind ``key`` that read well, each with its trail."""
        for index, item in enumerate(self._holding(key, list)):
            entry = validated(model, item, self.source, (key, index), [])
            if entry is not None:
                yield (key, index), entry

    def mapping(self, key: str) -> dict[str, Any]:
        """The mapping behind ``key``, as far as its keys are texts; empty if it is something else."""
        return {name: value for name, value in self._holding(key, dict).items() if isinstance(name, str)}

    def _holding(self, key: str, kind: type[Any]) -> Any:
        found = self.data.get(key)
        return found if isinstance(found, kind) else kind()

    def complain(self, rule: str, where: Place, text: str, fix: str = "") -> None:
        """Add an error."""
        self.findings.append(error(rule, where, text, fix))

    def is_node(self, name: str, where: Place) -> bool:
        """Whether ``name`` is a node of the catalogue; complains if not. True if the catalogue could not be read."""
        if self.catalogue is None or name in self.catalogue.nodes:
            return True
        self.complain("unknown-node", where, f"there is no node `{name}`", did_you_mean(name, self.catalogue.nodes))
        return False

    def may_have_model(self, node: str) -> bool:
        """Whether ``models`` gives ``node`` a model, or gives one to a misspelt node that may be meant to be this."""
        modelled = self.mapping("models")
        if node in modelled:
            return True
        if self.catalogue is None:
            return nearest(node, modelled) is not None
        misspelt = [name for name in modelled if name not in self.catalogue.nodes]
        return any(nearest(name, self.catalogue.nodes) in (node, None) for name in misspelt)

    def check_in_run(self, time_ns: int | None, trail: Trail, *, end_included: bool = False) -> None:
        """Complain of a time behind ``trail`` that the run does not reach."""
        if time_ns is None or self.run_for_ns is None:
            return
        if time_ns > self.run_for_ns or (time_ns == self.run_for_ns and not end_included):
            run_for = format_duration(self.run_for_ns)
            text = f"`{trail[-1]}: {format_duration(time_ns)}` is beyond the run, which ends at {run_for}"
            self.complain("beyond-the-run", self.source.of_value(trail), text, "run for longer, or let it come earlier")
