"""A tiny project on disk, as a user would write it. All of it is invented."""

from pathlib import Path

CATALOGUE = """\
catalogue: gate
bus: {bit_rate: 250 kbit/s}
nodes:
  panel: {tolerance: 50 ppm}
  motor: {tolerance: 0.3 %}
codes:
  order: {0: stay, 1: up, 2: down}
messages:
  demand:
    id: 0x110
    from: panel
    to: motor
    every: 50 ms
    deadline: 10 ms
    signals:
      order: {bits: 2, codes: order}
      speed: {bits: 8, range: [0, 100]}
  alarm:
    id: 0x120
    from: panel
    to: motor
    irregular: {at_least_apart: 100 ms}
    signals:
      level: {bits: 4}
  report:
    id: 0x210
    from: motor
    to: panel
    every: 50 ms
    lost_after: 200 ms
    signals:
      position: {bits: 12, factor: 0.05, unit: '%', range: [0, 100]}
"""

PANEL = """\
from busdesign.virtual.node import Choice, Node


class Panel(Node):
    lamp = Choice("dark", "red")
    switch = Choice("up", "down", settable=True)

    def begin(self):
        self.look()
        self.each("20 ms", self.look)

    def heard(self, message):
        self.lamp = "dark"

    def missed(self, message):
        self.lamp = "red"

    def look(self):
        self.publish("demand", order=self.switch, speed=10)
"""

SCENARIO = """\
scenario: the motor falls silent
catalogue: ../../messages/gate.yaml
run_for: 1 s
models:
  panel: sim/panel.py:Panel
steps:
  - {at: 100 ms, set: {panel.switch: down}}
faults:
  - {at: 300 ms, until: 800 ms, kind: silent, node: motor}
expect:
  - {name: silence is noticed, after: motor.silent, within: 300 ms, then: panel.lamp == red}
"""


class Gate:
    """The project and its three files."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.catalogue = self._write("messages/gate.yaml", CATALOGUE)
        self.panel = self._write("sim/panel.py", PANEL)
        self.scenario = self._write("sim/scenarios/silence.yaml", SCENARIO)

    def _write(self, name: str, text: str) -> Path:
        path = self.root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return path

    def edit(self, path: Path, old: str, new: str) -> None:
        """Replace the one place in a file where ``old`` stands."""
        text = path.read_text(encoding="utf-8")
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {path.name}"
        path.write_text(text.replace(old, new), encoding="utf-8")

    def files(self) -> dict[str, bytes]:
        """Every file under the root by its name, but for what Python keeps for itself."""
        found = (path for path in sorted(self.root.rglob("*")) if path.is_file() and path.suffix != ".pyc")
        return {str(path.relative_to(self.root)): path.read_bytes() for path in found}
