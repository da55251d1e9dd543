"""Whoever writes may be killed at any moment of it: each file is whole, old or new, and the next one heals."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest
from pages import kills

pytestmark = pytest.mark.skipif(
    not hasattr(signal, "SIGKILL") or not hasattr(os, "fork"), reason="this system has no signal that cannot be caught"
)


@pytest.mark.parametrize("kind", ["publish", "sheets", "cache"])
def test_killed_in_the_middle_of_writing(kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SITEGEN_CACHE", "")  # given back at the end
    found = kills.kill(kind, tmp_path, 20)
    assert found["inside writing"] >= 10, found  # else the kills mean nothing
    wrong = {name: found[name] for name in ("torn", "asset gone", "told wrongly", "not told", "not healed")}
    assert not any(wrong.values()), found
