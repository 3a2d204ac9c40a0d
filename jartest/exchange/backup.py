"""The whole house in one file: written while the app runs, read back before it counts, and restored.

The file is a zip whose parts are stored as they are, with a manifest that names every part and its sha256.
It is read by those names alone and never unpacked as it stands.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from jartest.errors import BadParcel, Conflict, NotFound, StoreFault
from jartest.imaging.photo import MAX_BYTES
from jartest.records.photofiles import PhotoFiles
from jartest.records.private import make_private
from jartest.records.schema import foreign_in
from jartest.records.store import Store
from jartest.records.upkeep import is_whole_store, photos_named_in

__all__ = ["BackedUp", "back_up", "restore"]

_RECORDS, _LIMITS, _MANIFEST = "records.sqlite", "limits.toml", "manifest.json"
_PHOTO = re.compile(r"photos/([0-9a-f]{64})\.(jpg|png|heic)")
_MEDIA = {"jpg": "image/jpeg", "png": "image/png", "heic": "image/heic"}
_DATE = (1980, 1, 1, 0, 0, 0)
_BLOCK = 1 << 20
_MAX_MANIFEST = 200_000_000  # a million photos; our choice


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    name: str
    sha256: str = Field(pattern="^[0-9a-f]{64}$")
    size_bytes: int = Field(ge=0)


class _Manifest(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    format: str
    version: int
    made_at: str
    lost_photos: list[str]
    parts: list[_Part]


@dataclass(frozen=True, slots=True, kw_only=True)
class BackedUp:
    """A backup that was written and read back, or restored: its photos, its size, and photos it could not have."""

    photos: int
    size_bytes: int
    lost_photos: tuple[str, ...]


# ----------------------------------------------------------------------- there
def back_up(
    store: Store,
    photos: PhotoFiles,
    file: Path,
    *,
    at: datetime,
    shop_limits: Path | None = None,
    progress: Callable[[float], None] = lambda _: None,
) -> BackedUp:
    """Write everything kept into one new file, and read it back before it gets its name.

    A photo that is missing or damaged does not stop the backup of all others; it is named in it.

    Raises
    ------
    Conflict
        If there is a file of that name already.
    StoreFault
        If the disk fails or is full, the records are on a server, or what was written reads back otherwise.
    """
    if file.exists():
        raise Conflict(f"There is a file named “{file.name}” already; name another one for the backup.")
    with _in_words("The backup"), _own_folder(file.parent) as work:
        records = work / _RECORDS
        store.copy_to(records)  # first: every photo that these records name is on the disk by now
        part = work / "backup.zip"
        lost = _write(part, records, photos, photos_named_in(records), at, shop_limits, progress)
        _read_back(part)
        part.chmod(0o600)
        _sync(part)
        part.replace(file)
        _sync(file.parent)
        with zipfile.ZipFile(file) as z:
            count = sum(1 for n in z.namelist() if _PHOTO.fullmatch(n))
        return BackedUp(photos=count, size_bytes=file.stat().st_size, lost_photos=lost)


def _write(
    part: Path,
    records: Path,
    photos: PhotoFiles,
    uses: dict[str, str],
    at: datetime,
    shop_limits: Path | None,
    progress: Callable[[float], None],
) -> tuple[str, ...]:
    endings = {media: ending for ending, media in _MEDIA.items()}
    listed, lost = [], []
    with zipfile.ZipFile(part, "w", zipfile.ZIP_STORED) as z:
        with records.open("rb") as f:
            listed.append(_add(z, _RECORDS, f))
        if shop_limits is not None and shop_limits.exists():
            with shop_limits.open("rb") as f:
                listed.append(_add(z, _LIMITS, f))
        for n, (sha256, media_type) in enumerate(uses.items(), 1):
            try:
                data = photos.get(sha256)
            except (NotFound, StoreFault):
                lost.append(sha256)
                continue
            name = f"photos/{sha256}.{endings[media_type]}"
            z.writestr(_info(name), data)
            listed.append({"name": name, "sha256": sha256, "size_bytes": len(data)})
            progress(n / len(uses))
        manifest = {
            "format": "jartest backup",
            "version": 1,
            "made_at": at.isoformat(),
            "lost_photos": lost,
            "parts": listed,
        }
        z.writestr(_info(_MANIFEST), json.dumps(manifest, indent=1))
    return tuple(lost)


def _info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _DATE)
    info.create_system = 3
    info.external_attr = 0o600 << 16
    return info


def _add(z: zipfile.ZipFile, name: str, f: IO[bytes]) -> dict[str, Any]:
    digest, size = hashlib.sha256(), 0
    with z.open(_info(name), "w", force_zip64=True) as out:
        while block := f.read(_BLOCK):
            digest.update(block)
            size += len(block)
            out.write(block)
    return {"name": name, "sha256": digest.hexdigest(), "size_bytes": size}


def _read_back(part: Path) -> None:
    try:
        with zipfile.ZipFile(part) as z:
            _check(z)
    except (zipfile.BadZipFile, BadParcel) as e:
        msg = "The backup reads back otherwise than it was written; it was thrown away, check the disk."
        raise StoreFault(msg) from e


# ------------------------------------------------------------------------ back
def restore(
    file: Path,
    home: Path,
    *,
    photos: PhotoFiles | None = None,
    progress: Callable[[float], None] = lambda _: None,
) -> BackedUp:
    """Put a backup into a folder that holds no records yet; the records come last, when all else is there.

    Photos go into that folder too, or to `photos`, where those are kept elsewhere.

    Raises
    ------
    BadParcel
        If the file is no backup, or not whole; nothing was written then.
    Conflict
        If the folder holds records already; nothing was written.
    StoreFault
        If the disk fails or is full; doing it again goes on from there.
    """
    target = home / "jartest.sqlite"
    if target.exists():
        raise Conflict("There are records in this folder already; restore into an empty one (--into FOLDER).")
    with _in_words("The restoring"):
        try:
            with zipfile.ZipFile(file) as z:
                manifest = _check(z)
                make_private(home)
                _put_back(z, manifest, home, target, photos or PhotoFiles(home / "photos"), progress)
        except (zipfile.BadZipFile, EOFError, NotImplementedError, UnicodeDecodeError) as e:
            raise BadParcel("The file is not a complete backup; choose another one.") from e
    count = sum(1 for p in manifest.parts if _PHOTO.fullmatch(p.name))
    return BackedUp(photos=count, size_bytes=file.stat().st_size, lost_photos=tuple(manifest.lost_photos))


def _put_back(
    z: zipfile.ZipFile,
    manifest: _Manifest,
    home: Path,
    target: Path,
    photos: PhotoFiles,
    progress: Callable[[float], None],
) -> None:
    with _own_folder(home) as work:
        records = work / _RECORDS
        with z.open(_RECORDS) as f, records.open("wb") as out:
            while block := f.read(_BLOCK):
                out.write(block)
        if not is_whole_store(records):
            raise BadParcel("The records in the backup are damaged; take another backup.")
        if odd := foreign_in(records):
            said = ", ".join(odd[:3])
            raise BadParcel(
                f"The records in the backup hold what jartest does not write ({said}); take another backup."
            )
        for n, part in enumerate(manifest.parts, 1):
            if found := _PHOTO.fullmatch(part.name):
                photos.put(z.read(part.name), _MEDIA[found[2]])
            elif part.name == _LIMITS and not (home / _LIMITS).exists():
                (work / _LIMITS).write_bytes(z.read(_LIMITS))
                (work / _LIMITS).replace(home / _LIMITS)
            progress(n / len(manifest.parts))
        _sync(records)
        records.replace(target)
        make_private(home)
        _sync(home)


def _check(z: zipfile.ZipFile) -> _Manifest:
    """The manifest, once every part is known to be what it says."""
    infos = {i.filename: i for i in z.infolist()}
    if (
        len(infos) != len(z.infolist())
        or _MANIFEST not in infos
        or infos[_MANIFEST].file_size > _MAX_MANIFEST
    ):
        raise BadParcel("The file is not a jartest backup; choose another one.")
    if any(i.compress_type != zipfile.ZIP_STORED or i.file_size != i.compress_size for i in infos.values()):
        raise BadParcel("The file is packed in a way that jartest does not write; take another backup.")
    try:
        manifest = _Manifest.model_validate_json(z.read(_MANIFEST))
    except ValidationError as e:
        raise BadParcel("The file's manifest is not that of a jartest backup; take another one.") from e
    if manifest.format != "jartest backup" or manifest.version > 1:
        raise BadParcel(
            "The file was written by a newer version, or is not a jartest backup; update jartest."
        )
    names = [p.name for p in manifest.parts]
    if {*names, _MANIFEST} != set(infos) or len(set(names)) != len(names) or _RECORDS not in names:
        raise BadParcel("The backup does not hold exactly the parts that it names; take another one.")
    for part in manifest.parts:
        found = _PHOTO.fullmatch(part.name)
        if part.name not in (_RECORDS, _LIMITS) and not (
            found and found[1] == part.sha256 and part.size_bytes <= MAX_BYTES
        ):
            raise BadParcel(f"The backup holds a part named {part.name[:60]!r}, which has no place in it.")
        digest = hashlib.sha256()
        with z.open(part.name) as f:
            while block := f.read(_BLOCK):
                digest.update(block)
        if digest.hexdigest() != part.sha256 or infos[part.name].file_size != part.size_bytes:
            raise BadParcel(f"The part {part.name[:24]!r} of the backup is damaged; take another backup.")
    return manifest


# ----------------------------------------------------------------------- files
@contextmanager
def _own_folder(beside: Path) -> Iterator[Path]:
    """A folder on the same disk for what is not finished yet; gone afterwards."""
    with tempfile.TemporaryDirectory(dir=beside, prefix=".jartest-", ignore_cleanup_errors=True) as name:
        yield Path(name)


def _sync(path: Path) -> None:
    """Write a file, or a folder's list of names, through to the disk, where the system lets it."""
    with suppress(PermissionError):  # Windows opens no folders
        fd = os.open(path, os.O_RDONLY)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)


@contextmanager
def _in_words(what: str) -> Iterator[None]:
    try:
        yield
    except OSError as e:
        if isinstance(e, StoreFault):
            raise
        raise StoreFault(
            f"{what} failed ({e.strerror}); check the folder, its permissions and the disk's room."
        ) from e
