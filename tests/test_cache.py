"""What is kept is believed only where nobody else can write, made anew where it is damaged, and never executed."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from house import plain
from PIL import Image

from sitegen import cache as keeping
from sitegen import pictures
from sitegen.cache import keep, kept
from sitegen.pages.bundle import chart_script

posix = pytest.mark.skipif(os.name == "nt", reason="rights are others there")


@pytest.fixture(autouse=True)
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A cache folder of one's own that is not there yet."""
    keeping._said.clear()
    monkeypatch.setenv("SITEGEN_CACHE", str(tmp_path / "cache"))
    yield tmp_path / "cache"
    keeping._said.clear()


def sealed(content: bytes) -> bytes:
    """As it is kept: anybody can work out the hash."""
    return content + b"\n//" + hashlib.sha256(content).hexdigest().encode()


@posix
def test_the_folders_are_made_for_us_alone(own: Path) -> None:
    before = os.umask(0o000)
    try:
        keep(own / "pictures" / "a", b"one")
    finally:
        os.umask(before)
    assert kept(own / "pictures" / "a") == b"one"
    assert {each.stat().st_mode & 0o777 for each in (own, own / "pictures")} == {0o700}


def test_asking_makes_no_folder(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert kept(own / "pictures" / "a") is None
    assert not own.exists()
    assert capsys.readouterr().err == ""


@posix
@pytest.mark.parametrize("what", ["group", "others", "link", "file", "inner", "inner link", "owner"])
def test_where_others_can_write_nothing_is_kept_and_one_line_says_so(
    own: Path, what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    if what == "owner" and os.geteuid() != 0:
        pytest.skip("only root can give a folder away")
    place = own / "kept" / "a"
    keep(place, b"one")
    place.write_bytes(sealed(b"planted"))
    assert kept(place) == b"planted"  # what is refused below is the folder
    if what in {"group", "others"}:
        own.chmod(0o720 if what == "group" else 0o702)
    elif what == "inner":
        (own / "kept").chmod(0o777)
    elif what == "owner":
        os.chown(own, 65534, 65534)
    elif what == "link":
        own.rename(own.with_name("elsewhere"))
        own.symlink_to("elsewhere")
    elif what == "inner link":
        (own / "kept").rename(own / "elsewhere")
        (own / "kept").symlink_to("elsewhere")
    else:
        own.rename(own.with_name("elsewhere"))
        own.write_bytes(b"")
    assert kept(place) is None
    keep(place, b"two")
    assert kept(place) is None
    said = capsys.readouterr().err
    assert said.startswith("Nothing is kept for the next run: ")
    assert said.count("\n") == 1
    for each in (own.parent / "elsewhere" / "kept" / "a", own / "elsewhere" / "a", place):
        assert not each.is_file() or each.read_bytes() == sealed(b"planted")


@posix
def test_a_planted_script_does_not_reach_the_site(own: Path) -> None:
    good = chart_script()
    (drawings,) = own.glob("drawings-*.js")
    drawings.write_bytes(sealed(b"alert(1);"))
    own.chmod(0o777)
    assert chart_script() == good
    assert b"alert(1)" not in chart_script()


def test_damaged_entries_are_made_anew(own: Path, tmp_path: Path) -> None:
    """Also where the hash is right, and whatever names the entry says."""
    Image.new("RGB", (40, 30), "red").save(tmp_path / "a.png")
    good = pictures.picture(tmp_path / "a.png")
    (entry,) = (own / "pictures").iterdir()
    whole = entry.read_bytes()
    content = whole.rpartition(b"\n//")[0]
    head, _, data = content.partition(b"\n")
    facts = json.loads(head)
    bad = [
        b"", whole[: len(whole) // 2], sealed(b""), sealed(b"no json\n" + data), sealed(b"[" * 100_000 + b"\n" + data),
        sealed(b"[1, 2]\n" + data), sealed(b"{}\n" + data), sealed(head + b"\n" + data[:5]), sealed(head + b"\n"),
        sealed(json.dumps({**facts, "size": "x"}).encode() + b"\n" + data),
        sealed(json.dumps({**facts, "size": -1}).encode() + b"\n" + data),
        sealed(json.dumps({**facts, "sizes": [1, 2]}).encode() + b"\n" + data),
        sealed(head + b"\n<script>alert(1)</script>" + data),
    ]  # fmt: skip
    for content in bad:
        entry.write_bytes(content)
        pictures.check(tmp_path / "a.png")
        assert pictures.picture(tmp_path / "a.png") == good
        assert entry.read_bytes() == whole
    named = json.dumps({**facts, "full_name": "evil.html", "thumbnail_name": "../evil.html"}).encode()
    entry.write_bytes(sealed(named + b"\n" + data))
    assert pictures.picture(tmp_path / "a.png") == good  # names are worked out, never taken


def test_nothing_that_can_be_executed_is_kept_or_read(own: Path, tmp_path: Path) -> None:
    """Byte code of templates was: a folder of it is left alone."""
    planted = own / "templates" / "__jinja2_0.cache"
    planted.parent.mkdir(parents=True, mode=0o700)
    own.chmod(0o700)
    planted.write_bytes(b"planted")
    code = (
        "from sitegen.pages.site import environment\nfrom sitegen.cli import main\nimport sys\n"
        "assert environment(None).bytecode_cache is None\n"
        "sys.exit(main(['publish', sys.argv[1], '--to', sys.argv[2]]))"
    )
    command = [sys.executable, "-c", code, str(plain(tmp_path)), str(tmp_path / "site")]
    subprocess.run(command, check=True, capture_output=True)
    assert planted.read_bytes() == b"planted"
    kinds = {path.relative_to(own).parts[0] for path in own.rglob("*") if path.is_file()}
    assert {each.partition("-")[0] for each in kinds} <= {"templates", "drawings", "publishes", "pictures", "work"}
    for path in (own / "work").rglob("*"):  # data, not code
        assert not path.is_file() or json.loads(kept(path) or b"") is not None


@posix
def test_a_folder_that_may_not_be_written_is_said_once(
    own: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    keep(own / "kept" / "a", b"one")
    monkeypatch.setattr(os, "write", refused)
    for _ in range(3):
        keep(own / "kept" / "a", b"two")
    assert kept(own / "kept" / "a") == b"one"
    assert capsys.readouterr().err == f"Nothing is kept for the next run: {own / 'kept'}: permission denied.\n"
    assert [each.name for each in (own / "kept").iterdir()] == ["a"]


def test_what_a_killed_one_left_goes_after_a_day_and_only_the_latest_stay(own: Path) -> None:
    keep(own / "kept" / "0", b"one")
    (own / "kept" / ".new-old").write_bytes(b"")
    (own / "kept" / ".new-fresh").write_bytes(b"")
    long_ago = time.time() - 200_000
    for name in (".new-old", "0"):
        os.utime(own / "kept" / name, (long_ago, long_ago))
    for n in range(1, 6):
        keep(own / "kept" / str(n), b"one", most=3)
        os.utime(own / "kept" / str(n), (long_ago + n, long_ago + n))
    assert sorted(each.name for each in (own / "kept").iterdir()) == [".new-fresh", "3", "4", "5"]


@posix
def test_pipes_in_the_cache_make_nobody_wait(own: Path) -> None:
    keep(own / "kept" / "a", b"one")
    (own / "kept" / "a").unlink()
    os.mkfifo(own / "kept" / "a")
    assert kept(own / "kept" / "a") is None
    keep(own / "kept" / "a", b"two")
    assert kept(own / "kept" / "a") == b"two"
