"""Where photo files lie: a folder, here or shared, or an object store named by its URL.

A place takes names like `aa/xyz.jpg` to bytes, and keeps each of them whole or not at all.
"""

from __future__ import annotations

import errno
import importlib
import os
import re
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Protocol
from urllib.parse import urlsplit
from urllib.request import url2pathname

from jartest.errors import BadEntry, StoreFault

__all__ = ["FolderPlace", "ObjectPlace", "PhotoPlace", "place_at"]

_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_FORBIDDEN = (errno.EROFS, errno.EACCES, errno.EPERM)
_URL = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://")  # a Windows path such as C:\photos is none

# Object stores: the library that each needs beside fsspec, and that library's own faults, which are no
# OSError.  `memory` forgets everything when the program ends; it is there to try the rest out.
_STORES: dict[str, tuple[str, tuple[str, ...]]] = {
    "s3": ("s3fs", ("botocore.exceptions.BotoCoreError", "botocore.exceptions.ClientError")),
    "gs": (
        "gcsfs",
        (
            "gcsfs.retry.HttpError",
            "google.auth.exceptions.GoogleAuthError",
            "aiohttp.client_exceptions.ClientError",
        ),
    ),
    "az": ("adlfs", ("azure.core.exceptions.AzureError",)),
    "memory": ("fsspec", ()),
}


class PhotoPlace(Protocol):
    """A place for photo files; every fault of it is a `StoreFault` in words."""

    def has(self, name: str) -> bool:
        """Whether there is a file of that name."""

    def read(self, name: str) -> bytes | None:
        """The bytes of that name; None where there are none."""

    def write(self, name: str, data: bytes) -> None:
        """Keep the bytes under that name: all of them, to stay, or none."""

    def remove(self, name: str) -> None:
        """Take a file away; one that is not there is gone already."""

    def names(self) -> Iterable[str]:
        """The name of every file."""

    def unfinished(self) -> int:
        """How many files a write left half-written when it was cut off."""


def place_at(address: str) -> FolderPlace | ObjectPlace:
    """The place at a path, a file:// address, or the URL of an object store.

    A shared folder must be there already: made here, it would fill this machine's own disk whenever
    the share is not mounted.

    Raises
    ------
    BadEntry
        If the address is of a kind that is not known; it is not repeated whole, as it may hold a password.
    StoreFault
        If the folder is not there, or the library for the object store is not.
    """
    if not _URL.match(address):
        return _folder(Path(address).expanduser())
    parts = urlsplit(address)
    scheme = parts.scheme.lower()
    if scheme == "file":
        host = "" if parts.netloc in ("", "localhost") else f"//{parts.netloc}"
        return _folder(Path(url2pathname(host + parts.path)))
    if scheme not in _STORES:
        known = ", ".join(f"{s}://" for s in _STORES if s != "memory")
        msg = f"Photos cannot be kept at {scheme}://; name a folder, or an object store as {known}."
        raise BadEntry(msg)
    if not parts.netloc or "@" in parts.netloc:
        msg = f"Write {scheme}://BUCKET or {scheme}://BUCKET/FOLDER, without a user or password in it."
        raise BadEntry(msg)
    return ObjectPlace(address)


def _folder(path: Path) -> FolderPlace:
    if not path.is_absolute():
        raise BadEntry("The folder of photos must be named from the root on, not relative to where one is.")
    if not path.is_dir():
        msg = "The folder named for the photos is not there; mount or make it, then start again."
        raise StoreFault(msg)
    return FolderPlace(path)


# ---------------------------------------------------------------------- a folder
class FolderPlace:
    """A folder on this machine, or a shared one that is mounted here."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def has(self, name: str) -> bool:
        """Whether there is a file of that name."""
        with _in_words():
            return (self._folder / name).is_file()

    def read(self, name: str) -> bytes | None:
        """The bytes of that name; None where there are none."""
        with _in_words():
            try:
                return (self._folder / name).read_bytes()
            except FileNotFoundError:
                return None

    def write(self, name: str, data: bytes) -> None:
        """Keep the bytes under that name, through to the disk."""
        with _in_words():
            path = self._folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            _write_whole(path, data)
            _sync_folder(path.parent.parent)

    def remove(self, name: str) -> None:
        """Take a file away."""
        with _in_words():
            (self._folder / name).unlink(missing_ok=True)

    def names(self) -> Iterable[str]:
        """The name of every file."""
        with _in_words():
            files = self._folder.glob("??/*") if self._folder.is_dir() else ()
            return [p.relative_to(self._folder).as_posix() for p in files]

    def unfinished(self) -> int:
        """How many files a write left half-written."""
        with _in_words():
            return sum(1 for _ in self._folder.glob("??/.part-*")) if self._folder.is_dir() else 0


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
    except OSError as e:
        if e.errno != errno.EINVAL:  # some network file systems sync files alone
            raise
    finally:
        os.close(fd)


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


# --------------------------------------------------------------- an object store
class ObjectPlace:
    """A bucket, or a folder in one.

    One object is put in one call, which such a store does whole or not at all (Amazon S3 User Guide,
    "Amazon S3 data consistency model": updates to a single key are atomic), so that nothing is renamed.
    """

    def __init__(self, url: str) -> None:
        scheme = urlsplit(url).scheme.lower()
        library, faults = _STORES[scheme]
        self._faults: tuple[type[BaseException], ...] = (OSError, *(_named(fault) for fault in faults))
        try:
            import fsspec.core

            with self._in_words():
                # Listings are asked anew each time: other machines write here too.
                self._store, root = fsspec.core.url_to_fs(url, use_listings_cache=False)
        except ImportError as e:
            needed = "jartest[objects]" if library == "fsspec" else f"jartest[objects] and {library}"
            raise StoreFault(f"Photos at {scheme}:// need a further library; install {needed}.") from e
        self._root = root.rstrip("/")

    def has(self, name: str) -> bool:
        """Whether there is an object of that name."""
        with self._in_words():
            try:
                self._store.info(self._at(name))  # fsspec's `isfile` takes any fault for a no
            except FileNotFoundError:
                return False
            return True

    def read(self, name: str) -> bytes | None:
        """The bytes of that name; None where there are none."""
        with self._in_words():
            try:
                data: bytes = self._store.cat_file(self._at(name))
            except FileNotFoundError:
                return None
            return data

    def write(self, name: str, data: bytes) -> None:
        """Keep the bytes under that name."""
        with self._in_words():
            self._store.pipe_file(self._at(name), data)

    def remove(self, name: str) -> None:
        """Take an object away."""
        with self._in_words(), suppress(FileNotFoundError):
            self._store.rm_file(self._at(name))

    def names(self) -> Iterable[str]:
        """The name of every object."""
        with self._in_words():
            try:
                found = self._store.find(self._root)
            except FileNotFoundError:
                return []
            return [str(path)[len(self._root) + 1 :] for path in found]

    def unfinished(self) -> int:
        """None: what was not put whole is no object."""
        return 0

    def _at(self, name: str) -> str:
        return f"{self._root}/{name}"

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except self._faults as e:
            why = (getattr(e, "strerror", None) or str(e) or type(e).__name__).split("\n")[0][:200]
            msg = f"The store of photos failed ({why}); check that it can be reached and its key, then try again."
            raise StoreFault(msg) from e


def _named(path: str) -> type[BaseException]:
    """The class at this path; where a library has it no more, OSError, which is caught already."""
    module, name = path.rsplit(".", 1)
    try:
        found: type[BaseException] = getattr(importlib.import_module(module), name, OSError)
    except ImportError:
        return OSError
    return found
