"""Colours that stay apart for colour-blind eyes. None of them speaks alone: a label, a shape or a place says the same.

Source of the eight hues: M. Okabe, K. Ito, "Color Universal Design", 2008 (from memory), darkened where text needs it.
"""

from collections.abc import Sequence

NODES = ("#0072b2", "#d55e00", "#00795a", "#b0527f", "#8a6100", "#3a7ca5", "#6d5bb3", "#5b6672")
BANDS = ("#e6eaee", "#cbe2f3", "#fbe0c4", "#cfeadf", "#f0d9e6", "#f4eebf", "#dcd9f0", "#d9e4d0")

# Words that are colours, as a lamp shows them; those of ``UNLIT`` are no hue, but a lamp may well say them.
HUES = {
    "red": "#c62828",
    "orange": "#d9730d",
    "amber": "#c98a00",
    "yellow": "#e0c300",
    "green": "#2e7d32",
    "cyan": "#0e8fa8",
    "blue": "#1857b8",
    "violet": "#6a3fb5",
    "purple": "#7b2f8f",
    "magenta": "#b0287f",
    "pink": "#d86a98",
    "brown": "#6d4c2f",
    "white": "#ffffff",
}
UNLIT = {
    "dark": "#30363d",
    "black": "#1c2126",
    "off": "#30363d",
    "none": "#30363d",
    "grey": "#8a939c",
    "gray": "#8a939c",
}


def node_colour(place: int) -> str:
    """Of the node that is number ``place`` in its catalogue."""
    return NODES[place % len(NODES)]


def band_colours(words: Sequence[str]) -> tuple[str, ...]:
    """One colour for each word: its own if all words are colours or no light, else quiet ones in turn."""
    own = {**HUES, **UNLIT}
    lowered = [word.lower() for word in words]
    if all(word in own for word in lowered) and any(word in HUES for word in lowered):
        return tuple(own[word] for word in lowered)
    return tuple(BANDS[place % len(BANDS)] for place in range(len(words)))
