"""Scripts that let a shell complete commands, options and file names."""

import argparse
from collections.abc import Iterator

import shtab

_COMPLETED = {"CATALOGUE": shtab.FILE, "SCENARIO": shtab.FILE, "FILE": shtab.FILE, "DIR": shtab.DIRECTORY}


def completion_script(parser: argparse.ArgumentParser, shell: str) -> str:
    """The script for ``shell``; its head says where to put it."""
    for action in _actions(parser):
        if action.metavar in _COMPLETED:
            action.complete = _COMPLETED[action.metavar]  # type: ignore[attr-defined]
    return str(shtab.complete(parser, shell))


def _actions(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    for action in parser._actions:
        yield action
        if isinstance(action, argparse._SubParsersAction):
            for command in action.choices.values():
                yield from _actions(command)
