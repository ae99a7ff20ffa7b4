"""An invented project for reports: a slow bus, two gates and a desk, with something that holds, breaks and waits."""

from pathlib import Path

from busdesign.answers.check import CheckAnswer, check
from busdesign.answers.simulate import SimulateAnswer, simulate

CATALOGUE = """\
catalogue: {name}
revision: 3
comment: Two gates that do not exist. All figures are invented.
bus: {{bit_rate: {bit_rate}}}
nodes:
  desk: {{comment: gives the orders}}
  gate_east: {{}}
  gate_west: {{}}
codes:
  order: {{0: stay, 1: open, 2: shut}}
  light: {{0: dark, 1: red, 2: green}}
messages:
  gate_order:
    id: 0x100
    from: desk
    to: [gate_east, gate_west]
    every: 20 ms
    deadline: 8 ms
    lost_after: 100 ms
    signals: {{order: {{bits: 2, codes: order}}}}
  gate_report:
    for_each: {{gate: [east, west], id: [0x200, 0x201], from: [gate_east, gate_west]}}
    to: desk
    every: 20 ms
    deadline: 9 ms
    jitter: 3 ms
    lost_after: 60 ms
    signals:
      angle: {{bits: 10, factor: 0.1, unit: deg, range: [0, 90]}}
      light: {{bits: 2, codes: light}}
  wear_report:
    id: 0x18FF0001
    extended: true
    from: gate_west
    to: desk
    every: 100 ms
    signals: {{cycles: {{bits: 32}}}}
"""

MODELS = """\
from busdesign.virtual.node import Choice, Flag, Node, Number


class Desk(Node):
    switch = Choice("stay", "open", "shut", settable=True)
    lamp = Choice("dark", "red", "green")
    never_changes = Flag()

    def begin(self):
        self.each("20 ms", self.look)

    def heard(self, message):
        if message.name == "gate_report_east":
            self.lamp = message["light"]

    def look(self):
        self.publish("gate_order", order=self.switch)


class Gate(Node):
    angle = Number("deg")
    moving = Flag()

    def begin(self):
        self.aim = 0.0
        self.each("10 ms", self.look)

    def heard(self, message):
        self.aim = {"open": 90.0, "shut": 0.0}.get(message["order"], self.angle)

    def look(self):
        self.moving = self.angle != self.aim
        self.angle = min(self.angle + 1.5, self.aim) if self.aim > self.angle else max(self.angle - 1.5, self.aim)
        self.publish("gate_report", angle=self.angle, light="red" if self.moving else "green")
"""

STORY = """\
scenario: {name}
catalogue: ../../messages/gates.yaml
run_for: {run_for}
seed: 5
models:
  desk: sim/gates.py:Desk
  gate_east: sim/gates.py:Gate
steps:
  - {{at: 100 ms, set: {{desk.switch: open}}}}
faults:
  - {{at: 400 ms, until: 600 ms, kind: silent, node: gate_east}}
  - {{at: 900 ms, kind: silent, node: gate_west}}
expect:
  - {{name: the order arrives, after: "desk.switch == open", within: 100 ms, then: "gate_east.moving"}}
  - {{name: the east gate is never silent, never: "gate_east.silent"}}
  - {{name: the desk is never missed, after: "desk.silent", within: 50 ms, then: "desk.lamp == red"}}
  - {{name: what is said is what is, always: "gate_report_west.angle <= 90"}}
"""


def project(root: Path, *, name: str = "invented-gates", bit_rate: str = "50 kbit/s") -> Path:
    """Writes the catalogue and the models; the catalogue's path."""
    for folder in ("messages", "sim/scenarios"):
        (root / folder).mkdir(parents=True, exist_ok=True)
    (root / "sim" / "gates.py").write_text(MODELS)
    path = root / "messages" / "gates.yaml"
    path.write_text(CATALOGUE.format(name=name, bit_rate=bit_rate))
    return path


def ran(root: Path, *, name: str = "a gate opens", run_for: str = "1 s", text: str = STORY) -> SimulateAnswer:
    """A run in a project written before."""
    path = root / "sim" / "scenarios" / "story.yaml"
    path.write_text(text.format(name=name, run_for=run_for))
    return simulate(path)


def checked(root: Path) -> CheckAnswer:
    """The check of that project's catalogue."""
    return check(root / "messages" / "gates.yaml")
