"""Nothing but a plain file is ever opened, and nothing waits."""

from __future__ import annotations

import os
import socket
from pathlib import Path

import pytest

from sitegen.regular import NotRegularError, open_regular, read_regular, sha256_of


def test_a_plain_file_is_read(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"one")
    assert read_regular(tmp_path / "a") == b"one"
    assert sha256_of(tmp_path / "a") == "7692c3ad3540bb803c020b3aee66cd8887123234ea0c6e7143c0add73ff431ed"
    with pytest.raises(FileNotFoundError):
        read_regular(tmp_path / "b")
    with pytest.raises(IsADirectoryError):
        read_regular(tmp_path)


@pytest.mark.skipif(os.name == "nt", reason="this system has no such files")
def test_pipes_sockets_devices_and_links_are_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with socket.socket(socket.AF_UNIX) as bound:
        bound.bind(os.path.relpath(tmp_path / "socket"))
        (tmp_path / "zero").symlink_to("/dev/zero")
        (tmp_path / "round").symlink_to("round")
        for name, says in (("pipe", "named pipe"), ("socket", "socket"), ("zero", "link"), ("round", "link")):
            with pytest.raises(NotRegularError, match=says):
                open_regular(tmp_path / name)
    with pytest.raises(NotRegularError, match="device"):
        open_regular(Path("/dev/zero"))


@pytest.mark.skipif(os.name == "nt", reason="this system has no such files")
def test_links_are_followed_inside_a_folder_and_never_out_of_it(tmp_path: Path) -> None:
    home = tmp_path / "home"
    (home / "deep").mkdir(parents=True)
    (home / "deep" / "a").write_bytes(b"one")
    (tmp_path / "secret").write_bytes(b"not yours")
    os.mkfifo(home / "pipe")
    for name, to in (("in", "deep/a"), ("out", "../secret"), ("up", ".."), ("to-pipe", "pipe"), ("round", "round")):
        (home / name).symlink_to(to)
    assert read_regular(home / "in", within=home) == b"one"
    assert sha256_of(home / "deep" / "a", within=home) == sha256_of(home / "in", within=home)
    for name in ("out", "up/secret", "to-pipe", "round"):
        with pytest.raises(NotRegularError):
            read_regular(home / name, within=home)


def test_a_link_put_there_after_the_look_is_not_followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "secret").write_bytes(b"not yours")
    (tmp_path / "a").write_bytes(b"one")
    real = os.open

    def swapped(path: Path, flags: int, dir_fd: int | None = None) -> int:
        (tmp_path / "a").unlink()
        (tmp_path / "a").symlink_to("secret")
        return real(path, flags, dir_fd=dir_fd)

    monkeypatch.setattr(os, "open", swapped)
    with pytest.raises(NotRegularError, match="not a plain file"):
        open_regular(tmp_path / "a")
