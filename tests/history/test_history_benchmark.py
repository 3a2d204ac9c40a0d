"""The benchmark of the history runs, and what it times is right: the same counts as plain pandas."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from jartest.history.questions import History
from jartest.records.store import Store


def load_file(name: str, path: Path) -> ModuleType:
    """A file of the tests as a module; they are no package."""
    found = importlib.util.spec_from_file_location(name, path)
    assert found is not None
    assert found.loader is not None
    module = importlib.util.module_from_spec(found)
    sys.modules[name] = module
    found.loader.exec_module(module)
    return module


BENCHMARKS = Path(__file__).resolve().parents[1] / "benchmarks"
TESTS = 300


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store of 300 invented tests."""
    path = tmp_path_factory.mktemp("filled") / "history.sqlite"
    load_file("fill_history", BENCHMARKS / "fill_history.py").fill(path, TESTS, 7)
    return path


@pytest.fixture(scope="module")
def benchmark_file() -> ModuleType:
    return load_file("history_benchmark", BENCHMARKS / "history.py")


def test_the_pair_table_is_that_of_plain_pandas(filled: Path, benchmark_file: ModuleType) -> None:
    url = f"sqlite:///{filled}"
    plain = benchmark_file.pandas_pairs(url)
    with Store.open(url) as store:
        table = History(store).pair_table()
    ours = {
        (*sorted((c.first, c.second)), word): count
        for c in table.cells
        for word, count in (("pass", c.passed), ("watch", c.watched), ("fail", c.failed))
        if count
    }
    theirs = {
        (a, b, w): n
        for a, b, w, n in plain[["product", "product_2", "word", "count"]].itertuples(index=False)
    }
    assert len(theirs) > 1000
    assert ours == theirs


def test_a_search_finds_what_plain_pandas_finds(filled: Path, benchmark_file: ModuleType) -> None:
    url = f"sqlite:///{filled}"
    with Store.open(url) as store:
        for words in ("hopgal", "ada yard well", "lumps"):
            plain = benchmark_file.pandas_search(url, words)
            assert [r.number for r in store.rows(words, limit=20)] == list(plain["number"]), words


def test_the_benchmark_prints_every_figure_that_is_asked_of_it(filled: Path) -> None:
    command = [sys.executable, str(BENCHMARKS / "history.py"), "--store", str(filled), "--json"]
    said = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    asked = {"pair_table_ms", "pair_table_vs_pandas", "before_ms", "search_ms", "save_ms", "store_mb"}
    asked |= {"before_vs_pandas", "search_vs_pandas", "save_vs_pandas"}
    assert asked <= set(said)
    assert all(said[name] > 0 for name in asked)
