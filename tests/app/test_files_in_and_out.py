"""Files in every encoding that people have, and writes that are whole or not at all."""

import errno
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.app.files import decode, read_text, write_bytes, write_text
from gaugewright.errors import FileError, InputError

TEXT = "step;added_l;note\n1;45,5;Überlauf – 5 €\n"


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
def test_a_text_reads_the_same_in_every_encoding(tmp_path, encoding):
    if encoding == "utf-16-be":
        content = b"\xfe\xff" + TEXT.encode(encoding)
    else:
        content = TEXT.encode(encoding)
    path = tmp_path / "pours.csv"
    path.write_bytes(content)

    assert read_text(str(path)) == TEXT


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_a_mark_is_told_by_its_zeros(encoding):
    assert decode("step,added_l\n0,0\n".encode(encoding)) == "step,added_l\n0,0\n"


@pytest.mark.parametrize(
    "content",
    [b"\x00\x01\x02", b"PK\x03\x04\x14\x00", b"\x89PNG\r\n\x1a\n", bytes(range(256)), b"\x81\x8d"],
)
def test_binary_is_refused_with_the_files_name(tmp_path, content):
    path = tmp_path / "pours.csv"
    path.write_bytes(content)

    with pytest.raises(InputError, match=r"pours.csv: is not a text file"):
        read_text(str(path))


def test_a_100_mb_file_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "big.csv"
    with path.open("wb") as stream:
        stream.truncate(100_000_000)  # sparse: takes no room

    with pytest.raises(InputError, match=r"big.csv: is 100 MB, above the 20 MB that are read"):
        read_text(str(path))


def test_an_endless_stream_is_refused_too():
    with pytest.raises(InputError, match="goes on, above the 0 MB"):
        read_text("/dev/zero", most_bytes=1000)


def test_a_missing_file_and_a_folder_are_file_errors(tmp_path):
    with pytest.raises(FileError, match=r"nowhere.csv: cannot be read: no such file"):
        read_text(str(tmp_path / "nowhere.csv"))
    with pytest.raises(FileError, match="cannot be read: is a directory"):
        read_text(str(tmp_path))
    with pytest.raises(FileError, match="cannot be read"):
        read_text("a\0b")


def test_what_is_written_is_read_again(tmp_path):
    path = tmp_path / "table.csv"
    write_text(str(path), TEXT)
    write_text(str(path), TEXT * 2)

    assert path.read_text(encoding="utf-8") == TEXT * 2
    assert os.listdir(tmp_path) == ["table.csv"]


def test_a_new_file_has_the_usual_rights_and_an_old_one_keeps_its_own(tmp_path):
    new, old = tmp_path / "new.csv", tmp_path / "old.csv"
    old.write_text("x")
    old.chmod(0o600)
    previous = os.umask(0o022)
    try:
        write_text(str(new), TEXT)
        write_text(str(old), TEXT)
    finally:
        os.umask(previous)

    assert stat.S_IMODE(new.stat().st_mode) == 0o644
    assert stat.S_IMODE(old.stat().st_mode) == 0o600


def test_a_link_is_followed_and_stays_a_link(tmp_path):
    real, link = tmp_path / "real.csv", tmp_path / "link.csv"
    real.write_text("old")
    link.symlink_to(real)

    write_text(str(link), TEXT)

    assert link.is_symlink()
    assert real.read_text(encoding="utf-8") == TEXT


@pytest.mark.parametrize("failing", ["fsync", "replace", "chmod"])
def test_a_full_disk_leaves_the_old_file_and_nothing_beside_it(tmp_path, monkeypatch, failing):
    path = tmp_path / "table.csv"
    path.write_text("old")

    def full(*args, **kwargs):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, failing, full)

    with pytest.raises(FileError, match=r"table.csv: cannot be written: no space left on device"):
        write_text(str(path), TEXT)
    monkeypatch.undo()
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["table.csv"]


def test_a_really_full_disk_leaves_nothing_half_written(tmp_path):
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("needs leave to mount a small disk")
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)], capture_output=True
    )
    if mounted.returncode:
        pytest.skip("this machine lets nobody mount a disk")
    try:
        path = disk / "table.csv"
        path.write_text("old")
        with pytest.raises(FileError, match="no space left on device"):
            write_bytes(str(path), b"x" * 200_000)
        assert path.read_text() == "old"
        assert os.listdir(disk) == ["table.csv"]
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_writing_to_a_folder_or_into_a_missing_one_is_refused(tmp_path):
    with pytest.raises(FileError, match="cannot be written: it is a folder"):
        write_text(str(tmp_path), TEXT)
    with pytest.raises(FileError, match="cannot be written: no such file or directory"):
        write_text(str(tmp_path / "no" / "t.csv"), TEXT)


def test_without_leave_nothing_is_written(tmp_path, monkeypatch):
    path = tmp_path / "table.csv"
    path.write_text("old")
    monkeypatch.setattr(os, "access", lambda *args: False)  # root may write everywhere

    with pytest.raises(FileError, match="cannot be written: permission denied"):
        write_text(str(path), TEXT)
    assert path.read_text() == "old"


def test_a_pipe_is_written_through_and_not_replaced(tmp_path):
    write_text("/dev/null", TEXT)
    assert not Path("/dev/null").is_file()


@given(st.binary(max_size=300))
def test_any_bytes_are_text_or_an_input_error(content):
    try:
        text = decode(content, name="x")
    except InputError as error:
        text = str(error).removeprefix("x: is not a text file")
    assert "\0" not in text
