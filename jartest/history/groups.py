"""Which products are of one kind: by what the shelf says is in them, else by their name alone."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable

from jartest.plan.products import ShelfProduct

__all__ = ["group_by_shelf"]

_MAKER = re.compile(r" \([^()]*\)$")


def group_by_shelf(shelf: Iterable[ShelfProduct] = ()) -> Callable[[str], str]:
    """Tells the group of a product said as `Name (Maker)`.

    That is what its shelf entry marks it with (such as `copper`, a nutrient or an active ingredient), or
    its name without the maker where the shelf marks it with nothing.
    """
    marked = {p.said.casefold(): " + ".join(sorted(p.contains)) for p in shelf if p.contains}

    def group_of(said: str) -> str:
        return marked.get(said.casefold()) or _MAKER.sub("", said).casefold()

    return group_of
