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


def test_the_flags_raised_are_those_of_the_register(repo: Path) -> None:
    text = "".join((repo / "jartest/imaging" / n).read_text("utf-8") for n in ("reading.py", "conditions.py"))
    pattern = r'append\("([a-z ]+)"\)|\["([a-z ]+)"\]|^        "([a-z ]+)": |^        \("([a-z ]+ unsure)"|"(no jar|foam unsure)"'
    raised = {name for found in re.findall(pattern, text, re.M) for name in found if name}
    scale = (repo / "jartest/imaging/scale.py").read_text("utf-8")
    raised |= {name for line in re.findall(r"flags=.*", scale) for name in re.findall(r'"([a-z ]+)"', line)}
    blank = (repo / "jartest/imaging/blank.py").read_text("utf-8")
    raised |= set(re.findall(r'"([a-z ]+)"', re.findall(r"^BLANK_USED.*", blank, re.M)[0]))
    assert raised == {f.name for f in REGISTER}


def test_a_jar_that_cannot_be_told_never_passes() -> None:
    for name in ("no jar", "walls unsure", "floor unsure", "surface unsure", "cut off", "layers unsure"):
        assert flag(name).blocks_pass
