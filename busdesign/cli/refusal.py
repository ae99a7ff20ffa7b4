"""What cannot be used, said once and clearly; ``--json`` keeps its shape."""

import argparse
import sys
from collections.abc import Sequence

from busdesign.cli.fix import next_fix
from busdesign.cli.output import tell
from busdesign.cli.text import about_rules, findings_text, next_steps
from busdesign.errors import BusdesignError, InputError, ModelError
from busdesign.findings import Finding, Severity, counted

WRITING = ("demo", "new", "compile", "simulate")  # the commands that write files
SELF_EVIDENT = ("frame", "explain")  # of these, the finding says all that there is to know
REPORT_IT = "this is a mistake in busdesign, not in your files: please report it; `busdesign --debug ...` shows more"


def explain_refusal(error: Exception, given: argparse.Namespace) -> None:
    """Say why a command came to nothing."""
    findings = _findings(error)
    shape = getattr(given, "refused", None)
    if shape and given.json:
        from busdesign.cli.json_output import print_json

        print_json(shape(findings))
    tell(findings_text(findings, sys.stderr))
    if isinstance(error, InputError | ModelError):
        untouched = "; nothing was written" if given.command in WRITING else ""
        tell(f"\n{counted(len(findings), 'error')}{untouched}")
        if given.command not in SELF_EVIDENT and not getattr(given, "json", False):
            tell(next_steps(*next_fix(findings, given), *about_rules(findings)))


def _findings(error: Exception) -> Sequence[Finding]:
    if isinstance(error, InputError | ModelError):
        return error.findings
    if isinstance(error, BusdesignError):
        return [Finding("cannot-write", Severity.ERROR, None, str(error))]
    said = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
    return [Finding("internal-error", Severity.ERROR, None, said, REPORT_IT)]
