"""End-to-end promises along a path that the messages do not go."""

from collections.abc import Iterator

from busdesign.catalogue.advice.told import broken
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.paths import way_of
from busdesign.findings import Finding


def broken_path(catalogue: Catalogue) -> Iterator[Finding]:
    """Two steps of which the one does not lead to the other: nobody hears the message, or another node sends it."""
    for function in catalogue.functions:
        gap = way_of(function, catalogue).gap
        if gap:
            step, following, why, fix = gap
            text = f"the path of `{function.name}` does not lead from `{step}` to `{following}`: {why}"
            yield broken("broken-path", function.place, text, fix)
