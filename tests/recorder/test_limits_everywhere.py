"""A limit that one process accepts holds in every other that runs already."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from jartest.history.proposals import Counts, Proposal
from jartest.settings import Settings, accept_limits, read_limits

OTHER = """
import sys
from pathlib import Path
from jartest.settings import Settings, open_recorder
home = Path(sys.argv[1])
recorder = open_recorder(Settings(home=home, database_url=f"sqlite:///{home / 'store.sqlite'}"))
for _ in sys.stdin:
    print(recorder.limits.photo["settled"].fail_min, recorder.limits.sha256, flush=True)
recorder.store.close()
"""


def test_a_limit_accepted_in_one_process_holds_in_another_that_runs_already(tmp_path: Path) -> None:
    settings = Settings(home=tmp_path, database_url=f"sqlite:///{tmp_path / 'store.sqlite'}")
    counts = Counts(missed=1, failed=20, alarms=2, others=40)
    proposal = Proposal(
        rule="settled", fail_min=0.17, in_force=0.1, now=counts, fitted=counts, held_out=counts, says=""
    )
    command = [sys.executable, "-c", OTHER, str(tmp_path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdin is not None
        assert other.stdout is not None

        def ask() -> list[str]:
            assert other.stdin is not None
            assert other.stdout is not None
            other.stdin.write("now\n")
            other.stdin.flush()
            return other.stdout.readline().split()

        before = read_limits(settings)
        assert ask() == [str(before.photo["settled"].fail_min), before.sha256]
        after = accept_limits(settings, [proposal], by="Wren", on="2026-03-14")
        assert ask() == ["0.17", after.sha256]
        assert after.sha256 != before.sha256
        other.stdin.close()
    assert other.returncode == 0
