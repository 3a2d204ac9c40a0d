"""Two people sign one test at the same instant, each in a program of their own."""

from __future__ import annotations

import re
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from jartest.recorder import Recorder
from jartest.records.photofiles import PhotoFiles
from jartest.verdict.limits import load_limits

ROUNDS = 100
WORDS = {"Ada": "fail", "Ben": "watch"}

# Signs the tests it is told, the moment it is told, and says what came of it.
SIGNER = """
import sys
from jartest.errors import JartestError
from jartest.recorder import Recorder
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.verdict.limits import load_limits
from pathlib import Path

url, photos, by, word = sys.argv[1:]
with Store.open(url) as store:
    recorder = Recorder(store=store, photos=PhotoFiles(Path(photos)), limits=load_limits())
    print("ready", flush=True)
    for line in sys.stdin:
        test_id, verdict = line.split()
        try:
            signed = recorder.sign(test_id, word=word, reason=f"{by} saw it so", by=by, expected_revision=1,
                                   expected_verdict=verdict)
            print("signed", signed.id, flush=True)
        except JartestError as e:
            print(type(e).__name__, e, flush=True)
"""


def test_of_two_programs_that_sign_at_once_one_does_and_the_other_reads_who_and_what(
    url: str, bench: Any, tmp_path: Path, figures: Callable[[str], None]
) -> None:
    recorder = Recorder(store=bench.store, photos=PhotoFiles(tmp_path / "photos"), limits=load_limits())
    ready = [(t.id, recorder.judge(t.id).id) for t in (bench.open_test(f"Mix {n}") for n in range(ROUNDS))]
    signers = {
        by: subprocess.Popen(
            [sys.executable, "-c", SIGNER, url, str(tmp_path / "photos"), by, word],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            bufsize=1,
        )
        for by, word in WORDS.items()
    }
    said: list[dict[str, str]] = []
    try:
        pipes = {by: (p.stdin, p.stdout) for by, p in signers.items()}
        assert all(out and out.readline() == "ready\n" for _, out in pipes.values())
        for n, (test_id, verdict) in enumerate(ready):
            order = list(pipes) if n % 2 else list(pipes)[::-1]
            for by in order:
                pipes[by][0].write(f"{test_id} {verdict}\n")  # type: ignore[union-attr]
            said.append({by: out.readline().strip() for by, (_, out) in pipes.items()})  # type: ignore[union-attr]
    finally:
        for p in signers.values():
            p.communicate(timeout=60)
    won: Counter[str] = Counter()
    for (test_id, _), told in zip(ready, said, strict=True):
        (signature,) = bench.store.case(test_id).signatures
        won[signature.by] += 1
        assert told[signature.by] == f"signed {signature.id}"
        assert (signature.word, signature.reason) == (WORDS[signature.by], f"{signature.by} saw it so")
        (other,) = told.keys() - {signature.by}
        assert re.fullmatch(
            rf"Conflict {signature.by} signed this test {signature.word.upper()} at [-\d]+ [:\d]+, and a test is "
            r"signed once: yours was not kept\. Read theirs; where you see it otherwise, say so below it\.",
            told[other],
        )
        assert [o.by for o in bench.store.case(test_id).opinions] == [signature.by]
    assert won.total() == ROUNDS
    dialect = bench.store._engine.dialect.name
    figures(f"signed at once by two programs, {dialect}: {ROUNDS} rounds, one signature each, {dict(won)}")
