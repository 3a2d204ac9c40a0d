"""What a text may hold: everything that people write, and nothing that a database or a web page takes for its own.

Texts are shown as words wherever they are shown; that none holds HTML is a second wall behind that one, and lets
a parcel that brings some be refused as what it is.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from jartest.errors import BadEntry

__all__ = ["PATTERN", "bare", "keepable", "plain_words", "plain_words_in", "set_apart"]

_UNKEEPABLE = re.compile("[\x00\ud800-\udfff]")
# HTML, Living Standard, 13.2.5.6 "tag open state": only these after a "<" begin a tag, a comment or the like.
_TAG = re.compile("<[A-Za-z/!?]")
PATTERN = r"^([^\x00<]|<+([^\x00<A-Za-z/!?]|$))*$"  # the same as a rule for JSON Schema


def keepable(text: str) -> str:
    """The text, once it is known that every database can hold it and be asked for it.

    Raises
    ------
    BadEntry
        If it holds a character that no database keeps.
    """
    if odd := _UNKEEPABLE.search(text):
        msg = f"The text {text[:40]!r} holds the character {odd[0]!r}, which cannot be kept; take it out."
        raise BadEntry(msg)
    return text


def plain_words(text: str) -> str:
    """The text, once it is known to be words and nothing else.

    Raises
    ------
    BadEntry
        If it holds a character that no database keeps, or what a web page would take for HTML.
    """
    if tag := _TAG.search(keepable(text)):
        where = text[tag.start() : tag.start() + 12]
        msg = f"The text holds “{where}”, which a web page would take for HTML; put a space after the <, or take it out."
        raise BadEntry(msg)
    return text


def set_apart(name: str) -> str:
    """A name that came from elsewhere, with a space after each < that a web page would take for HTML.

    Nobody typed it here, so nobody is to be sent away with a photo because of it.
    """
    return _TAG.sub(lambda tag: f"< {tag[0][1:]}", name)


# What turns the direction of writing (Unicode Standard Annex 9, section 2) or is no sign at all but newline and tab:
# with it a name or an address reads otherwise than it stands.
_TRICKS = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]|[\x00-\x08\x0b-\x1f\x7f-\x9f]")


def bare(text: str) -> str:
    """Words of others as they may be shown: without signs that turn the direction of writing, and without controls."""
    return _TRICKS.sub("", text)


def plain_words_in(value: object) -> None:
    """See to every text within lists and mappings as `plain_words` does."""
    if isinstance(value, str):
        plain_words(value)
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            plain_words_in(key)
            plain_words_in(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            plain_words_in(inner)
