"""``--json``: the same facts on stdout, and nothing else there."""

import json
from typing import Any

from busdesign.answers.plain import as_plain


def print_json(answer: Any) -> None:
    """Print ``answer`` as one JSON document."""
    print(json.dumps(as_plain(answer), indent=2, ensure_ascii=False, allow_nan=False))
