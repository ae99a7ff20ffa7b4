"""What a kind of fault is made of."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

EVERYWHERE = ("kind", "at", "until", "name", "comment")  # keys that every fault may have

# What may stand behind a key, on the demo's bus.
EXAMPLES: Mapping[str, str] = MappingProxyType(
    {
        "node": "strut_left",
        "message": "leg_demand",
        "frame": "1",
        "bit": "12",
        "seen_by": "[panel]",
        "rate": "20 ppm",
        "lasts": "200 us",
        "every": "10 ms",
        "id": "0x001",
        "by": "30 ms",
        "bit_rate": "125 kbit/s",
        "sample_point": "60 %",
        "error": "+3 %",
        "position": "5 m",
        "wire": "high",
        "ohm": "30 ohm",
        "voltage": "6 V",
    }
)


@dataclass(frozen=True, slots=True)
class FaultKind:
    """One kind of fault: ``meaning`` in a line, what the ``bus`` does, what the error ``counters`` do, what is assumed.

    ``needs`` and ``takes`` are the keys of an entry beside those of `EVERYWHERE`. ``assumed`` says what is taken for
    granted and where that comes from: a source, `from memory`, `common practice, no source` or `assumption`.
    """

    name: str
    meaning: str
    bus: str
    counters: str
    assumed: str
    needs: tuple[str, ...] = ()
    takes: tuple[str, ...] = ()
    more: str = ""  # what an example needs beside the keys that must stand
    has_end: bool = True  # it lasts; one that happens once takes no ``until``

    @property
    def keys(self) -> tuple[str, ...]:
        """Its own keys, those that it needs first."""
        return self.needs + self.takes

    @property
    def allowed(self) -> tuple[str, ...]:
        """All keys that an entry of this kind may have."""
        return tuple(key for key in EVERYWHERE if self.has_end or key != "until") + self.keys

    @property
    def example(self) -> str:
        """An entry of this kind, on the demo's bus."""
        lasts = "at: 3 s, until: 5 s" if self.has_end else "at: 3 s"
        written = [f"{key}: {EXAMPLES[key]}" for key in self.needs if f"{key}:" not in self.more]
        return "{" + ", ".join([lasts, f"kind: {self.name}", *written, *([self.more] if self.more else [])]) + "}"
