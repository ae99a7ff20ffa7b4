"""The page in a real browser, where there is one: its script runs, without a complaint, and draws."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

BROWSER = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), ""
)
QUIETLY = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--enable-logging=stderr",
    "--virtual-time-budget=4000",
]

pytestmark = [pytest.mark.slow, pytest.mark.skipif(not BROWSER, reason="no browser on this machine")]


def shown(page: str, folder: Path, part: str) -> tuple[str, list[str]]:
    """The page's elements once its script has run, and what the browser had to complain about."""
    path = folder / "report.html"
    path.write_text(page, encoding="utf-8")
    command = [BROWSER, *QUIETLY, f"--user-data-dir={folder / 'profile'}", "--dump-dom", f"{path.as_uri()}{part}"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    return done.stdout, [line for line in done.stderr.splitlines() if "CONSOLE" in line]


def test_the_script_draws_without_complaint_and_opens_at_a_window(page: str, tmp_path: Path) -> None:
    dom, complaints = shown(page, tmp_path, "#run-1@0.1-0.15")
    assert complaints == []
    assert 'data-ready="yes"' in dom
    assert '<output class="window">0.10000 s to 0.15000 s (50 ms)</output>' in dom
    sizes = re.findall(r'<canvas aria-hidden="true" width="(\d+)" height="(\d+)"', dom)
    assert len(sizes) == page.count("<canvas")
    assert all(int(width) > 300 and int(height) > 10 for width, height in sizes)
