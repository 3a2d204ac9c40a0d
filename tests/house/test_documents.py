"""The documents are kept true: every command runs, every path and link exists."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from jartest import cli

DOCUMENTS = ("README.md", "DEVELOPERS.md", "samples/README.md")
REPO = Path(__file__).resolve().parents[2]


def text_of(name: str) -> str:
    return (REPO / name).read_text("utf-8")


def commands(name: str) -> list[str]:
    blocks = re.findall(r"```bash\n(.*?)```", text_of(name), flags=re.S)
    return [
        line.strip() for b in blocks for line in b.splitlines() if line.strip() and not line.startswith("#")
    ]


JARTEST = {n: [c for c in commands(n) if c.startswith("jartest ")] for n in DOCUMENTS}


def test_the_readme_opens_with_the_job_and_then_two_commands() -> None:
    job = text_of("README.md").split("\n\n")[1]
    assert job.startswith("Before several products go into one spray tank")
    run, test = [c for c in commands("README.md") if c.startswith("python3 -m venv")]
    assert run.endswith("&& .venv/bin/jartest app")
    assert test.endswith("&& .venv/bin/pytest")


def test_ci_calls_the_readme_s_own_test_command() -> None:
    script = (REPO / ".ci" / "run").read_text("utf-8")
    assert 'grep -m1 "^python3 .*pytest$" README.md' in script
    assert script.rstrip().endswith('bash -c "$test_command"')
    assert len(re.findall(r"^python3 .*pytest$", text_of("README.md"), flags=re.M)) == 1


def test_the_documents_hold_commands_to_run() -> None:
    assert len(JARTEST["README.md"]) >= 5


@pytest.mark.parametrize("document", [n for n in DOCUMENTS if JARTEST[n]])
def test_the_commands_of_a_document_run_one_after_another(
    document: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JARTEST_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    for name in ("samples", "tests"):
        (tmp_path / name).symlink_to(REPO / name)
    for command in JARTEST[document]:
        words = shlex.split(command)[1:]
        if words[0] == "app":
            words.append("--help")  # a server does not end by itself; the browser tests start it for real
        result = CliRunner().invoke(cli.commands, words)
        assert result.exit_code == 0, f"{command}: {result.output}"


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_link_and_path_in_a_document_exists(document: str) -> None:
    text = text_of(document)
    links = [x for x in re.findall(r"\]\(([^)#]+)\)", text) if not x.startswith("http")]
    paths = re.findall(r"`((?:jartest|tests|samples|\.ci)/[\w./-]*)`", text)
    here = (REPO / document).parent
    missing = [x for x in links if not (here / x).exists()] + [x for x in paths if not (REPO / x).exists()]
    assert not missing


def test_the_command_line_s_commands_are_in_the_readme() -> None:
    readme = text_of("README.md")
    assert {name for name in cli.commands.commands if f"jartest {name}" not in readme} == set()


def test_the_top_level_is_that_of_the_design() -> None:
    tracked = {"README.md", "DEVELOPERS.md", "pyproject.toml", "jartest", "app.py", "samples", "tests", ".ci"}
    built = {"build", "dist"}
    seen = {p.name for p in REPO.iterdir() if not p.name.startswith(".") or p.name == ".ci"}
    assert tracked <= seen
    assert {n for n in seen - tracked - built if not n.endswith(".egg-info")} == set()


def test_each_extra_is_told_in_the_readme() -> None:
    extras = tomllib.loads((REPO / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]
    missing = {e for e in extras if f"[{e}]" not in text_of("README.md") + text_of("DEVELOPERS.md")}
    assert missing == set()
