"""`jartest history ...` as people type it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from jartest import cli
from jartest.errors import BadEntry, NotFound
from jartest.recorder import Recorder
from jartest.records.model import Product, TestPlan
from jartest.settings import open_recorder, read_settings


def run(home: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "jartest", "history", *words],
        env=os.environ | {"JARTEST_HOME": str(home)},
        capture_output=True,
        text=True,
        check=False,
    )


def sign(recorder: Recorder, names: str, word: str) -> None:
    plan = TestPlan(title=names, products=tuple(Product(name=n) for n in names.split()))
    test = recorder.start_test(plan, by="Wren", utc_offset_min=0)
    seen = recorder.judge(test.id).id
    recorder.sign(
        test.id,
        word=word,  # type: ignore[arg-type]
        reason="seen",
        by="Wren",
        expected_revision=1,
        expected_verdict=seen,
    )


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with two signed tests."""
    folder = tmp_path_factory.mktemp("home")
    recorder = open_recorder(read_settings({"JARTEST_HOME": str(folder)}))
    sign(recorder, "Copper Boron Zinc", "fail")
    sign(recorder, "Boron Zinc", "pass")
    recorder.store.close()
    return folder


def test_the_pairs_are_said_and_leave_as_csv_and_parquet(home: Path, tmp_path: Path) -> None:
    said = run(home, "pairs").stdout
    assert said.startswith("3 pairs were tried")
    assert said.splitlines()[1].startswith(
        "open         Boron with Copper"
    )  # one failure alone: likeliest, and open
    assert run(home, "pairs", "--csv").stdout.splitlines()[0].startswith("first,second,state")
    file = tmp_path / "pairs.parquet"
    assert run(home, "pairs", "--parquet", str(file)).returncode == 0
    assert len(pd.read_parquet(file)) == 3


def test_tests_leave_as_parquet(home: Path, tmp_path: Path) -> None:
    file = tmp_path / "tests.parquet"
    assert run(home, "tests", "copper", "--parquet", str(file)).stdout == "1 tests written.\n"
    assert list(pd.read_parquet(file)["title"]) == ["Copper Boron Zinc"]


def test_suspects_and_the_next_jar_are_said(home: Path) -> None:
    said = run(home, "suspects", "1").stdout
    assert "Next jar: " in said
    assert "Copper with" in said
    assert run(home, "suspects", "9").returncode == 1


def test_a_store_is_moved_and_an_address_that_is_taken_is_refused(home: Path, tmp_path: Path) -> None:
    old, new = f"sqlite:///{home / 'jartest.sqlite'}", f"sqlite:///{tmp_path / 'new.sqlite'}"
    assert run(home, "move", old, new).stdout.startswith("2 tests, ")
    again = run(home, "move", old, new)
    assert again.returncode == 1
    assert "holds records already" in again.stderr


def test_photos_go_to_the_shared_folder_and_come_back_to_it_from_a_backup(
    repo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def call(*words: str, home: str, share: Path) -> str:
        share.mkdir(exist_ok=True)
        monkeypatch.setenv("JARTEST_HOME", str(tmp_path / home))
        monkeypatch.setenv("JARTEST_PHOTOS_URL", share.as_uri())
        done = CliRunner().invoke(cli.commands, words)
        assert done.exit_code == 0, done.output
        return done.output

    first, second, file = tmp_path / "share", tmp_path / "other", str(tmp_path / "house.zip")
    first.mkdir()
    here = {"JARTEST_HOME": str(tmp_path / "here"), "JARTEST_PHOTOS_URL": str(first)}
    recorder = open_recorder(read_settings(here))
    test = recorder.start_test(TestPlan(title="Copper"), by="Wren", utc_offset_min=0)
    photo = (repo / "samples" / "settler" / "settler-0000min.jpg").read_bytes()
    recorder.take_look(test.id, slot="extra", data=photo, name="a.jpg", by="Wren")
    recorder.store.close()
    (name,) = [p.name for p in first.rglob("*.jpg")]
    call("backup", file, home="here", share=first)
    call("restore", file, home="there", share=second)
    assert [p.name for p in second.rglob("*.jpg")] == [name]
    assert not (tmp_path / "here" / "photos").exists()
    assert not (tmp_path / "there" / "photos").exists()
    assert "all sound" in call("check", home="there", share=second)
    assert "unset JARTEST_PHOTOS_URL" in call(
        "restore", file, "--into", str(tmp_path / "third"), home="x", share=second
    )
    assert [p.name for p in (tmp_path / "third" / "photos").rglob("*.jpg")] == [name]


def test_a_search_is_saved_searched_by_again_and_taken_away(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JARTEST_HOME", str(home))

    def call(*words: str) -> str:
        done = CliRunner().invoke(cli.commands, words, catch_exceptions=False)
        assert done.exit_code == 0, done.output
        return done.output

    call("tests", "verdict:fail", "copper", "--save", "Copper fails", "--by", "Wren")
    assert "Copper fails  (verdict:fail copper)  saved by Wren" in call("looks")
    assert call("tests", "--look", "copper FAILS").count("#") == 1
    call("looks", "--remove", "Copper fails", "--by", "Wren")
    assert call("looks") == ""
    with pytest.raises(NotFound, match="no saved search named"):
        call("tests", "--look", "Copper fails")
    with pytest.raises(BadEntry, match="Enter your name"):
        call("tests", "--save", "x")
