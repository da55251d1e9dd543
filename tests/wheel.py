"""The wheel, built and tried in an empty venv: `.venv/bin/python tests/wheel.py`, from the top, with sitegen in .venv.

Builds the sdist and from it the wheel, installs that with whatever versions of its dependencies pip takes, and runs
what a user runs first from a folder elsewhere. The site must have the bytes that the sitegen of this Python publishes.
`--python` names another for the venv, `--constraint` a file of versions for pip. A line a step; stops at what fails.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import tomllib
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PATIENCE = 600  # s, for the first page of a preview


def environment(work: Path) -> dict[str, str]:
    """Ours, without what leads to this checkout, and with a cache of its own."""
    ours = {name: value for name, value in os.environ.items() if name not in {"PYTHONPATH", "VIRTUAL_ENV"}}
    return ours | {"SITEGEN_CACHE": str(work / "cache")}


def run(*command: str | Path, cwd: Path) -> str:
    """What a command says. Ends the trial where it fails."""
    done = subprocess.run([*map(str, command)], cwd=cwd, env=environment(cwd), capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"{' '.join(map(str, command))}: exit status {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout.strip()


def venv(python: str, at: Path, *install: str | Path) -> Path:
    """The folder of commands of a new venv with this installed."""
    run(python, "-m", "venv", at, cwd=at.parent)
    commands = at / ("Scripts" if os.name == "nt" else "bin")
    run(commands / "python", "-m", "pip", "install", "--quiet", *install, cwd=at.parent)
    return commands


def built(work: Path) -> Path:
    """The wheel, made from the sdist."""
    run(venv(sys.executable, work / "build", "build") / "python", "-m", "build", "--outdir", work / "dist", ROOT,
        cwd=work)  # fmt: skip
    (wheel,) = (work / "dist").glob("*.whl")
    (sdist,) = (work / "dist").glob("*.tar.gz")
    print("Built " + " and ".join(f"{each.name}, {each.stat().st_size / 1e6:.1f} MB" for each in (sdist, wheel)) + ".")
    return wheel


def site(folder: Path) -> dict[str, bytes]:
    """The bytes of a site by name."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def previewed(sitegen: Path, programs: Path) -> None:
    """A preview answers with the first page."""
    command, work, pipe = [*map(str, (sitegen, "preview", programs, "--port", "0"))], programs.parent, subprocess.PIPE
    with subprocess.Popen(
        command, cwd=work, env=environment(work), stdout=pipe, stderr=subprocess.STDOUT, text=True
    ) as serving:
        late = threading.Timer(PATIENCE, serving.kill)
        late.start()
        said = ""
        try:
            for line in serving.stdout or ():
                said += line
                if line.startswith("Made ") or "fault in sitegen" in line:
                    break
            address = re.search(r"Preview at (http://\S+)", said)
            if address is None or "\nMade " not in said:
                raise SystemExit(said)
            with urllib.request.urlopen(address[1], timeout=PATIENCE) as answer:  # noqa: S310 - of this machine
                assert b"<h1" in answer.read()
            print(f"A preview answers at {address[1]}.")
        finally:
            late.cancel()
            serving.terminate()


def tried(python: str, constraint: Path | None, work: Path) -> None:
    """Raises SystemExit, or AssertionError, where anything is not as it should be."""
    more: list[str | Path] = ["--constraint", constraint.resolve()] if constraint else []
    commands = venv(python, work / "empty", *more, built(work))
    sitegen = commands / "sitegen"
    where = run(
        commands / "python", "-c", "import sys, sitegen; print(sys.version.split()[0], sitegen.__file__)", cwd=work
    )
    print(f"Installed for Python {where.split()[0]}: {', '.join(versions(commands, work))}.")
    assert str(work.resolve()) in where, where
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert run(sitegen, "--version", cwd=work) == f"sitegen {project['version']}"
    answers = (ROOT / "README.md").read_text(encoding="utf-8").split("<!-- answers -->\n```yaml\n")[1].split("```")[0]
    (work / "answers.yaml").write_text(answers, encoding="utf-8")
    run(sitegen, "start", "new/rings", "--answers", "answers.yaml", cwd=work)
    print(f"A program is begun; check: {run(sitegen, 'check', 'new', cwd=work)}")
    run(sitegen, "publish", "new", "--to", "new-site", cwd=work)
    programs = Path(shutil.copytree(ROOT / "programs", work / "programs"))
    run(sitegen, "check", "programs", cwd=work)
    print(run(sitegen, "publish", "programs", "--to", "site", "--no-cache", "--workers", "1", cwd=work))
    run(sys.executable, "-m", "sitegen", "publish", "programs", "--to", "ours", "--no-cache", cwd=work)
    theirs, ours = site(work / "site"), site(work / "ours")
    other = sorted(name for name in theirs.keys() | ours.keys() if theirs.get(name) != ours.get(name))
    print(f"{len(theirs) - len(other)} of {len(theirs)} files have the bytes that this checkout publishes.")
    for each in programs.glob("*/results/*"):
        assert each.read_bytes() == (ROOT / "programs" / each.relative_to(programs)).read_bytes(), each
    if other:
        print(f"Other bytes: {', '.join(other[:10])}")
    previewed(sitegen, programs)
    if other:
        raise SystemExit(1)


def versions(commands: Path, work: Path) -> list[str]:
    """What is installed in a venv, "numpy 2.0.0"."""
    listed = run(commands / "python", "-m", "pip", "list", "--format", "freeze", cwd=work)
    return [line.replace("==", " ") for line in listed.splitlines() if not line.startswith(("pip", "setuptools"))]


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--python", default=sys.executable, help="of the empty venv (this one)")
    asked.add_argument("--constraint", type=Path, help="versions that pip is held to")
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as made:
        tried(options.python, options.constraint, Path(made))
