"""The shelf of products and the tank cards, as kept; nothing here is overwritten either."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, Select, delete, func, insert, select

from jartest.errors import Conflict, NotFound
from jartest.records.books import Books
from jartest.records.tables import counters
from jartest.records.tank_model import CardLapse, KeptCard, ShelfEntry
from jartest.records.tank_rows import card_of, card_to_json, product_of, product_to_json
from jartest.records.tank_tables import card_lapses, shelf_products, tank_cards

__all__ = ["TankBooks", "remove_cards_of"]


class TankBooks(Books):
    """The part of a store that keeps the shelf and the tank cards."""

    # ------------------------------------------------------------------ shelf
    def shelf_products(self) -> tuple[ShelfEntry, ...]:
        """Every product as last written, the retired ones too, in order of name and maker."""
        with self._reading() as c:
            return _shelf(c)

    def shelf_history(self, entry_id: str) -> tuple[ShelfEntry, ...]:
        """Every revision of one product, the first one first."""
        query = select(shelf_products).where(shelf_products.c.id == entry_id)
        with self._reading() as c:
            rows = c.execute(query.order_by(shelf_products.c.revision)).mappings()
            return tuple(_entry_of(row) for row in rows)

    def put_on_shelf(self, entries: Sequence[ShelfEntry]) -> None:
        """Keep these entries, each a new product (revision 1) or the next revision of one; all or none.

        Raises
        ------
        Conflict
            If somebody else wrote the same revision first, or another product of that name and maker
            stands on the shelf.
        """
        with self._writing() as c:
            # Held until the end: on PostgreSQL this makes a second writer wait (SQLite lets in one at a time).
            c.execute(select(counters.c.value).with_for_update())
            kept = {e.id: e for e in _shelf(c)}
            for entry in entries:
                _check_next(entry, kept.get(entry.id))
                kept[entry.id] = entry
                _check_alone(entry, kept)
                row = {"id": entry.id, "revision": entry.revision, "at": entry.at, "by": entry.by}
                row |= {"retired": entry.retired, "product": product_to_json(entry.product)}
                c.execute(insert(shelf_products).values(row))

    # ------------------------------------------------------------------ cards
    def add_card(self, kept: KeptCard) -> None:
        """Keep a tank card."""
        row = {name: getattr(kept, name) for name in ("id", "test_id", "signature_id", "at", "by")}
        row |= {"card": card_to_json(kept.card)}
        with self._writing() as c:
            c.execute(insert(tank_cards).values(row))

    def add_card_lapse(self, lapse: CardLapse) -> None:
        """Keep that a card no longer holds.

        Raises
        ------
        NotFound
            If there is no such card.
        """
        with self._writing() as c:
            if c.execute(select(tank_cards.c.seq).where(tank_cards.c.id == lapse.card_id)).first() is None:
                msg = f"There is no tank card {lapse.card_id!r}; it may have been removed with its test."
                raise NotFound(msg)
            row = {"id": lapse.id, "card_id": lapse.card_id, "at": lapse.at, "by": lapse.by}
            c.execute(insert(card_lapses).values(row | {"reasons": list(lapse.reasons)}))

    def cards(self, test_id: str | None = None) -> tuple[KeptCard, ...]:
        """The cards of one test or of all, the newest first."""
        query = select(tank_cards)
        if test_id is not None:
            query = query.where(tank_cards.c.test_id == test_id)
        with self._reading() as c:
            return _cards(c, query.order_by(tank_cards.c.at.desc(), tank_cards.c.seq.desc()))

    def card(self, card_id: str) -> KeptCard:
        """One card.

        Raises
        ------
        NotFound
            If there is none of that id.
        """
        with self._reading() as c:
            found = _cards(c, select(tank_cards).where(tank_cards.c.id == card_id))
        if not found:
            msg = f"There is no tank card {card_id[:40]!r}; it may have been removed with its test."
            raise NotFound(msg)
        return found[0]


def _shelf(c: Connection) -> tuple[ShelfEntry, ...]:
    newest = shelf_products.alias("newest")
    last = select(func.max(newest.c.revision)).where(newest.c.id == shelf_products.c.id).scalar_subquery()
    rows = c.execute(select(shelf_products).where(shelf_products.c.revision == last)).mappings()
    return tuple(sorted((_entry_of(row) for row in rows), key=lambda e: (e.product.key, e.id)))


def _entry_of(row: Any) -> ShelfEntry:
    return ShelfEntry(
        id=row["id"],
        revision=row["revision"],
        at=row["at"],
        by=row["by"],
        retired=row["retired"],
        product=product_of(row["product"]),
    )


def _check_next(entry: ShelfEntry, before: ShelfEntry | None) -> None:
    expected = 1 if before is None else before.revision + 1
    if entry.revision != expected:
        who = "Somebody" if before is None else before.by
        said = before.product.said if before else entry.product.said
        msg = f"{who} changed {said} while you were editing: open it again and enter your change there."
        raise Conflict(msg)


def _check_alone(entry: ShelfEntry, kept: dict[str, ShelfEntry]) -> None:
    if entry.retired:
        return
    for other in kept.values():
        if other.id != entry.id and other.product.key == entry.product.key:
            where = (
                "was taken off the shelf; bring it back instead"
                if other.retired
                else "is on the shelf already"
            )
            msg = f"{other.product.said} {where}: change that one, or give this one another maker."
            raise Conflict(msg)


def _cards(c: Connection, query: Select[Any]) -> tuple[KeptCard, ...]:
    rows = c.execute(query).mappings().all()
    lapses: dict[str, list[CardLapse]] = defaultdict(list)
    ids = [row["id"] for row in rows]
    of_cards = select(card_lapses).where(card_lapses.c.card_id.in_(ids)).order_by(card_lapses.c.seq)
    for row in c.execute(of_cards).mappings():
        lapses[row["card_id"]].append(
            CardLapse(
                id=row["id"],
                card_id=row["card_id"],
                at=row["at"],
                by=row["by"],
                reasons=tuple(row["reasons"]),
            )
        )
    return tuple(
        KeptCard(
            id=row["id"],
            test_id=row["test_id"],
            signature_id=row["signature_id"],
            at=row["at"],
            by=row["by"],
            card=card_of(row["card"]),
            lapses=tuple(lapses[row["id"]]),
        )
        for row in rows
    )


def remove_cards_of(c: Connection, test_ids: Select[tuple[str]]) -> None:
    """Take away the tank cards of these tests."""
    cards = select(tank_cards.c.id).where(tank_cards.c.test_id.in_(test_ids))
    c.execute(delete(card_lapses).where(card_lapses.c.card_id.in_(cards)))
    c.execute(delete(tank_cards).where(tank_cards.c.test_id.in_(test_ids)))
