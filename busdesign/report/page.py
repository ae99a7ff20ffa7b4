"""One HTML file that needs nothing else: no network, no other file. Verdict first, pictures next, cautions last."""

import base64
import os
from collections.abc import Sequence
from hashlib import sha256
from importlib.resources import files
from pathlib import Path

from busdesign.answers.check import CheckAnswer
from busdesign.answers.simulate import SimulateAnswer
from busdesign.outputs import write_text
from busdesign.report.cautions import cautions_section, scope_section
from busdesign.report.functions import functions_section
from busdesign.report.load import load_section
from busdesign.report.markup import text
from busdesign.report.response import response_section
from busdesign.report.run import run_section
from busdesign.report.verdict import title_block, verdict_section
from busdesign.report.wires import wires_section

SCRIPTS = (
    "columns.js",
    "window.js",
    "drawing.js",
    "names.js",
    "frames.js",
    "words.js",
    "view.js",
)  # in the order of their needs
STYLE = "page.css"


def write_report(
    path: str | os.PathLike[str], check: CheckAnswer, runs: Sequence[SimulateAnswer], *, dated: str = ""
) -> Path:
    """Write the report to ``path``, whole or not at all. Raises OutputError."""
    write_text(path, render_report(check, runs, dated=dated))
    return Path(path)


def render_report(check: CheckAnswer, runs: Sequence[SimulateAnswer], *, dated: str = "") -> str:
    """The report as HTML: the same for the same answers. ``dated`` is shown beside the revision if given."""
    sections = [
        title_block(check, dated),
        verdict_section(check, runs),
        load_section(check, runs),
        response_section(check, runs),
        wires_section(check),
        functions_section(check, runs),
        *(run_section(number, run, check.bus) for number, run in enumerate(runs, 1)),
        scope_section(),
        cautions_section(check.definition),
    ]
    return html_page(f"{text(check.catalogue)}: bus report", sections)


def html_page(title: str, sections: Sequence[str]) -> str:
    """A page of finished ``sections`` with the style and the scripts that they need; ``title`` is finished HTML too."""
    style, script = _asset(STYLE), "\n".join(_asset(name) for name in SCRIPTS)
    # The policy lets nothing run or load but this very style and script, whatever a catalogue's texts may say.
    policy = f"default-src 'none'; style-src {_digest(style)}; script-src {_digest(script)}"
    body = "\n".join(sections)
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>{style}</style>
</head>
<body>
<main>
{body}
</main>
<script>{script}</script>
</body>
</html>
"""


def _asset(name: str) -> str:
    return (files("busdesign.report") / "browser" / name).read_text(encoding="utf-8")


def _digest(content: str) -> str:
    return f"'sha256-{base64.b64encode(sha256(content.encode()).digest()).decode('ascii')}'"
