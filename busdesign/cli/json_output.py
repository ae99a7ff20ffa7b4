"""``--json``: the same facts on stdout, and nothing else there."""

import json
import sys
from typing import Any

from busdesign.answers.plain import as_plain
from busdesign.cli.output import say


def print_json(answer: Any) -> None:
    """Print ``answer`` as one JSON document, readable whatever letters stdout knows."""
    knows_all = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    say(json.dumps(as_plain(answer), indent=2, ensure_ascii=not knows_all, allow_nan=False))
