"""``busdesign.compile_catalogue``: which files are written where, and what stays as it was if it cannot be done."""

from pathlib import Path

import cantools
import pytest

import busdesign
from busdesign.answers.compile import compile_catalogue
from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import CatalogueError, OutputError
from busdesign.export import dbc
from tests.cli.projects import CATALOGUE


def test_the_database_is_written_under_the_catalogues_name(tmp_path: Path) -> None:
    answer = compile_catalogue(parse_catalogue(CATALOGUE), tmp_path / "made" / "along")
    assert answer.catalogue == "gate"
    assert answer.files == (tmp_path / "made" / "along" / "gate.dbc",)
    assert answer.files[0].read_bytes() == dbc.render(parse_catalogue(CATALOGUE)).data
    assert answer.losses == dbc.render(parse_catalogue(CATALOGUE)).losses
    assert answer.losses
    assert (answer.findings, answer.holds) == ((), True)
    read = cantools.database.load_file(answer.files[0])
    assert isinstance(read, cantools.database.can.Database)
    assert {message.name: message.frame_id for message in read.messages} == {
        "demand": 0x110,
        "alarm": 0x120,
        "report": 0x210,
    }


def test_the_file_of_a_catalogue_does_as_well(tmp_path: Path) -> None:
    (tmp_path / "gate.yaml").write_text(CATALOGUE)
    answer = busdesign.compile_catalogue(str(tmp_path / "gate.yaml"), str(tmp_path))
    assert answer.files[0].read_bytes() == dbc.render(parse_catalogue(CATALOGUE)).data


def test_an_older_file_is_replaced_and_its_neighbours_stay(tmp_path: Path) -> None:
    (tmp_path / "gate.dbc").write_text("old")
    (tmp_path / "notes.txt").write_text("kept")
    compile_catalogue(parse_catalogue(CATALOGUE), tmp_path)
    assert (tmp_path / "gate.dbc").read_text(encoding="cp1252").startswith("VERSION")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["gate.dbc", "notes.txt"]


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("gate", "gate.dbc"),
        ("../up/and away", "_up_and_away.dbc"),
        ("größe 2.1", "größe_2.1.dbc"),
        ("...", "catalogue.dbc"),
    ],
)
def test_a_name_becomes_a_file_name_in_the_folder(tmp_path: Path, name: str, file: str) -> None:
    text = CATALOGUE.replace("catalogue: gate", f"catalogue: '{name}'")
    compile_catalogue(parse_catalogue(text), tmp_path / "out")
    assert [path.name for path in (tmp_path / "out").iterdir()] == [file]


def test_an_unusable_catalogue_writes_nothing(tmp_path: Path) -> None:
    (tmp_path / "gate.yaml").write_text(CATALOGUE.replace("bits: 12", "bits: 120"))
    (tmp_path / "gate.dbc").write_text("old")
    with pytest.raises(CatalogueError):
        compile_catalogue(tmp_path / "gate.yaml", tmp_path)
    with pytest.raises(CatalogueError):
        compile_catalogue(tmp_path / "gate.yaml", tmp_path / "new")
    assert (tmp_path / "gate.dbc").read_text() == "old"
    assert not (tmp_path / "new").exists()


def test_a_catalogue_that_the_format_cannot_hold_writes_nothing(tmp_path: Path) -> None:
    text = CATALOGUE.replace("    id: 0x210\n", "")
    with pytest.raises(CatalogueError):
        compile_catalogue(parse_catalogue(text), tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_a_folder_that_cannot_be(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    (tmp_path / "taken" / "gate.dbc").mkdir(parents=True)
    catalogue = parse_catalogue(CATALOGUE)
    for folder, reason in {
        "file": "a file of that name",
        "file/x": "Not a directory",
        "taken": "it is a folder",
    }.items():
        with pytest.raises(OutputError, match=reason):
            compile_catalogue(catalogue, tmp_path / folder)
    assert [path.name for path in (tmp_path / "taken").iterdir()] == ["gate.dbc"]
