"""The few ways in which busdesign refuses to go on.

    BusdesignError
    ├── InputError(findings)      what was given cannot be used; carries every finding, sorted by place
    │   ├── CatalogueError        a message catalogue
    │   ├── ScenarioError         a scenario
    │   ├── CaptureError          a recording of traffic
    │   └── InterfaceError        an interface to a bus, or what was to be done with it
    ├── ModelError(findings)      a node model under sim/ broke its contract while running
    └── OutputError               a result cannot be written where it was asked for

Only ``cli`` turns them into text and an exit status.
"""

from collections.abc import Sequence

from busdesign.findings import Finding, sort_findings


class BusdesignError(Exception):
    """Root of everything that busdesign raises on purpose."""


class _WithFindings(BusdesignError):
    def __init__(self, findings: Sequence[Finding]) -> None:
        self.findings: tuple[Finding, ...] = sort_findings(findings)
        super().__init__("; ".join(finding.text for finding in self.findings))


class InputError(_WithFindings):
    """The input is unusable; ``findings`` says where and why, all of it at once."""


class CatalogueError(InputError):
    """A catalogue that cannot be read or that contradicts itself."""


class ScenarioError(InputError):
    """A scenario that cannot be read or that names what does not exist."""


class CaptureError(InputError):
    """A recording in which nothing can be read."""


class InterfaceError(InputError):
    """An interface to a bus that cannot be opened, or that is not to be used as it was asked for."""


class ModelError(_WithFindings):
    """A node model raised, or published what its message cannot carry."""


class OutputError(BusdesignError):
    """A file or folder cannot be written; earlier outputs are untouched."""
