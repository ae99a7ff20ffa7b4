"""What cannot be used, said once and clearly; ``--json`` keeps its shape."""

import argparse
import sys

from busdesign.cli.text import findings_text
from busdesign.errors import BusdesignError, InputError, ModelError


def explain_refusal(error: Exception, given: argparse.Namespace) -> bool:
    """Print what ``error`` says; False if it is none of ours, which makes it a bug."""
    if isinstance(error, InputError | ModelError):
        shape = getattr(given, "refused", None)
        if getattr(given, "json", False) and shape:
            from busdesign.cli.json_output import print_json

            print_json(shape(given.file, error.findings))
        print(findings_text(error.findings, sys.stderr), file=sys.stderr)
        count = len(error.findings)
        print(f"\n{count} {'error' if count == 1 else 'errors'}; nothing was written", file=sys.stderr)
        return True
    if isinstance(error, BusdesignError):
        print(f"busdesign: {error}", file=sys.stderr)
        return True
    return False
