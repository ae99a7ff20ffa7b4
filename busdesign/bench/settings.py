"""The user's own settings: which interfaces are bench-safe, so that sending on them need not be confirmed each time.

    bench_safe: ['socketcan:vcan0']     # nothing that moves hangs on these

They stand in the user's folder for configuration alone, never in a project: a project may come from somebody else.
"""

import os
import sys
from pathlib import Path

from busdesign.bench.gate_interface import Interface, interface_error, read_interface
from busdesign.catalogue.source import Source, Unreadable, read_source
from busdesign.errors import InterfaceError
from busdesign.findings import Finding, did_you_mean, error, shown

KEY = "bench_safe"


def settings_file() -> Path | None:
    """Where the settings are looked for; None if the platform names no folder for configuration."""
    if sys.platform == "win32":
        above = os.environ.get("APPDATA", "")
    elif sys.platform == "darwin":
        above = os.path.expanduser("~/Library/Application Support")
    else:
        above = os.environ.get("XDG_CONFIG_HOME", "") or os.path.expanduser("~/.config")
    return Path(above, "busdesign", "settings.yaml") if os.path.isabs(above) else None


def bench_safe_interfaces() -> frozenset[Interface]:
    """The interfaces that the user has listed as bench-safe. Raises InterfaceError if the file is wrong."""
    file = settings_file()
    if file is None or not file.exists():
        return frozenset()
    try:
        source, findings = read_source(file)
    except Unreadable as refused:
        raise InterfaceError([refused.finding]) from None
    listed, more = _listed(source)
    if findings or more:
        raise InterfaceError([*findings, *more])
    return listed


def _listed(source: Source) -> tuple[frozenset[Interface], list[Finding]]:
    if not isinstance(source.data, dict):
        text = f"expected `{KEY}: [...]`, found {shown(source.data)}"
        return frozenset(), [error("settings-file", source.of_value(()), text)]
    findings = [
        error("settings-file", source.of_key((key,)), f"{shown(key)} is no setting", did_you_mean(key, [KEY]))
        for key in source.data
        if key != KEY
    ]
    written = source.data.get(KEY, [])
    if not isinstance(written, list):
        text = f"expected a list of interfaces, found {shown(written)}"
        return frozenset(), [*findings, error("settings-file", source.of_value((KEY,)), text, "['socketcan:vcan0']")]
    listed = set()
    for index, name in enumerate(written):
        try:
            listed.add(_one(name))
        except InterfaceError as refused:
            said = refused.findings[0]
            findings.append(error("settings-file", source.of_value((KEY, index)), said.text, said.fix))
    return frozenset(listed), findings


def _one(written: object) -> Interface:
    """Each is named in full: what stands for several would let one through that nobody thought of."""
    found = read_interface(written if isinstance(written, str) else shown(written))
    if any(sign in found.channel for sign in "*?["):
        raise interface_error("settings-file", f"{shown(written)} stands for several", "name each channel in full")
    return found
