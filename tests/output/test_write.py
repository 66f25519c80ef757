"""A file is all there or not there at all, and a refusal is one sentence that says how to mend it."""

import errno
import os
import tempfile
from pathlib import Path

import pytest

from evenhand.errors import OutputError
from evenhand.output.write import check_writable, write_beside_then_rename


def test_a_new_file_has_all_bytes_and_the_usual_permissions(tmp_path: Path):
    target = tmp_path / "verdicts – ü.json"
    write_beside_then_rename(target, b"\x00all\n" * 1000)
    assert target.read_bytes() == b"\x00all\n" * 1000
    plain = tmp_path / "plain"
    plain.write_bytes(b"")
    assert target.stat().st_mode == plain.stat().st_mode
    assert sorted(p.name for p in tmp_path.iterdir()) == ["plain", target.name]


def test_an_older_file_is_replaced_and_keeps_its_permissions(tmp_path: Path):
    target = tmp_path / "out"
    target.write_bytes(b"old and longer")
    target.chmod(0o640)
    write_beside_then_rename(target, b"new")
    assert target.read_bytes() == b"new"
    assert target.stat().st_mode & 0o777 == 0o640


def test_a_link_stays_a_link(tmp_path: Path):
    (tmp_path / "real").mkdir()
    link = tmp_path / "link"
    link.symlink_to(tmp_path / "real" / "file")
    write_beside_then_rename(link, b"new")
    assert link.is_symlink()
    assert (tmp_path / "real" / "file").read_bytes() == b"new"


@pytest.mark.parametrize("step", [check_writable, lambda path: write_beside_then_rename(path, b"x")])
class TestRefusals:
    def test_a_missing_folder(self, step, tmp_path: Path):
        with pytest.raises(OutputError, match=r"^Cannot write .*: its folder does not exist; .*\.$"):
            step(tmp_path / "nowhere" / "out")
        assert list(tmp_path.iterdir()) == []

    def test_a_folder_in_the_place_of_the_file(self, step, tmp_path: Path):
        with pytest.raises(OutputError, match="it is a folder; add the name of a file"):
            step(tmp_path)

    def test_a_file_in_the_place_of_the_folder(self, step, tmp_path: Path):
        (tmp_path / "file").write_bytes(b"old")
        with pytest.raises(OutputError, match="a part of its path is a file"):
            step(tmp_path / "file" / "out")

    def test_a_pipe(self, step, tmp_path: Path):
        os.mkfifo(tmp_path / "pipe")
        with pytest.raises(OutputError, match="not a plain file"):
            step(tmp_path / "pipe")

    def test_a_name_that_is_too_long(self, step, tmp_path: Path):
        with pytest.raises(OutputError, match="name is too long"):
            step(tmp_path / ("x" * 300))

    def test_a_folder_that_may_not_be_written(self, step, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
        def refuse(**_: object) -> None:
            raise PermissionError(errno.EACCES, "Permission denied")

        monkeypatch.setattr(tempfile, "mkstemp", refuse)
        with pytest.raises(OutputError, match="you may not write in its folder"):
            step(tmp_path / "out")

    def test_a_file_marked_as_not_to_be_written(self, step, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
        (tmp_path / "out").write_bytes(b"old")
        monkeypatch.setattr(os, "access", lambda *_: False)
        with pytest.raises(OutputError, match="marked as not to be written"):
            step(tmp_path / "out")
        assert (tmp_path / "out").read_bytes() == b"old"


@pytest.mark.parametrize(("number", "words"), [(errno.ENOSPC, "the disk is full"), (errno.EIO, "reports a fault")])
@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_failure_half_way_leaves_the_old_file_and_no_other(tmp_path: Path, monkeypatch, call, number, words):
    target = tmp_path / "out"
    target.write_bytes(b"old")

    def fail(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, call, fail)
    with pytest.raises(OutputError, match=words) as caught:
        write_beside_then_rename(target, b"new")
    assert "\n" not in str(caught.value)
    assert target.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_check_leaves_nothing_and_changes_nothing(tmp_path: Path):
    check_writable(tmp_path / "new")
    assert list(tmp_path.iterdir()) == []
    old = tmp_path / "old"
    old.write_bytes(b"old")
    check_writable(old)
    assert old.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["old"]
