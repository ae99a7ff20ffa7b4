"""``busdesign check --fix``: the difference first, then the question, and only then the file."""

import argparse
import re
import sys
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from difflib import unified_diff
from typing import TYPE_CHECKING, Any

from busdesign.cli.output import say, tell
from busdesign.cli.text import command, painted, printable, typed

if TYPE_CHECKING:
    from busdesign.answers.fix import Fix, FixAnswer
    from busdesign.findings import Finding

YES = ("y", "yes")
_COLOURS = {"-": "31", "+": "32", "@": "36"}


def add_options(parser: Any) -> None:
    """The options of ``check`` that mend."""
    about = "mend what was meant without a doubt, such as a misspelt key: shows the difference, then asks"
    parser.add_argument("--fix", action="store_true", help=about)
    parser.add_argument("--yes", action="store_true", help="with --fix: write it without asking")
    parser.set_defaults(refuse=parser.refuse)


def offer(given: argparse.Namespace) -> None:
    """Show and apply what ``--fix`` and ``--yes`` ask for; ``given.fixes`` is what ``--json`` says of it.

    Raises CatalogueError if there is nothing to read, OutputError if the file cannot be written.
    """
    from busdesign.answers.fix import fix, write_fixed

    given.fixes, given.refused = [], _with_fixes(given.refused, given)
    found = fix(given.file)
    given.fixes = _plain(found, applied=False)
    if not given.json:
        _show(found)
    if found.applicable and _is_wanted(given, found):
        write_fixed(found)
        given.fixes = _plain(found, applied=True)
        if not given.json:
            tell(f"written: {given.file}\n")


def next_fix(findings: "Iterable[Finding]", given: argparse.Namespace) -> list[str]:
    """The commands that mend some of ``findings``, one for each file in which a check found any that can be."""
    files = dict.fromkeys(found.edit.file for found in findings if found.edit)  # a catalogue may include some
    is_wanted = given.command == "check" and not given.fix
    return [command("check", typed(file), "--fix") for file in files] if is_wanted else []


def difference(found: "FixAnswer") -> list[str]:
    """Lines of a unified diff between the file as it is and as it would be, for stdout."""
    from busdesign.catalogue.text_file import lines_of

    # What follows the last line end is no line of a diff if it is empty.
    before, after = (lines_of(re.sub("\r?\n\\Z", "", text.decode("utf-8-sig"))) for text in (found.before, found.after))
    lines = unified_diff(before, after, found.file, f"{found.file} (mended)", lineterm="")
    shown = ["".join(sign if sign.isprintable() or sign == "\t" else "·" for sign in line) for line in lines]
    return [painted(line, _COLOURS[line[0]], sys.stdout) if line[0] in _COLOURS else line for line in shown]


def _with_fixes(refused: "Callable[[Sequence[Finding]], Any]", given: argparse.Namespace) -> Callable[..., Any]:
    return lambda findings: {**refused(findings), "fixes": given.fixes}


def _plain(found: "FixAnswer", *, applied: bool) -> list[dict[str, Any]]:
    from busdesign.answers.plain import as_plain

    return [{**as_plain(one), "applied": applied and not one.why_not} for one in found.fixes]


def _show(found: "FixAnswer") -> None:
    if found.applicable:
        say("\n".join(difference(found)) + "\n")
    tell("\n".join(map(_said, (*found.applicable, *found.left_out))) or "nothing here can be mended without a doubt")
    tell("")


def _said(one: "Fix") -> str:
    change = f"`{one.edit.old}` becomes `{one.edit.new}` ({one.rule})"
    return printable(f"{one.where}: " + (f"not applied: {change}: {one.why_not}" if one.why_not else change))


def _is_wanted(given: argparse.Namespace, found: "FixAnswer") -> bool:
    from busdesign.answers.fix import require_writable

    if given.yes or given.json:
        return bool(given.yes)
    if sys.stdin is None or not (sys.stdin.isatty() and sys.stdout.isatty()):
        tell(f"nothing was written; this applies it: {command('check', typed(given.file), '--fix', '--yes')}\n")
        return False
    require_writable(found)
    with suppress(OSError):
        print("apply? [y/N] ", end="", file=sys.stderr, flush=True)
    is_wanted = sys.stdin.readline().strip().lower() in YES
    tell("" if is_wanted else "nothing was written\n")
    return is_wanted
