"""Photo files, each named by the sha256 of its bytes, written whole or not at all."""

from __future__ import annotations

import errno
import hashlib
import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from jartest.errors import BadPhoto, NotFound, StoreFault

__all__ = ["PhotoFiles"]

_ENDINGS = {"image/jpeg": ".jpg", "image/png": ".png", "image/heic": ".heic"}
_SHA256 = re.compile("[0-9a-f]{64}")
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_FORBIDDEN = (errno.EROFS, errno.EACCES, errno.EPERM)


@contextmanager
def _in_words() -> Iterator[None]:
    try:
        yield
    except OSError as e:
        if e.errno in _FULL:
            msg = "The disk is full; the photo was not kept, make room and send it again."
        elif e.errno in _FORBIDDEN:
            msg = "The folder of photos may not be written to or read; mend its permissions and try again."
        else:
            msg = f"The folder of photos failed ({e.strerror}); check the disk and try again."
        raise StoreFault(msg) from e


def _sync_folder(folder: Path) -> None:
    """Write a folder's list of names through to the disk, where the system lets folders be opened."""
    if os.name == "nt":
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


class PhotoFiles:
    """The photo files under one folder, as `aa/<sha256>.jpg`, .png or .heic."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def put(self, data: bytes, media_type: str) -> str:
        """The sha256 under which these bytes are kept, once they are on the disk; twice is once.

        Raises
        ------
        BadPhoto
            If the media type is none that is kept.
        StoreFault
            If the disk is full or may not be written to; nothing half-written is left.
        """
        if media_type not in _ENDINGS:
            msg = f"Photos are kept as JPEG, PNG or HEIC, not {media_type!r}."
            raise BadPhoto(msg)
        sha256 = hashlib.sha256(data).hexdigest()
        with _in_words():
            kept = self._find(sha256)
            if kept is not None and kept.read_bytes() == data:
                return sha256
            path = kept or self._folder / sha256[:2] / f"{sha256}{_ENDINGS[media_type]}"
            path.parent.mkdir(parents=True, exist_ok=True)
            _write_whole(path, data)
            _sync_folder(path.parent.parent)
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
        with _in_words():
            path = self._find(sha256)
            data = None if path is None else path.read_bytes()
        if data is None:
            msg = f"There is no photo {sha256[:12]!r} in the folder of photos; was the folder moved?"
            raise NotFound(msg)
        if hashlib.sha256(data).hexdigest() != sha256:
            msg = (
                f"The photo {sha256[:12]!r} is damaged: its bytes changed on the disk; take it from a backup."
            )
            raise StoreFault(msg)
        return data

    def has(self, sha256: str) -> bool:
        """Whether a photo of that digest is kept."""
        with _in_words():
            return self._find(sha256) is not None

    def remove(self, sha256: str) -> None:
        """Take a photo away; one that is not there is gone already."""
        with _in_words():
            path = self._find(sha256)
            if path is not None:
                path.unlink(missing_ok=True)

    def names(self) -> tuple[str, ...]:
        """The digest in the name of every photo file, in order."""
        with _in_words():
            files = self._folder.glob("??/*") if self._folder.is_dir() else ()
            return tuple(
                sorted(p.stem for p in files if _SHA256.fullmatch(p.stem) and p.suffix in _ENDINGS.values())
            )

    def unfinished(self) -> int:
        """How many files a save left half-written when it was cut off; they are no photos."""
        with _in_words():
            return sum(1 for _ in self._folder.glob("??/.part-*")) if self._folder.is_dir() else 0

    def _find(self, sha256: str) -> Path | None:
        if not _SHA256.fullmatch(sha256):  # what comes from outside must not climb out of the folder
            return None
        paths = (self._folder / sha256[:2] / f"{sha256}{ending}" for ending in _ENDINGS.values())
        return next((p for p in paths if p.is_file()), None)


def _write_whole(path: Path, data: bytes) -> None:
    """Put `data` at `path` so that a reader, or a power cut, finds all of it or nothing."""
    fd, name = tempfile.mkstemp(dir=path.parent, prefix=".part-")
    part = Path(name)
    try:
        with os.fdopen(fd, "wb") as f:
            f.write(data)
            f.flush()
            os.fsync(f.fileno())
        part.replace(path)
    except BaseException:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)
