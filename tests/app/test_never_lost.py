"""A job survives the end of the program at any moment."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the worker is forked, which needs a Unix")
@pytest.mark.timeout(240)
@pytest.mark.parametrize(("kind", "kills"), [("plain", 200), ("sealed", 60), ("window", 200)])
def test_a_job_that_is_killed_at_random_moments_always_opens_whole(
    kind: str, kills: int, checkout: Path, tmp_path: Path
) -> None:
    """Killed in random work, it holds all that a save had returned for; of a sealed one nothing lies in the clear."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.app.kill_loop", kind, str(tmp_path), str(kills)],
        cwd=checkout,
        env={**os.environ, "VALLEYGAUGE_HOME": str(tmp_path / "home")},
        capture_output=True,
        text=True,
        timeout=200,
    )

    assert done.returncode == 0, done.stderr[-3000:]
    result = json.loads(done.stdout)
    # Half of the kills wait for a first save, so that many changes are there however busy the machine is.
    assert result["kills"] == kills
    assert result["changes"] >= kills // 4, result
