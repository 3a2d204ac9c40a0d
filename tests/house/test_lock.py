"""The lock file: every library that the server needs, each version with the digests of its files."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

REPO = Path(__file__).resolve().parents[2]
ENTRY = re.compile(r"^([A-Za-z0-9._-]+)==([^ ;\\]+)(?: ; ([^\\]+))? \\$")
DIGEST = re.compile(r"^    --hash=sha256:[0-9a-f]{64}( \\)?$")  # pip's documentation, "Hash-checking mode"


def locked() -> dict[str, list[str]]:
    """The versions of each library in the lock file; several where they differ by system or Python."""
    found: dict[str, list[str]] = {}
    digests = 1
    for line in (REPO / ".ci" / "server.lock").read_text("utf-8").splitlines():
        if entry := ENTRY.match(line):
            assert digests > 0, f"no digest before {line}"
            digests = 0
            found.setdefault(canonicalize_name(entry[1]), []).append(entry[2])
        else:
            assert DIGEST.match(line), line
            digests += 1
    assert digests > 0
    return found


def needs() -> list[Requirement]:
    told = tomllib.loads((REPO / "pyproject.toml").read_text("utf-8"))["project"]["dependencies"]
    return [Requirement(x) for x in told]


def test_what_the_project_asks_for_is_locked_at_a_version_that_it_allows() -> None:
    versions = locked()
    for one in needs():
        assert all(v in one.specifier for v in versions[canonicalize_name(one.name)]), one


def test_what_those_need_in_turn_is_locked_too() -> None:
    versions, seen, left = locked(), set(), [canonicalize_name(r.name) for r in needs()]
    while left:
        name = left.pop()
        if name in seen:
            continue
        seen.add(name)
        assert name in versions
        for text in metadata.requires(name) or []:
            one = Requirement(text)
            if one.marker is None or one.marker.evaluate({"extra": ""}):
                left.append(canonicalize_name(one.name))
    assert len(seen) > 30
