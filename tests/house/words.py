"""Every text that people may see on screen, paper and the command line, out of the source itself.

`python tests/house/words.py` prints them, one a line: file, line number, text.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

REPO = Path(__file__).resolve().parents[2]
# Never seen by anybody who uses the program: how the networks were fitted, and changes of the schema.
UNSEEN = ("imaging/fit/", "records/migrations/")


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One text and where it stands; a value in it is shown as an ellipsis."""

    file: str
    line: int
    text: str


def _docstrings(tree: ast.AST) -> set[int]:
    kinds = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    found = set()
    for node in ast.walk(tree):
        if not isinstance(node, kinds) or not node.body or not isinstance(node.body[0], ast.Expr):
            continue
        # The docstring of a command is its help on the command line.
        command = isinstance(node, ast.FunctionDef) and any(
            "command" in ast.unparse(d) for d in node.decorator_list
        )
        if isinstance(node.body[0].value, ast.Constant) and not command:
            found.add(id(node.body[0].value))
    return found


def _texts(tree: ast.AST) -> Iterator[tuple[int, str]]:
    skipped = _docstrings(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            skipped |= {id(v) for v in node.values if isinstance(v, ast.Constant)}
            yield node.lineno, "".join(v.value if isinstance(v, ast.Constant) else "…" for v in node.values)
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in skipped:
            yield node.lineno, node.value


def _is_for_people(text: str) -> bool:
    """Whether it reads as words: two of them with a space, or one with a capital; keys, SQL and styles do not."""
    if re.search(r"</|\bSELECT\b|\bUPDATE\b|=>|[{}]|\\[bdsw(]|\(\?", text):
        return False
    return bool(re.search(r"[A-Za-z]{2,}[,;:.]? [A-Za-z…(“]|^[A-Z][a-z]+(?: |$)|… [a-z]{2,}", text))


def texts() -> list[Seen]:
    """All of them, in the order of files and lines."""
    found = []
    for path in sorted((REPO / "jartest").rglob("*.py")):
        name = path.relative_to(REPO / "jartest").as_posix()
        if name.startswith(UNSEEN):
            continue
        tree = ast.parse(path.read_text("utf-8"))
        seen = sorted({(line, " ".join(text.split())) for line, text in _texts(tree) if _is_for_people(text)})
        found += [Seen(file=name, line=line, text=text) for line, text in seen]
    for path in sorted((REPO / "jartest").rglob("*.toml")):
        name = path.relative_to(REPO / "jartest").as_posix()
        for line, text in enumerate(path.read_text("utf-8").splitlines(), start=1):
            if words := re.search(r'= "(.+)"', text):
                found.append(Seen(file=name, line=line, text=words[1]))
    return found


if __name__ == "__main__":
    for seen in texts():
        print(f"{seen.file}:{seen.line}: {seen.text}")
