"""A small invented bus for stories about faults: four boards on ten metres of wire, and boards that write down."""

from pathlib import Path
from textwrap import dedent

CATALOGUE = """
catalogue: invented-faulty
bus:
  bit_rate: 250 kbit/s
  sample_point: 87.5 %
  supply: {voltage: 24 V}
  harness:
    trunk: 10 m
    stubs:
      - {at: 0 m, node: panel}
      - {at: 3 m, node: left}
      - {at: 6 m, node: right}
      - {at: 10 m, node: far}
    terminations: [{at: 0 m, ohm: 120 ohm}, {at: 10 m, ohm: 120 ohm}]
nodes:
  panel: {clock: 16 MHz, tolerance: 50 ppm}
  left:
    clock: 16 MHz
    tolerance: 0.3 %
    supply: {length: 2 m, cross_section: 1 mm2, joints: 10 mohm, peak: 1 A, idle: 0.1 A, at_least: 9 V}
  right: {clock: 16 MHz, tolerance: 0.3 %}
  far: {clock: 16 MHz, tolerance: 0.3 %}
codes:
  word: {0: stay, 1: go, 2: halt}
messages:
  order:
    id: 0x100
    from: panel
    to: [left, right]
    every: 10 ms
    lost_after: 35 ms
    accept: {when_lost: safe}
    signals:
      word: {bits: 2, codes: word, safe: halt, initial: stay}
      counter: {bits: 4, counts: 1}
      check: {bits: 8, crc: crc8-j1850}
  plain:
    id: 0x120
    from: panel
    to: [left, far]
    every: 10 ms
    offset: 2 ms
    lost_after: 35 ms
    signals:
      value: {bits: 8}
      counter: {bits: 4, counts: 1}
  report_left:
    id: 0x200
    from: left
    to: panel
    every: 10 ms
    offset: 4 ms
    lost_after: 35 ms
    signals: {state: {bits: 8}, counter: {bits: 4, counts: 1}}
  report_right:
    {id: 0x210, from: right, to: panel, every: 10 ms, offset: 6 ms, lost_after: 35 ms, signals: {state: {bits: 8}}}
  report_far:
    {id: 0x300, from: far, to: panel, every: 10 ms, offset: 8 ms, lost_after: 35 ms, signals: {state: {bits: 8}}}
  alarm:
    {id: 0x080, from: right, to: panel, irregular: {at_least_apart: 50 ms}, signals: {level: {bits: 2}}}
"""

MODELS = """
from busdesign.virtual.node import Choice, Flag, Node, Number


class Panel(Node):
    heard_left = Number()  # frames
    heard_right = Number()
    heard_far = Number()
    gap_left = Number("ms")  # between the latest two frames
    left_counts = Number()
    left_late = Number("us")  # after the tenth millisecond
    starts_of_left = Number()

    def begin(self):
        self.publish("order", word="go")
        self.publish("plain", value=7)
        self.last = {}

    def heard(self, message):
        if message.name == "report_left":
            self.heard_left += 1
            self.gap_left = (self.now_ns - self.last.get("left", self.now_ns)) / 1e6
            self.left_late = (self.now_ns % 10_000_000) / 1e3
            self.last["left"] = self.now_ns
            self.left_counts = float(message["counter"])
        elif message.name == "report_right":
            self.heard_right += 1
        elif message.name == "report_far":
            self.heard_far += 1


class Board(Node):
    word = Choice("none", "stay", "go", "halt")  # what it believes
    orders = Number()  # believed
    order_late = Number("us")
    misses = Number()
    plains = Number()
    value = Number()
    counter = Number(initial=-1.0)  # of plain
    step = Number(initial=1.0)  # of that counter
    apart = Number("ms", initial=10.0)
    power_ups = Number()

    def begin(self):
        self.power_ups = self.starts
        self.last_ns = None

    def heard(self, message):
        if message.name == "order":
            self.word = message["word"]
            self.orders += 1
            self.order_late = (self.now_ns % 10_000_000) / 1e3
        else:
            self.plains += 1
            self.value = float(message["value"])
            if self.last_ns is not None:
                self.step = (message["counter"] - self.counter) % 16
                self.apart = (self.now_ns - self.last_ns) / 1e6
            self.counter, self.last_ns = float(message["counter"]), self.now_ns

    def missed(self, message):
        if message.name == "order":
            self.misses += 1


class Left(Board):
    def begin(self):
        super().begin()
        self.publish("report_left", state=1)
"""

HEAD = """\
scenario: a story about a fault
catalogue: ../messages/faulty.yaml
run_for: {run_for}
seed: 3
models: {{panel: sim/boards.py:Panel, left: sim/boards.py:Left, right: sim/boards.py:Board, far: sim/boards.py:Board}}
payload: zero
"""


def laid_out(root: Path) -> Path:
    """The project in ``root``."""
    for folder in ("messages", "sim"):
        (root / folder).mkdir(parents=True, exist_ok=True)
    (root / "messages" / "faulty.yaml").write_text(dedent(CATALOGUE))
    (root / "sim" / "boards.py").write_text(dedent(MODELS))
    return root


def story(faults: str = "", expect: str = "", run_for: str = "500 ms") -> str:
    """The text of a scenario; ``faults``: the entries of the list, ``expect``: what is true at some moment."""
    text = HEAD.format(run_for=run_for)
    if faults:
        text += f"faults:\n{faults}"
    if expect:
        text += f'expect:\n  - {{name: it is so, after: true, within: {run_for}, then: "{expect}"}}\n'
    return text
