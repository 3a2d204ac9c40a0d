"""Photo files, each named by the sha256 of its bytes, written whole or not at all."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from jartest.errors import BadPhoto, NotFound, StoreFault
from jartest.records.photoplaces import FolderPlace, PhotoPlace

__all__ = ["PhotoFiles"]

_ENDINGS = {"image/jpeg": ".jpg", "image/png": ".png", "image/heic": ".heic"}
_SHA256 = re.compile("[0-9a-f]{64}")


class PhotoFiles:
    """The photo files in one place, as `aa/<sha256>.jpg`, .png or .heic; a folder where a path is given."""

    def __init__(self, place: Path | PhotoPlace) -> None:
        self._place = FolderPlace(place) if isinstance(place, Path) else place

    def put(self, data: bytes, media_type: str) -> str:
        """The sha256 under which these bytes are kept, once they are there to stay; twice is once.

        Raises
        ------
        BadPhoto
            If the media type is none that is kept.
        StoreFault
            If the place is full, out of reach or may not be written to; nothing half-written is left.
        """
        if media_type not in _ENDINGS:
            msg = f"Photos are kept as JPEG, PNG or HEIC, not {media_type!r}."
            raise BadPhoto(msg)
        sha256 = hashlib.sha256(data).hexdigest()
        kept = self._find(sha256)
        if kept is not None and self._place.read(kept) == data:
            return sha256
        self._place.write(kept or f"{sha256[:2]}/{sha256}{_ENDINGS[media_type]}", data)
        return sha256

    def get(self, sha256: str) -> bytes:
        """The bytes of a photo.

        Raises
        ------
        NotFound
            If no photo of that digest is kept.
        StoreFault
            If the file no longer has that digest, or cannot be read.
        """
        name = self._find(sha256)
        data = None if name is None else self._place.read(name)
        if data is None:
            msg = f"There is no photo {sha256[:12]!r} in the folder of photos; was the folder moved?"
            raise NotFound(msg)
        if hashlib.sha256(data).hexdigest() != sha256:
            msg = f"The photo {sha256[:12]!r} is damaged: its bytes changed where it is kept; take it from a backup."
            raise StoreFault(msg)
        return data

    def has(self, sha256: str) -> bool:
        """Whether a photo of that digest is kept."""
        return self._find(sha256) is not None

    def remove(self, sha256: str) -> None:
        """Take a photo away; one that is not there is gone already."""
        name = self._find(sha256)
        if name is not None:
            self._place.remove(name)

    def names(self) -> tuple[str, ...]:
        """The digest in the name of every photo file, in order."""
        files = (Path(name) for name in self._place.names())
        return tuple(
            sorted(p.stem for p in files if _SHA256.fullmatch(p.stem) and p.suffix in _ENDINGS.values())
        )

    def unfinished(self) -> int:
        """How many files a save left half-written when it was cut off; they are no photos."""
        return self._place.unfinished()

    def try_out(self) -> None:
        """Write a few bytes, read them back and take them away again.

        Raises
        ------
        StoreFault
            If any of it fails, or other bytes come back.
        """
        name, data = "00/tried-out", b"jartest"
        self._place.write(name, data)
        came_back = self._place.read(name)
        self._place.remove(name)
        if came_back != data:
            raise StoreFault("The place of photos gives back other bytes than were written; check it.")

    def _find(self, sha256: str) -> str | None:
        if not _SHA256.fullmatch(sha256):  # what comes from outside must not climb out of the folder
            return None
        names = (f"{sha256[:2]}/{sha256}{ending}" for ending in _ENDINGS.values())
        return next((name for name in names if self._place.has(name)), None)
