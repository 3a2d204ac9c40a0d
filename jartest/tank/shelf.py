"""The shelf of products: saved, taken off, brought back, and read from a file."""

from __future__ import annotations

from dataclasses import dataclass, replace

from jartest.errors import BadEntry, Conflict
from jartest.plan.products import ShelfProduct
from jartest.plan.shelf_csv import RefusedLine, shelf_from_csv
from jartest.recorder import Recorder, checked_name
from jartest.records.model import Product
from jartest.records.tank_model import ShelfEntry

__all__ = [
    "ShelfTaken",
    "bring_back",
    "confirm_product",
    "fold",
    "read_shelf",
    "retire",
    "save_product",
    "shelf_entry",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfTaken:
    """What came of a shelf file: products that are new, changed, and as they were, and the lines refused."""

    added: tuple[ShelfProduct, ...]
    changed: tuple[ShelfProduct, ...]
    same: int
    refused: tuple[RefusedLine, ...]


def save_product(
    recorder: Recorder, product: ShelfProduct, *, by: str, before: ShelfEntry | None = None
) -> ShelfEntry:
    """The product on the shelf: new, or as the next revision of `before`.

    Raises
    ------
    Conflict
        If somebody else changed it since, or another product has its name and maker.
    """
    entry = shelf_entry(recorder, product, by=by, before=before)
    recorder.store.put_on_shelf([entry])
    return entry


def retire(recorder: Recorder, entry: ShelfEntry, *, by: str) -> str:
    """What taking this product off the shelf means, in a sentence; tests and cards keep what they hold of it.

    Raises
    ------
    BadEntry
        If it stands in a test that is running.
    """
    running = [
        r.test.number
        for r in recorder.running()
        if any(_key(p) == entry.product.key for p in r.test.plan.products)
    ]
    if running:
        numbers = ", ".join(str(n) for n in sorted(running))
        msg = f"{entry.product.said} is in use in test {numbers}, which is running: sign or stop it first."
        raise BadEntry(msg)
    recorder.store.put_on_shelf([shelf_entry(recorder, entry.product, by=by, before=entry, retired=True)])
    cards = sum(
        any(fold(line.name, line.maker) == entry.product.key for line in kept.card.lines)
        for kept in recorder.store.cards()
    )
    held = f"; {cards} tank card{'s' if cards > 1 else ''} and" if cards else ";"
    return f"{entry.product.said} is off the shelf and no longer offered{held} earlier tests keep what they hold of it."


def bring_back(recorder: Recorder, entry: ShelfEntry, *, by: str) -> ShelfEntry:
    """A product that was taken off the shelf, on it again."""
    back = shelf_entry(recorder, entry.product, by=by, before=entry)
    recorder.store.put_on_shelf([back])
    return back


def read_shelf(recorder: Recorder, text: str, *, by: str) -> ShelfTaken:
    """What came of a shelf file: every line that can be taken is, each other one is named.

    Raises
    ------
    BadEntry
        If the file as a whole is no shelf file.
    """
    read = shelf_from_csv(text)
    kept = {e.product.key: e for e in recorder.store.shelf_products()}
    added: list[ShelfProduct] = []
    changed: list[ShelfProduct] = []
    entries = []
    for product in read.products:
        before = kept.get(product.key)
        if before is not None and before.product == product and not before.retired:
            continue
        (changed if before else added).append(product)
        entries.append(shelf_entry(recorder, product, by=by, before=before))
    recorder.store.put_on_shelf(entries)
    return ShelfTaken(
        added=tuple(added),
        changed=tuple(changed),
        same=len(read.products) - len(entries),
        refused=read.refused,
    )


def confirm_product(
    recorder: Recorder, product: ShelfProduct, *, by: str, before: ShelfEntry | None = None
) -> ShelfEntry:
    """The product on the shelf with its kind, grade and marks confirmed: as the next revision, or new.

    Raises
    ------
    Conflict
        If somebody else changed it since, or it was taken off the shelf.
    """
    known = before or next((e for e in recorder.store.shelf_products() if e.product.key == product.key), None)
    if known is not None and known.retired:
        msg = f"{known.product.said} was taken off the shelf by {known.by}: bring it back there first."
        raise Conflict(msg)
    return save_product(recorder, replace(product, checked=True), by=by, before=known)


def shelf_entry(
    recorder: Recorder, product: ShelfProduct, *, by: str, before: ShelfEntry | None, retired: bool = False
) -> ShelfEntry:
    """A product as the next revision of what stands on the shelf, or new."""
    return ShelfEntry(
        id=before.id if before else recorder.fresh_id(),
        revision=before.revision + 1 if before else 1,
        at=recorder.now(),
        by=checked_name(by),
        product=product,
        retired=retired,
    )


def fold(name: str, maker: str) -> tuple[str, str]:
    """By what a product is known on the shelf: name and maker in any letters."""
    return " ".join(name.split()).casefold(), " ".join(maker.split()).casefold()


def _key(product: Product) -> tuple[str, str]:
    return fold(product.name, product.maker)
