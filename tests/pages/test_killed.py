"""A publish killed at any moment leaves every page whole, old or new, and the next one heals."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from sitegen import publish as publishing
from sitegen.publish import MANIFEST, publish

KILLS = 120
PAGES = 60

# For each number it is given it forks a publisher, loaded already. That one tells its process, publishes the states of
# the site in turn until it is killed, and says each file it put in place.
MOTHER = textwrap.dedent(
    """
    import os
    import sys
    from importlib import util
    from pathlib import Path
    sys.path.insert(0, sys.argv[2])
    from test_killed_state import state
    spec = util.spec_from_file_location("publishing", sys.argv[3])  # alone: the package takes longer to load
    publishing = sys.modules["publishing"] = util.module_from_spec(spec)
    spec.loader.exec_module(publishing)
    put = publishing._replace
    def said(*given):
        put(*given)
        os.write(1, b"put\\n")  # at once: where Python does not buffer, a kill may come between a word and its line end
    publishing._replace = said
    for line in sys.stdin:
        child = os.fork()
        if child:
            os.waitpid(child, 0)
            print("gone", flush=True)
            continue
        print(os.getpid(), flush=True)
        turn = int(line)
        while True:
            publishing.publish(state(turn), Path(sys.argv[1]))
            turn += 1
    """
)
STATE = textwrap.dedent(
    '''
    def state(turn):
        """One state of a site: every page loads an asset with the turn in its name."""
        word = f"state {turn % 7}\\n".encode()
        files = {f"assets/report-{turn % 7}.css": b"/* " + word + b"*/" * 2000}
        for n in range(PAGES):
            files[f"programs/p/page-{n}.html"] = b"<html>" + word * 400 + b"</html>" + str(n).encode()
        if turn % 2:
            files["programs/p/now-and-then.html"] = b"<html>" + word * 10
        return files
    '''
).replace("PAGES", str(PAGES))


def kills(site: Path, states: Path, dice: random.Random) -> Iterator[int]:
    """After each kill its number."""
    command = [sys.executable, "-c", MOTHER, str(site), str(states), publishing.__file__]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, text=True, bufsize=1, start_new_session=True) as mother:
        assert mother.stdin is not None
        assert mother.stdout is not None
        try:
            for kill in range(KILLS):
                mother.stdin.write(f"{kill}\n")
                child = int(mother.stdout.readline())
                for _ in range(dice.randint(1, 2 * PAGES)):  # the moment of the kill is what is random here
                    assert mother.stdout.readline() == "put\n"
                time.sleep(dice.uniform(0.0, 0.002))
                os.kill(child, signal.SIGKILL)
                while (line := mother.stdout.readline()) != "gone\n":
                    assert line == "put\n"
                yield kill
        finally:
            os.killpg(mother.pid, signal.SIGKILL)


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no signal that cannot be caught")
def test_killed_at_random_moments(tmp_path: Path) -> None:
    (tmp_path / "test_killed_state.py").write_text(STATE)
    names: dict[str, object] = {}
    exec(STATE, names)  # noqa: S102 - the same text the child imports
    state = names["state"]
    assert callable(state)
    whole = {path: {state(turn).get(path) for turn in range(14)} for turn in range(14) for path in state(turn)}
    site = tmp_path / "site"
    publish(state(0), site)
    dice = random.Random(20260112)  # noqa: S311 - moments, not secrets
    mixed = 0
    for kill in kills(site, tmp_path, dice):
        found = {
            path.relative_to(site).as_posix(): path.read_bytes()
            for path in site.rglob("*")
            if path.is_file() and not path.name.startswith(".sitegen")
        }
        for path, content in found.items():
            assert content in whole[path], f"{path} is torn after kill {kill}"
        pages = {path: content for path, content in found.items() if path.endswith(".html")}
        assert len(pages) >= PAGES
        turns = {content.split(b"state ")[1][:1] for content in pages.values()}
        mixed += len(turns) > 1
        for turn in turns:  # what a page loads is there for as long as the page may need it
            assert f"assets/report-{turn.decode()}.css" in found, f"an asset is gone after kill {kill}"
    assert mixed >= 5  # else the kills came between the turns and mean nothing
    healed = state(1)
    publish(healed, site)
    publish(healed, site)
    left = {
        p.relative_to(site).as_posix()
        for p in site.rglob("*")
        if p.is_file() and not p.name.startswith(".sitegen-lock")
    }
    assert left == {*healed, MANIFEST}
    assert all((site / path).read_bytes() == content for path, content in healed.items())
