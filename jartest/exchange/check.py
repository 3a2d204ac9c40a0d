"""Whether all that is kept is still there and still the same; read only."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from jartest.errors import BadParcel, NotFound, StoreFault
from jartest.exchange.incoming import read_incoming
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store

__all__ = ["Checked", "Finding", "check_home"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing found: a `fault` needs somebody to act, a `note` does no harm."""

    weight: Literal["fault", "note"]
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What was looked at, and what was found."""

    tests: int
    photos: int
    parcels: int
    findings: tuple[Finding, ...]

    @property
    def clean(self) -> bool:
        """Whether nothing needs anybody to act."""
        return all(f.weight == "note" for f in self.findings)


def check_home(
    store: Store, photos: PhotoFiles, progress: Callable[[float], None] = lambda _: None
) -> Checked:
    """Check the database, every photo's digest, every parcel, and what belongs to what.

    Parameters
    ----------
    progress : callable
        Told the share of the photos done (0 to 1) after each.
    """
    found = [Finding(weight="fault", says=says) for says in store.own_faults()]
    uses = store.photo_uses()
    for n, (sha256, (_, numbers)) in enumerate(uses.items(), 1):
        shown = f" of test {', '.join(f'#{x}' for x in numbers)}" if numbers else ""
        try:
            photos.get(sha256)
        except NotFound:
            says = f"The photo {sha256[:12]}{shown} is missing; take it from a backup, or put its file back."
            found.append(Finding(weight="fault", says=says))
        except StoreFault:
            says = f"The photo {sha256[:12]}{shown} is damaged; take it from a backup, or keep the same file again."
            found.append(Finding(weight="fault", says=says))
        progress(n / len(uses))
    rows = store.parcels()
    for row in rows:
        try:
            sound = read_incoming(store.parcel_content(row.id)).sha256 == row.sha256
        except BadParcel:
            sound = False
        if not sound:
            says = f"The parcel {row.id[:12]} about “{row.title}” is damaged; ask for it again, or go back to a backup."
            found.append(Finding(weight="fault", says=says))
    if unread := store.unread_looks():
        named = ", ".join(f"#{n}" for n in sorted({number for number, _, _ in unread})[:8])
        says = (
            f"Photos kept but not read yet: {len(unread)}, of test {named} (the app was stopped in the middle); "
            "they are read at its next start."
        )
        found.append(Finding(weight="note", says=says))
    stray = set(photos.names()) - set(uses)
    if stray:
        says = f"Photos that no record names: {len(stray)} (a save was cut off, or a test removed); they do no harm."
        found.append(Finding(weight="note", says=says))
    if unfinished := photos.unfinished():
        says = (
            f"Half-written files in the folder of photos: {unfinished} (a save was cut off); they do no harm."
        )
        found.append(Finding(weight="note", says=says))
    return Checked(tests=store.count(), photos=len(uses), parcels=len(rows), findings=tuple(found))
