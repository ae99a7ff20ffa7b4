"""What a run with faults says of bounds and deadlines: no bound counts faults, and the expectations are the judge."""

from collections.abc import Iterable
from dataclasses import replace

from busdesign.findings import Finding, Severity
from busdesign.scenario.model import Scenario

_OF_TIMES = ("bound-exceeded", "deadline-missed", "function-too-slow")
_HARMLESS = ("silent",)  # takes load off the bus, so that bounds hold all the more


def as_faults_have_it(findings: Iterable[Finding], story: Scenario) -> list[Finding]:
    """``findings`` of a run, of which those about times are advice if ``story`` makes something fail."""
    kinds = dict.fromkeys(fault.kind for fault in story.faults if fault.kind not in _HARMLESS)
    if not kinds:
        return list(findings)
    told = ", ".join(f"`{kind}`" for kind in kinds)
    why = f"the scenario injects {told}, which no bound counts: its expectations say what must hold all the same"
    return [
        replace(found, severity=Severity.ADVICE, fix=why) if found.rule in _OF_TIMES else found for found in findings
    ]
