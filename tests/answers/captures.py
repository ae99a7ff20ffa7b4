"""Captures for audits: simulated runs of the demo, and the same with one thing wrong."""

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from busdesign.answers.audit import audit
from busdesign.answers.audit_answer import AuditAnswer
from busdesign.answers.simulate import SimulateAnswer, simulate
from busdesign.scenario.reader import read_scenario
from busdesign.traffic.facts import RecordingFacts
from busdesign.traffic.files import write_traffic
from busdesign.traffic.frames import Row, Traffic

ROOT = Path(__file__).parents[2]
SCENARIOS = sorted((ROOT / "sim" / "scenarios").glob("*.yaml"))
CATALOGUE = ROOT / "messages" / "saltmarsh.yaml"
EXACT = RecordingFacts(timestamp_at="end", resolution_ns=1, own_frames="echoed", error_frames="recorded")


@cache
def run_of(scenario: str, **more: Any) -> SimulateAnswer:
    """The run of a scenario of the demo, without its faults, changed as ``more`` says."""
    story = read_scenario(ROOT / "sim" / "scenarios" / f"{scenario}.yaml")
    return simulate(replace(story, **{"faults": (), **more}))


def traffic_of(scenario: str = "retract", **more: Any) -> Traffic:
    return run_of(scenario, **more).run.traffic


def rows_of(traffic: Traffic) -> list[Row]:
    """One tuple a frame, to be changed at will."""
    columns = (traffic.end_ns, traffic.identifier, traffic.flags, traffic.length, traffic.channel, traffic.payload)
    return list(zip(*(column.tolist() for column in columns), strict=True))


def numbers_of(traffic: Traffic, identifier: int) -> list[int]:
    """The rows of one identifier."""
    return np.flatnonzero(traffic.identifier == identifier).tolist()


def audited(traffic: Traffic, folder: Path, *, facts: RecordingFacts | None = EXACT, **more: Any) -> AuditAnswer:
    """The audit of ``traffic``, written to a file and read again."""
    path = folder / "run.log"
    write_traffic(traffic, path)
    return audit(path, more.pop("catalogue", CATALOGUE), facts=facts, **more)


def rules_of(answer: AuditAnswer) -> set[str]:
    return {found.rule for found in answer.findings}
