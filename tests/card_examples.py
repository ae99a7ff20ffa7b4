"""The examples on the rule cards, completed and tried: which findings a fragment gets, and from which door."""

import re
from pathlib import Path

from busdesign.answers.check import check
from busdesign.answers.simulate import simulate
from busdesign.card_file import Card
from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import BusdesignError, InputError, ModelError
from busdesign.export import dbc
from busdesign.findings import Finding

CATALOGUE = {
    "catalogue": "catalogue: tried\n",
    "bus": "bus: {bit_rate: 250 kbit/s}\n",
    "nodes": "nodes: {panel: {}, strut: {}}\n",
    "messages": "messages: {wear_log: {id: 0x700, from: panel, every: 1 s}}\n",
}
SCENARIO = {
    "scenario": "scenario: tried\n",
    "catalogue": "catalogue: ../../messages/tried.yaml\n",
    "run_for": "run_for: 12 s\n",
    "models": "models: {panel: sim/panel.py:Panel}\n",
}
TWO_BOARDS = """\
catalogue: tried
bus: {bit_rate: 250 kbit/s}
nodes: {panel: {}, strut: {}}
messages:
  alarm:
    id: 0x080
    from: panel
    irregular: {at_least_apart: 100 ms}
    signals: {level: {bits: 4}}
  leg_demand:
    id: 0x110
    from: panel
    to: strut
    every: 50 ms
    signals: {demand: {bits: 2, codes: {0: stay, 1: up, 2: down}}}
  leg_report:
    id: 0x210
    from: strut
    to: panel
    every: 50 ms
    lost_after: 200 ms
    signals: {position: {bits: 12, factor: 0.02, unit: '%', range: [0, 80]}}
"""
IMPORT = "from busdesign.virtual.node import Choice, Flag, Node, Number\n\n\n"
PANEL = """\
class Panel(Node):
    switch = Choice("up", "down", settable=True)
    lamp = Choice("dark", "green", "red")
    horn = Flag()
    airspeed = Number("kt")

    def begin(self):
        self.say("alarm", level=0)
"""


def completed(fragment: str, parts: dict[str, str]) -> str:
    """``fragment`` below those of ``parts`` that it does not bring itself."""
    return "".join(text for key, text in parts.items() if not re.search(rf"^{key}:", fragment, re.MULTILINE)) + fragment


def findings_of(card: Card, fragment: str, folder: Path) -> tuple[Finding, ...]:
    """What the card's first door says of ``fragment``; ``folder`` is empty, and becomes the project that it needs."""
    try:
        return _asked(card, fragment, folder)
    except (InputError, ModelError) as refused:
        return refused.findings


def _asked(card: Card, fragment: str, folder: Path) -> tuple[Finding, ...]:
    door = card.shown_by[0]
    if card.example in ("scenario", "model") or door == "simulate":
        return simulate(_project(card, fragment, folder)).findings
    catalogue = parse_catalogue(completed(fragment, CATALOGUE), "tried.yaml")
    if door == "compile":
        return dbc.render(catalogue).losses
    if door not in ("reading", "check"):
        raise BusdesignError(f"{card.rule}: no test knows how to ask `{door}` about a catalogue")
    return check(catalogue).findings


def _project(card: Card, fragment: str, folder: Path) -> Path:
    """A project around ``fragment``; its scenario."""
    story = completed(fragment if card.example == "scenario" else "", SCENARIO)
    if card.example == "catalogue":
        story = story.replace(SCENARIO["models"], "")
    files = {
        "messages/tried.yaml": completed(fragment, CATALOGUE) if card.example == "catalogue" else TWO_BOARDS,
        "sim/panel.py": IMPORT + (fragment if card.example == "model" else PANEL),
        "sim/scenarios/tried.yaml": story,
    }
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder / "sim" / "scenarios" / "tried.yaml"
