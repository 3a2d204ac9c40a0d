"""The register of photo flags."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from jartest.errors import BadEntry
from jartest.imaging.quality import REGISTER, flag


def test_every_flag_has_its_own_name_and_says_what_to_do() -> None:
    assert len({f.name for f in REGISTER}) == len(REGISTER)
    for f in REGISTER:
        assert f.says.endswith(".")
        assert f.do.endswith(".")
        assert flag(f.name) is f


def test_a_name_that_is_not_registered_is_refused() -> None:
    with pytest.raises(BadEntry, match="sunny"):
        flag("sunny")


def test_the_reading_raises_only_registered_flags(repo: Path) -> None:
    text = (repo / "jartest/imaging/reading.py").read_text("utf-8")
    raised = set(re.findall(r'append\("([a-z ]+)"\)|\["([a-z ]+)"\]|^        "([a-z ]+)": ', text, re.M))
    names = {a or b or c for a, b, c in raised}
    assert {"layers unsure", "jar moved", "overexposed"} <= names
    assert names <= {f.name for f in REGISTER}


def test_a_jar_that_cannot_be_told_never_passes() -> None:
    for name in ("no jar", "walls unsure", "floor unsure", "surface unsure", "cut off", "layers unsure"):
        assert flag(name).blocks_pass
