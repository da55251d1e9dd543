"""The same bytes on every processor: results worked out anew with what newer processors have switched off."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from house import PROGRAMS, ROOT, copied

_PRINT = """
import sys
from pathlib import Path
from sitegen import workflow
examination = workflow.examine(Path(sys.argv[1]))
assert not examination.blocked
for each in workflow.conclude(examination):
    for name, content in each.files.items():
        (Path(sys.argv[2]) / f"{each.program.id}-{name}").write_bytes(content)
"""
_NUMPY: Any = np._core._multiarray_umath  # type: ignore[attr-defined]  # what it was built with and found here


def environments() -> list[object]:
    """What numpy chose for this processor, taken away; and what its linear algebra chose, set to an old one."""
    every = [name for name in _NUMPY.__cpu_dispatch__ if _NUMPY.__cpu_features__[name]]
    wide = [name for name in every if "AVX512" in name or name == "X86_V4"]
    newer, old = (
        {"NPY_DISABLE_CPU_FEATURES": " ".join(names), "OPENBLAS_CORETYPE": core}
        for names, core in ((wide, "Haswell"), (every, "Nehalem"))
    )
    threads = {"OPENBLAS_NUM_THREADS": "2"}  # as a library, sitegen leaves them to who calls it
    return [pytest.param(newer | threads, id="no AVX-512"), pytest.param(old, id="no AVX2")]


@pytest.mark.parametrize("environment", environments())
def test_results_do_not_hang_on_the_processor(environment: dict[str, str], tmp_path: Path) -> None:
    programs = copied(tmp_path)
    for folder in programs.glob("*/results"):
        for file in folder.iterdir():
            file.unlink()  # nothing to keep: what is worked out is what is compared
    done = subprocess.run(
        [sys.executable, "-c", _PRINT, str(programs), str(tmp_path)],
        env={**os.environ, **environment},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    found = {path.name: path.read_bytes() for path in tmp_path.glob("*-*.*") if path.is_file()}
    committed = {f"{each.parent.parent.name}-{each.name}": each.read_bytes() for each in PROGRAMS.glob("*/results/*")}
    assert found.keys() == committed.keys()
    assert [name for name in found if found[name] != committed[name]] == []
