"""Message designer and traffic simulator for a two-wire field bus (CAN, ISO 11898).

The Python API is one verb for each door; each returns a typed answer:

    catalogue = busdesign.load("messages/saltmarsh.yaml")
    busdesign.check(catalogue).holds
    busdesign.simulate("sim/scenarios/retract.yaml").messages

Names are loaded when they are first used, so that importing the package costs nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from busdesign.answers.audit import audit as audit
    from busdesign.answers.check import check as check
    from busdesign.answers.compare import compare as compare
    from busdesign.answers.compile import compile_catalogue as compile_catalogue
    from busdesign.answers.explain import explain as explain
    from busdesign.answers.frame import frame as frame
    from busdesign.answers.new import new_project as new_project
    from busdesign.answers.record import record as record
    from busdesign.answers.recording import read_traffic as read_traffic
    from busdesign.answers.replay import replay as replay
    from busdesign.answers.simulate import simulate as simulate
    from busdesign.answers.timing import timing as timing
    from busdesign.answers.timing_of import timing_of as timing_of
    from busdesign.catalogue.reader import read_catalogue as load
    from busdesign.traffic.files import write_traffic as write_traffic

_WHERE = {
    "audit": ("busdesign.answers.audit", "audit"),
    "check": ("busdesign.answers.check", "check"),
    "compare": ("busdesign.answers.compare", "compare"),
    "compile_catalogue": ("busdesign.answers.compile", "compile_catalogue"),
    "explain": ("busdesign.answers.explain", "explain"),
    "frame": ("busdesign.answers.frame", "frame"),
    "load": ("busdesign.catalogue.reader", "read_catalogue"),
    "new_project": ("busdesign.answers.new", "new_project"),
    "record": ("busdesign.answers.record", "record"),
    "replay": ("busdesign.answers.replay", "replay"),
    "read_traffic": ("busdesign.answers.recording", "read_traffic"),
    "simulate": ("busdesign.answers.simulate", "simulate"),
    "timing": ("busdesign.answers.timing", "timing"),
    "timing_of": ("busdesign.answers.timing_of", "timing_of"),
    "write_traffic": ("busdesign.traffic.files", "write_traffic"),
}

__all__ = [
    "audit",
    "check",
    "compare",
    "compile_catalogue",
    "explain",
    "frame",
    "load",
    "new_project",
    "read_traffic",
    "record",
    "replay",
    "simulate",
    "timing",
    "timing_of",
    "write_traffic",
]


def __getattr__(name: str) -> Any:
    if name == "__version__":
        return _version()
    if name not in _WHERE:
        raise AttributeError(f"module 'busdesign' has no attribute {name!r}")
    module, attribute = _WHERE[name]
    found = getattr(import_module(module), attribute)
    globals()[name] = found
    return found


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("busdesign")
    except PackageNotFoundError:  # run from a checkout
        return "0+not.installed"


def __dir__() -> list[str]:
    return sorted([*globals(), *_WHERE])
