"""A bar with the time left, on stderr, for work that takes longer than two seconds."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

PATIENCE_S = 2.0


@contextmanager
def progress_bar(what: str) -> Iterator[Callable[[float], None]]:
    """Gives a function that is told the part done, 0 to 1. Silent for short work, and where stderr is no terminal."""
    if not sys.stderr.isatty():
        yield lambda part: None
        return
    bar = _Bar(what)
    try:
        yield bar.show
    finally:
        bar.close()


class _Bar:
    def __init__(self, what: str) -> None:
        self._what, self._began = what, time.monotonic()
        self._update: Callable[[float], None] | None = None
        self._stop: Callable[[], None] = lambda: None

    def show(self, part: float) -> None:
        if self._update is None:
            if time.monotonic() - self._began < PATIENCE_S:
                return
            self._update = self._open()
        self._update(part)

    def _open(self) -> Callable[[float], None]:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

        columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
        bar = Progress(*columns, console=Console(stderr=True), transient=True)
        task = bar.add_task(self._what, total=1.0)
        bar.start()
        self._stop = bar.stop
        return lambda part: bar.update(task, completed=part)

    def close(self) -> None:
        self._stop()
