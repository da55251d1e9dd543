"""A publish killed at any moment leaves every page whole, old or new, and the next one heals."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from sitegen import publish as publishing
from sitegen.publish import MANIFEST, publish

KILLS = 120
PAGES = 60

# The publisher: publishes the two states of the site in turn until it is killed, and says each file it put in place.
CHILD = textwrap.dedent(
    """
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
        print("put", flush=True)
    publishing._replace = said
    turn = int(sys.argv[4])
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
    for kill in range(KILLS):
        command = [sys.executable, "-c", CHILD, str(site), str(tmp_path), publishing.__file__, str(kill)]
        child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert child.stdout is not None
        for _ in range(dice.randint(1, 2 * PAGES)):  # the moment of the kill is what is random here
            assert child.stdout.readline() == "put\n"
        time.sleep(dice.uniform(0.0, 0.002))
        child.kill()
        child.wait()
        child.stdout.close()
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
