"""A file that is not there: where a project would keep one of its name is looked at, and what is found is named."""

from pathlib import Path

import pytest

from busdesign.catalogue.reader import read_catalogue
from busdesign.errors import CatalogueError


def hint_for(path: str) -> str:
    with pytest.raises(CatalogueError) as raised:
        read_catalogue(path)
    [finding] = raised.value.findings
    assert (finding.rule, str(finding.where)) == ("file-missing", f"{path}:1:1")
    return finding.fix


@pytest.fixture
def project(tmp_path: Path) -> Path:
    for folder in ("messages", "sim/scenarios"):
        (tmp_path / folder).mkdir(parents=True)
    (tmp_path / "messages" / "boat.yaml").touch()
    (tmp_path / "sim" / "scenarios" / "calm.yaml").touch()
    return tmp_path


@pytest.mark.parametrize(
    ("inside", "asked", "found"),
    [
        (".", "boat.yaml", "messages/boat.yaml"),
        (".", "calm.yaml", "sim/scenarios/calm.yaml"),
        (".", "sim/boat.yaml", "messages/boat.yaml"),
        ("messages", "messages/boat.yaml", "boat.yaml"),
        ("sim", "messages/boat.yaml", "../messages/boat.yaml"),
        ("sim/scenarios", "boat.yaml", "../../messages/boat.yaml"),
    ],
)
def test_the_file_in_another_folder_is_named(
    inside: str, asked: str, found: str, project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(project / inside)
    assert hint_for(asked) == f"there is `{found}`"


def test_an_absolute_path_is_answered_with_one(project: Path) -> None:
    assert hint_for(str(project / "boat.yaml")) == f"there is `{project / 'messages' / 'boat.yaml'}`"


def test_no_farther_than_three_folders_up(project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    deep = project / "one" / "two" / "three" / "four"
    deep.mkdir(parents=True)
    monkeypatch.chdir(deep)
    assert hint_for("boat.yaml") == "there is no YAML file in `.`"


def test_a_slip_in_the_name_is_still_told(project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(project)
    assert hint_for("messages/baot.yaml") == "did you mean `messages/boat.yaml`?"
