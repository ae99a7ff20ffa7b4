"""The same loop without its compiler: the oracle that the compiled one is held against, and the baseline of speed."""

from collections.abc import Callable
from types import FunctionType
from typing import Any


def interpreted(loop: Callable[..., Any]) -> Callable[..., Any]:
    """``loop`` as plain Python, and so every compiled function that it calls."""
    return _plain(loop, {})


def _plain(loop: Any, known: dict[int, Callable[..., Any]]) -> Callable[..., Any]:
    if id(loop) in known:
        return known[id(loop)]
    source = loop.py_func
    names = dict(source.__globals__)
    twin = FunctionType(source.__code__, names, source.__name__, source.__defaults__)
    known[id(loop)] = twin
    for name in source.__code__.co_names:
        if hasattr(names.get(name), "py_func"):
            names[name] = _plain(names[name], known)
    return twin
