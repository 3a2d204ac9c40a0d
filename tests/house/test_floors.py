"""The floors: who may import whom, and which library lives where; and that the check saw the files."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import pytest
from importlinter.cli import lint_imports

# A library and the only places that may import it, as prefixes of module names.
HOMES = {
    "cv2": ("jartest.imaging",),
    "skimage": ("jartest.imaging",),
    "sqlalchemy": ("jartest.records",),
    "alembic": ("jartest.records",),
    "fsspec": ("jartest.records",),
    "streamlit": ("jartest.screens",),
    "pandas": ("jartest.screens", "jartest.history", "jartest.exchange"),
    "starlette": ("jartest.field", "jartest.screens"),
    "segno": ("jartest.field", "jartest.exchange"),
    "cryptography": ("jartest.field", "jartest.exchange"),
    "click": ("jartest.cli",),
}
# Below the recorder nothing asks the world for time, chance or settings.
WORLD = {"random", "time", "uuid", "secrets", "platformdirs"}
ABOVE = (
    "jartest.recorder",
    "jartest.model_keeper",
    "jartest.tank",
    "jartest.jars",
    "jartest.samples",
    "jartest.settings",
    "jartest.field",
    "jartest.screens",
    "jartest.cli",
)


def modules(repo: Path) -> dict[str, Path]:
    files = sorted((repo / "jartest").rglob("*.py"))
    return {".".join(f.relative_to(repo).with_suffix("").parts).removesuffix(".__init__"): f for f in files}


def imported(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {a.name.split(".")[0] for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.add(node.module.split(".")[0])
    return found


def test_the_walk_sees_every_floor(repo: Path) -> None:
    seen = set(modules(repo))
    named = {"errors", "recorder", "settings", "cli", "imaging.reading", "records.store", "screens.shell"}
    assert {f"jartest.{n}" for n in named} <= seen


def test_the_floors_hold(repo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(repo)
    assert lint_imports(no_cache=True) == 0


def test_every_part_of_the_package_has_a_floor(repo: Path) -> None:
    settings = tomllib.loads((repo / "pyproject.toml").read_text("utf-8"))
    layers = settings["tool"]["importlinter"]["contracts"][0]["layers"]
    placed = {name.strip() for layer in layers for name in layer.replace(":", "|").split("|")}
    parts = {".".join(m.split(".")[:2]) for m in modules(repo)} - {"jartest"}
    assert parts == placed


@pytest.mark.parametrize("library", sorted(HOMES))
def test_a_library_is_imported_only_at_home(repo: Path, library: str) -> None:
    users = {m for m, f in modules(repo).items() if library in imported(f)}
    strays = {m for m in users if not m.startswith(HOMES[library])}
    assert not strays
    assert users, f"nobody imports {library}: take it out of this table"


def test_below_the_recorder_nothing_asks_for_time_chance_or_settings(repo: Path) -> None:
    low = {m: f for m, f in modules(repo).items() if not m.startswith(ABOVE) and ".fit" not in m}
    assert len(low) > 20
    assert {m: imported(f) & WORLD for m, f in low.items() if imported(f) & WORLD} == {}


def test_nothing_below_the_recorder_calls_for_the_present_time(repo: Path) -> None:
    for module, path in modules(repo).items():
        if module.startswith(ABOVE) or ".fit" in module:
            continue
        calls = [n for n in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(n, ast.Attribute)]
        assert not [n.attr for n in calls if n.attr in ("now", "utcnow", "today")], module


@pytest.mark.parametrize("word", ["except Exception", "pickle", "unsafe_allow_html=True"])
def test_no_file_holds_what_the_house_forbids(repo: Path, word: str) -> None:
    files = modules(repo).values()
    assert [f.name for f in files if word in f.read_text("utf-8")] == []


def test_each_all_is_exact(repo: Path) -> None:
    for module, path in modules(repo).items():
        if ".imaging.fit" in module:  # scripts, run and not imported
            continue
        tree = ast.parse(path.read_text("utf-8"))
        listed = [
            ast.literal_eval(n.value)
            for n in tree.body
            if isinstance(n, ast.Assign)
            and any(isinstance(t, ast.Name) and t.id == "__all__" for t in n.targets)
        ]
        if not listed:
            continue
        # A decorated function is a command of its group, called by that and not by name.
        kinds = (ast.FunctionDef, ast.ClassDef)
        plain = [
            n
            for n in tree.body
            if isinstance(n, kinds) and not (isinstance(n, ast.FunctionDef) and n.decorator_list)
        ]
        defined = {n.name for n in plain}
        public = {n for n in defined if not n.startswith("_")}
        assert public <= set(listed[0]), f"{module}: {public - set(listed[0])} missing from __all__"
