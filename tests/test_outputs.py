"""Files are written whole or not at all."""

import os
from pathlib import Path

import pytest

from busdesign import outputs
from busdesign.errors import OutputError


def test_text_is_written_as_utf8_with_its_own_line_ends(tmp_path: Path) -> None:
    outputs.write_text(tmp_path / "out.txt", "λ\r\nx\n")
    assert (tmp_path / "out.txt").read_bytes() == "λ\r\nx\n".encode()
    assert os.listdir(tmp_path) == ["out.txt"]


def test_what_was_there_is_replaced_and_keeps_its_permissions(tmp_path: Path) -> None:
    path = tmp_path / "out.bin"
    path.write_bytes(b"old and longer")
    path.chmod(0o640)
    outputs.write_bytes(path, b"new")
    assert path.read_bytes() == b"new"
    assert path.stat().st_mode & 0o777 == 0o640


def test_a_new_file_has_the_usual_permissions(tmp_path: Path) -> None:
    (tmp_path / "usual").write_bytes(b"")
    outputs.write_bytes(tmp_path / "ours", b"")
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "usual").stat().st_mode


def test_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "link").symlink_to("real")
    outputs.write_bytes(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_bytes() == b"new"


def test_a_device_is_written_to_and_not_replaced() -> None:
    outputs.write_bytes(os.devnull, b"gone")
    assert not Path(os.devnull).is_file()


def test_the_longest_name_that_the_disk_allows(tmp_path: Path) -> None:
    outputs.write_bytes(tmp_path / ("n" * 255), b"data")
    assert (tmp_path / ("n" * 255)).read_bytes() == b"data"


@pytest.mark.parametrize("failure", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_failure_leaves_what_was_there_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failure: BaseException
) -> None:
    def fail(*_: object) -> None:
        raise failure

    path = tmp_path / "out.txt"
    path.write_text("old")
    monkeypatch.setattr(os, "replace", fail)
    expected = OutputError if isinstance(failure, OSError) else KeyboardInterrupt
    with pytest.raises(expected) as caught:
        outputs.write_text(path, "new")
    if expected is OutputError:
        assert str(caught.value) == f"cannot write `{path}`: No space left on device"
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["out.txt"]


@pytest.mark.parametrize(
    ("name", "reason"),
    [("", "it is a folder"), ("missing/out.txt", "there is no folder"), ("nul\0", "null"), ("n" * 256, "too long")],
)
def test_a_target_that_cannot_be_says_why(tmp_path: Path, name: str, reason: str) -> None:
    with pytest.raises(OutputError, match=reason):
        outputs.write_bytes(os.path.join(tmp_path, name), b"")
