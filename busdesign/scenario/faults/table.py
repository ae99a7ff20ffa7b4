"""The table of all kinds of fault as the guide has it."""

from busdesign.scenario.faults.kind import FaultKind
from busdesign.scenario.faults.kinds import FAMILIES

_HEAD = "| kind | what it is | what the bus does | what the error counters do | assumed |\n|---|---|---|---|---|\n"
_TITLES = {
    "nodes": "Nodes",
    "bits": "Bits",
    "wires": "Wires",
    "clocks": "Clocks and bit timing",
    "applications": "Applications",
}


def tables() -> str:
    """Markdown: of each family a table, and below it an entry of each kind."""
    return "\n".join(_family(_TITLES[name], kinds) for name, kinds in FAMILIES.items())


def _family(title: str, kinds: tuple[FaultKind, ...]) -> str:
    rows = "".join(f"| {' | '.join(_cells(kind))} |\n" for kind in kinds)
    examples = "".join(f"  - {kind.example}\n" for kind in kinds)
    return f"#### {title}\n\n{_HEAD}{rows}\n```yaml\nfaults:\n{examples}```\n"


def _cells(kind: FaultKind) -> tuple[str, ...]:
    return f"`{kind.name}`", kind.meaning, kind.bus, kind.counters, kind.assumed
