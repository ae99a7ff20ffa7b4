"""Hints for many slips that one rule finds, each held against the same names."""

from collections.abc import Iterable

from busdesign.findings import did_you_mean

MOST_LOOKED_UP = 100  # different words: a file with more of them has another fault than slips of typing


class Hints:
    """What may be meant by names that do not stand under ``section``, of which ``names`` are the ones that do."""

    def __init__(self, names: Iterable[str], section: str) -> None:
        self._names, self._section = tuple(names), section
        self._of: dict[str, str] = {}

    def of(self, wrong: str) -> str:
        """A hint as ``did_you_mean`` gives it; beyond the first hundred different words, where to look."""
        hint = self._of.get(wrong)
        if hint is None:
            is_sought = len(self._of) < MOST_LOOKED_UP
            where = f"one of the {len(self._names)} names under `{self._section}`"
            hint = self._of[wrong] = did_you_mean(wrong, self._names) if is_sought else where
        return hint
