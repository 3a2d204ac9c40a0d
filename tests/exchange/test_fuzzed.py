"""A few seconds of `fuzz_parcel.py`; twenty minutes are one command, named in the file."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest


def test_a_short_run_of_the_fuzzer_finds_nothing(tmp_path: Path) -> None:
    pytest.importorskip("atheris", reason="atheris is for Linux alone")
    script = Path(__file__).with_name("fuzz_parcel.py")
    command = [sys.executable, str(script), "5"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    runs = [line for line in done.stderr.splitlines() if line.startswith("stat::number_of_executed_units")]
    assert int(runs[0].split(":")[-1]) > 100
    assert not list(tmp_path.glob("crash-*"))
