"""Random numbers that depend on nothing but a seed and what they are for."""

from hashlib import sha256
from random import Random


def stream(seed: int, *purpose: object) -> Random:
    """Random numbers for one purpose only, so that no draw depends on what else is drawn, or in which order."""
    text = "/".join([str(seed), *map(str, purpose)])
    return Random(int.from_bytes(sha256(text.encode()).digest()[:8], "little"))
