"""One project, its check, its run and its page for all tests that only look at them."""

from pathlib import Path

import pytest

from busdesign.answers.check import CheckAnswer
from busdesign.answers.simulate import SimulateAnswer
from busdesign.report.page import render_report
from tests.report.gates import checked, project, ran


@pytest.fixture(scope="session")
def gates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("gates")
    project(root)
    return root


@pytest.fixture(scope="session")
def gate_check(gates: Path) -> CheckAnswer:
    return checked(gates)


@pytest.fixture(scope="session")
def gate_run(gates: Path) -> SimulateAnswer:
    return ran(gates)


@pytest.fixture(scope="session")
def page(gate_check: CheckAnswer, gate_run: SimulateAnswer) -> str:
    return render_report(gate_check, [gate_run])
