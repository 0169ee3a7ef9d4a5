"""Writing results: all or nothing, and no older result is lost."""

import errno
import os

import pytest

from service import output
from service.output import OutputError, default_folder, prepare, write_files

FILES = {"a.txt": b"new a", "b.txt": b"new b"}


def test_all_written_and_nothing_left_over(tmp_path):
    folder = tmp_path / "x" / "y"
    assert write_files(folder, FILES) == [folder / "a.txt", folder / "b.txt"]
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == FILES


def test_files_are_readable_as_the_umask_says(tmp_path):
    old = os.umask(0o022)
    try:
        (path, *_) = write_files(tmp_path, FILES)
    finally:
        os.umask(old)
    assert path.stat().st_mode & 0o777 == 0o644


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT, errno.EIO])
def test_a_full_disk_leaves_the_old_files_alone(tmp_path, monkeypatch, number):
    write_files(tmp_path, {"a.txt": b"old a", "b.txt": b"old b"})
    calls = []

    def fsync(fd):
        calls.append(fd)
        if len(calls) == 2:
            raise OSError(number, os.strerror(number))

    monkeypatch.setattr(output.os, "fsync", fsync)
    with pytest.raises(OutputError) as err:
        write_files(tmp_path, FILES)
    assert str(tmp_path) in str(err.value) and "--out" in err.value.remedy
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a.txt": b"old a", "b.txt": b"old b"}


def test_a_file_in_the_way(tmp_path):
    (tmp_path / "x").write_text("a file")
    with pytest.raises(OutputError, match="in the way"):
        prepare(tmp_path / "x")
    with pytest.raises(OutputError, match="not a folder"):
        prepare(tmp_path / "x" / "y")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_of_someone_else(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="may not write"):
        prepare(tmp_path / "x")


@pytest.mark.parametrize(("photo", "name"), [
    ("photos/chest front.jpg", "chest-front"), ("a.b.jpeg", "a.b"), ("...", "piece"), ("../../etc.jpg", "etc"), ("éö.png", "éö"),
    ("x" * 300 + ".jpg", "x" * 80),
])
def test_default_folder_is_named_after_the_first_photo(photo, name):
    assert default_folder(photo).parts == ("grainassay-out", name)
