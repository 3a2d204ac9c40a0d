"""What people type to find tests: words, and a few fields such as `verdict:fail since:2026-03-01`."""

from __future__ import annotations

import re
from typing import Literal

__all__ = ["FIELDS", "ListOrder", "field_in", "field_name", "with_field"]

FIELDS = ("verdict", "since", "until", "maker", "state")
ListOrder = Literal["newest", "oldest", "worst", "signed"]  # newest first, oldest, worst score, last signed


def field_name(word: str) -> str:
    """The field that a word of a search names, such as `verdict`; nothing where it is a plain word."""
    name, colon, _ = word.casefold().partition(":")
    return name if colon and name in FIELDS else ""


def _pattern(name: str) -> re.Pattern[str]:
    return re.compile(rf"(?<!\S){name}:(\S*)", re.IGNORECASE)


def field_in(words: str, name: str) -> str:
    """The last value of this field in a search, or nothing."""
    found = _pattern(name).findall(words)
    return str(found[-1]) if found else ""


def with_field(words: str, name: str, value: str) -> str:
    """The search with this field at this value, in place of what it was; without it where the value is empty."""
    rest = _pattern(name).sub("", words).split()
    return " ".join([*rest, f"{name}:{value}"] if value else rest)
