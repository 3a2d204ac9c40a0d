"""A short run of `kill_run.py`: killed without warning, nothing acknowledged is lost."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.skipif(sys.platform == "win32", reason="needs fork")
def test_a_process_killed_at_random_moments_loses_nothing_it_acknowledged() -> None:
    script = Path(__file__).with_name("kill_run.py")
    done = subprocess.run(
        [sys.executable, str(script), "4"], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("killed 4 times") == 4
    assert done.stdout.count("none lost") == 4
