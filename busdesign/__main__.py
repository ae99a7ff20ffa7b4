"""``python -m busdesign``: the same as the installed command."""

from busdesign.cli.main import run

run()
