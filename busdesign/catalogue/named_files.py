"""Files that a file names: their paths as it means them, and a hint for one that is not there."""

import os

from busdesign.catalogue.text_file import found_nearby
from busdesign.findings import did_you_mean, nearest


def named_from(written: str, file: str) -> str:
    """The path of the file that ``file`` names from its own folder, without detours where that is safe."""
    straight = os.path.join(os.path.dirname(file), written)
    short = os.path.normpath(straight)
    try:
        return short if os.path.samefile(short, straight) else straight
    except (OSError, ValueError):
        return straight if os.path.lexists(straight) else short


def near_files(path: str, file: str) -> str:
    """A hint for a ``path`` that leads nowhere: a file of its name elsewhere, or the likeliest YAML file in its folder.

    It is told as ``file`` is to name it.
    """
    home = os.path.dirname(file)
    elsewhere = found_nearby(path) or found_nearby(os.path.join(home, os.path.basename(path)))
    if elsewhere:
        return f"there is `{elsewhere}`: write `{os.path.relpath(elsewhere, home or '.')}`"
    folder, wrong = os.path.split(path)
    try:
        names = sorted(name for name in os.listdir(folder or ".") if name.endswith((".yaml", ".yml")))
    except (OSError, ValueError):
        return f"there is no folder `{folder}` either"
    by_stem = {os.path.splitext(name)[0]: name for name in reversed(names)}
    close = nearest(os.path.splitext(wrong)[0], by_stem)  # the ending alone makes no two names alike
    return f"did you mean `{by_stem[close]}`?" if close else did_you_mean("", names)
