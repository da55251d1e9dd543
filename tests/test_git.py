"""A repository of somebody else runs nothing when it is asked what it holds."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from house import fewer, plain

from sitegen import git as asking
from sitegen import unchanged
from sitegen.cli import main
from sitegen.git import git

pytestmark = pytest.mark.skipif(os.name == "nt", reason="its commands are those of a Unix shell")


def run(folder: Path, *words: str, **environment: str) -> bytes:
    who = ("-c", "user.name=N", "-c", "user.email=n@example.invalid", "-c", "commit.gpgsign=false")
    own = {**os.environ, **environment}
    done = subprocess.run(["git", "-C", str(folder), *who, *words], check=True, capture_output=True, env=own)
    return done.stdout


def hostile(home: Path, touched: Path) -> None:
    """Every setting that names a command, to touch a file of its own."""

    def touch(name: str) -> str:
        return f"touch {touched}/{name};"

    touched.mkdir()
    hooks = home / "hooks"
    hooks.mkdir()
    names = (
        "post-index-change",
        "post-checkout",
        "pre-commit",
        "reference-transaction",
        "fsmonitor-watchman",
        "query-watchman",
    )
    for name in names:
        (hooks / name).write_text(f"#!/bin/sh\ntouch {touched}/hook-{name}\n")
        (hooks / name).chmod(0o755)
    settings = {
        "core.fsmonitor": touch("fsmonitor"), "core.hooksPath": str(hooks), "core.pager": touch("pager"),
        "core.sshCommand": touch("ssh"), "core.editor": touch("editor"), "core.askPass": touch("askpass"),
        "core.gitProxy": touch("proxy"), "core.alternateRefsCommand": touch("alternate"),
        "pager.log": touch("pager-log"), "pager.rev-list": touch("pager-rev"), "pager.cat-file": touch("pager-cat"),
        "diff.external": touch("diff"), "diff.evil.textconv": touch("textconv"), "diff.evil.command": touch("command"),
        "filter.evil.smudge": touch("smudge"), "filter.evil.clean": touch("clean"),
        "filter.evil.process": touch("process"), "filter.evil.required": "true",
        "gpg.program": str(hooks / "pre-commit"), "log.showSignature": "true",
        "credential.helper": "!" + touch("credential"),
        "alias.cat-file": "!" + touch("alias-cat"), "alias.ls-tree": "!" + touch("alias-ls"),
        "alias.rev-list": "!" + touch("alias-rev"), "alias.log": "!" + touch("alias-log"),
        "extensions.partialClone": "origin", "remote.origin.promisor": "true",
        "remote.origin.url": f"ext::sh -c touch% {touched}/ext", "remote.origin.uploadpack": touch("uploadpack"),
        "protocol.ext.allow": "always", "protocol.file.allow": "always", "protocol.allow": "always",
        "trace2.eventTarget": str(touched / "trace"),
    }  # fmt: skip
    for name, value in settings.items():
        run(home, "config", name, value)
    (home / ".git" / "info").mkdir(exist_ok=True)
    (home / ".git" / "info" / "attributes").write_text("* filter=evil diff=evil\n")


def lost(home: Path, name: str) -> None:
    """Have an object gone, as in a clone that leaves what it lacks to be fetched when it is asked for."""
    blob = run(home, "rev-parse", f"HEAD:{name}").decode().strip()
    (home / ".git" / "objects" / blob[:2] / blob[2:]).unlink()


def test_a_publish_in_a_hostile_repository_runs_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home, touched = tmp_path / "home", tmp_path / "touched"
    programs = plain(home)
    assert main(["publish", str(programs), "--to", str(tmp_path / "before")]) == 0
    run(home, "init", "-q")
    run(home, "add", "-A")
    run(home, "commit", "-qm", "one")
    program = next(programs.glob("*/program.yaml")).parent
    lost(home, (program / "results" / "verdicts.csv").relative_to(home).as_posix())
    hostile(home, touched)
    # the settings are live: git itself runs what they name
    subprocess.run(["git", "-C", str(home), "status"], capture_output=True, check=False)
    assert (touched / "fsmonitor").exists()
    asked = ["git", "-C", str(home), "cat-file", "--batch"]
    lacks = (program / "results" / "verdicts.csv").relative_to(home).as_posix()
    subprocess.run(asked, input=f"HEAD:{lacks}\n".encode(), capture_output=True, check=False, timeout=60)
    assert (touched / "ext").exists()
    assert {each.name for each in touched.iterdir()} >= {"fsmonitor", "ext"}
    for each in touched.iterdir():
        each.unlink()
    monkeypatch.setenv("GIT_EXTERNAL_DIFF", f"touch {touched}/external-diff;")
    monkeypatch.setenv("GIT_SSH_COMMAND", f"touch {touched}/ssh-command;")
    monkeypatch.setenv("GIT_TRACE", str(touched / "trace-1"))
    monkeypatch.setenv("GIT_CONFIG_COUNT", "1")
    monkeypatch.setenv("GIT_CONFIG_KEY_0", "protocol.ext.allow")
    monkeypatch.setenv("GIT_CONFIG_VALUE_0", "always")
    index = (home / ".git" / "index").read_bytes()
    with (program / "program.yaml").open("a", encoding="utf-8") as file:
        file.write("\n# one line more\n")
    assert main(["check", str(programs)]) == 0
    assert main(["publish", str(programs), "--to", str(tmp_path / "site")]) == 0
    unchanged._told_by_git(programs)
    assert [each.name for each in touched.iterdir()] == []
    assert (home / ".git" / "index").read_bytes() == index


def test_it_still_answers_what_is_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = fewer(tmp_path / "home")
    run(home, "init", "-q")
    run(home, "add", "-A")
    run(home, "commit", "-qm", "one")
    head = run(home, "rev-parse", "HEAD")
    monkeypatch.setenv("GIT_DIR", str(tmp_path / "nowhere"))  # of whoever runs us from a hook
    assert git(home, "rev-list", "HEAD") == head
    assert git(home, "cat-file", "--batch", told=b"HEAD:./nothing\n") == b"HEAD:./nothing missing\n"
    assert git(tmp_path, "rev-list", "HEAD") is None
    with pytest.raises(ValueError, match="does more than read objects"):
        git(home, "status")


def test_files_that_look_like_a_repository_are_none(tmp_path: Path) -> None:
    bare = tmp_path / "programs"
    bare.mkdir()
    run(bare, "init", "-q", "--bare")
    assert run(bare, "rev-parse", "--is-bare-repository") == b"true\n"
    assert git(bare, "rev-parse", "--is-shallow-repository") is None


def test_a_repository_of_somebody_else_is_not_read(tmp_path: Path) -> None:
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("only root can give a folder away")
    home = tmp_path / "home"
    home.mkdir()
    run(home, "init", "-q")
    for each in (home, *home.rglob("*")):
        os.chown(each, 65534, 65534)
    assert git(home, "rev-parse", "--is-shallow-repository") is None


def test_a_git_that_hangs_is_asked_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    slow = tmp_path / "bin" / "git"
    slow.parent.mkdir()
    slow.write_text(
        f"#!{sys.executable}\nimport time\nopen({str(tmp_path / 'asked')!r}, 'a').write('x')\ntime.sleep(60)\n"
    )
    slow.chmod(0o755)
    monkeypatch.setenv("PATH", f"{slow.parent}:{os.environ['PATH']}")
    monkeypatch.setattr(asking, "_PATIENCE", 3)
    assert git(tmp_path, "rev-list", "HEAD") is None
    assert git(tmp_path, "rev-list", "HEAD") is None
    assert (tmp_path / "asked").read_text() == "x"
