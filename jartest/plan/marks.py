"""The marks on a product: what in it troubles other products."""

from __future__ import annotations

from typing import Literal, get_args

from jartest.errors import BadEntry

__all__ = ["TAGS", "Tag", "read_tag", "say_tag"]

Tag = Literal[
    "weak-acid salt",
    "acid",
    "alkali",
    "ammonium",
    "copper",
    "phosphite",
    "phosphate",
    "calcium",
    "metal salt",
    "chelate",
    "borate",
    "silicate",
    "sulphur",
    "sulfide",
    "hypochlorite",
    "live organisms",
    "oil",
]
TAGS: tuple[Tag, ...] = get_args(Tag)

_SAYS: dict[Tag, str] = {
    "weak-acid salt": "weak-acid salt (2,4-D amine, glyphosate)",
    "alkali": "alkali (lime, carbonate)",
    "metal salt": "metal salt (Zn, Fe, Mn, Mg)",
    "borate": "borate (boron)",
    "sulphur": "sulfur",
    "sulfide": "lime sulfur or other sulfide",
    "hypochlorite": "hypochlorite (chlorine)",
}
_WORDS: dict[str, Tag] = {
    "sulfur": "sulphur",
    "lime sulfur": "sulfide",
    "boron": "borate",
    "chlorine": "hypochlorite",
    "live": "live organisms",
}


def say_tag(tag: Tag) -> str:
    """A mark as people say it."""
    return _SAYS.get(tag, tag)


def read_tag(text: str) -> Tag:
    """The mark that people mean by `text`: what troubles other products in this one.

    Raises
    ------
    BadEntry
        If it is not known.
    """
    word = " ".join(text.split()).casefold()
    word = "sulphur" if word == "sulfur" else word
    for tag in TAGS:
        if word in (tag, say_tag(tag).casefold()):
            return tag
    if word in _WORDS:
        return _WORDS[word]
    msg = f"{text.strip()[:40]!r} is not something to mark a product with: take one of {', '.join(map(say_tag, TAGS))}."
    raise BadEntry(msg)
