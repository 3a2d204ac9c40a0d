"""A parcel: one file with a manifest, a page to read, and photos; written plainly, read with distrust.

The file is a zip whose parts are stored as they are, so that nothing in it can unfold.  It is read by the
names in its manifest alone and never unpacked.
"""

from __future__ import annotations

import hashlib
import io
import re
import struct
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from jartest.errors import BadEntry, BadParcel, BadPhoto
from jartest.exchange.mailphoto import small_photo, whole_photo
from jartest.exchange.manifest import (
    Answer,
    Part,
    Question,
    digest_of_case,
    manifest_bytes,
    read_manifest,
)
from jartest.exchange.nameless import without_names
from jartest.exchange.opinion_html import PAGE_HEAD, question_page
from jartest.imaging.overlay import draw_overlay, shrink
from jartest.imaging.photo import Photo, open_photo
from jartest.imaging.values import Reading
from jartest.records.model import Case

__all__ = ["MAX_BYTES", "Parcel", "check_photos", "overlay_in", "pack_question", "plain_in", "read_parcel"]

MAX_BYTES = 80_000_000  # twice the largest photo, and what a phone can still open; our choice
_MAIL_BYTES = 7_000_000  # mail takes 10 MB, and writes 3 bytes as 4: common practice, no source
# Longer sides of a photo and of its copy in the page; of these the largest with which all goes through a mail
# (our choice).
_SIDES_PX = ((1600, 900), (1200, 700), (900, 500))
_MAX_PARTS = 200
_MANIFEST = "manifest.json"
_MAX_MANIFEST = 8_000_000
_PAGE = "opinion.html"
_NAME = re.compile(r"opinion\.html|photos/[0-9]{1,3}\.(jpg|png)")
_DATE = (1980, 1, 1, 0, 0, 0)  # the first that a zip can say; the same for all, so that bytes are the same
_END = struct.Struct("<4s4H2LH")  # end of central directory: PKWARE APPNOTE 6.3, section 4.3.16


@dataclass(frozen=True, slots=True, kw_only=True)
class Parcel:
    """A parcel that was read or written: its manifest, the digest that names it, its parts, the whole file.

    `key` and `signature` are those under an answer, where one holds; nothing where it is not signed.
    """

    said: Question | Answer
    sha256: str
    parts: Mapping[str, bytes]
    data: bytes
    key: str = ""
    signature: str = ""

    def photo(self, photo_sha256: str) -> bytes:
        """The sent copy of a photo of the record."""
        (name,) = (p.name for p in self.said.parts if p.photo_sha256 == photo_sha256)
        return self.parts[name]


# --------------------------------------------------------------------- writing
def pack_question(
    case: Case,
    photo_of: Callable[[str], bytes],
    *,
    parcel_id: str,
    at: datetime,
    by: str,
    asked_of: str,
    words: str,
    loose: bool = False,
    whole: bool = False,
    nameless: bool = False,
) -> Parcel:
    """The parcel that asks for a second opinion on a test.

    Parameters
    ----------
    photo_of : callable
        The bytes of a photo of the record by its sha256.
    whole : bool
        Send photos in full size; otherwise in the largest of a few sizes that fits into a mail.
    nameless : bool
        Leave out the names of people, customers and places.

    Raises
    ------
    BadEntry
        If the record holds something that a parcel may not.
    StoreFault, NotFound
        If a photo is damaged or gone.
    """
    originals = {sha256: photo_of(sha256) for sha256 in dict.fromkeys(x.photo.sha256 for x in case.looks)}
    sent = without_names(case) if nameless else case
    question = Question(
        id=parcel_id,
        made_at=at,
        asked_by="" if nameless else by,
        asked_of="" if nameless else asked_of,
        words=words,
        loose=loose,
        left_out=("names and places",) if nameless else (),
        record_sha256=digest_of_case(case),
        case=sent,
        parts=(),
    )
    for side, page_side in _SIDES_PX:
        page = question_page(question, {s: small_photo(d, page_side) for s, d in originals.items()})
        parts: dict[str, tuple[bytes, str, str | None]] = {_PAGE: (page.encode(), "text/html", None)}
        for n, (sha256, data) in enumerate(originals.items(), 1):
            sent_photo = whole_photo(data) if whole else small_photo(data, side)
            png = sent_photo[:4] == b"\x89PNG"
            parts[f"photos/{n}.{'png' if png else 'jpg'}"] = (
                sent_photo,
                "image/png" if png else "image/jpeg",
                sha256,
            )
        if whole or sum(len(data) for data, *_ in parts.values()) <= _MAIL_BYTES:
            break
    return _pack(question, parts)


def _pack(said: Question, parts: Mapping[str, tuple[bytes, str, str | None]]) -> Parcel:
    listed = tuple(
        Part(
            name=name,
            sha256=hashlib.sha256(data).hexdigest(),
            size_bytes=len(data),
            media_type=media_type,  # type: ignore[arg-type]
            photo_sha256=photo,
        )
        for name, (data, media_type, photo) in parts.items()
    )
    said = replace(said, parts=listed)
    manifest = manifest_bytes(said)
    files = {_MANIFEST: manifest} | {name: data for name, (data, *_) in parts.items()}
    whole = _zip(files)
    if len(whole) > MAX_BYTES or len(manifest) > _MAX_MANIFEST or len(files) > _MAX_PARTS:
        msg = f"The parcel would have {len(whole) / 1e6:.0f} MB and {len(files)} parts, more than can be sent; send the photos small."
        raise BadEntry(msg)
    del files[_MANIFEST]
    return Parcel(said=said, sha256=hashlib.sha256(manifest).hexdigest(), parts=files, data=whole)


def _zip(files: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED, allowZip64=False) as z:
        for name, data in files.items():
            info = zipfile.ZipInfo(name, _DATE)
            info.create_system = 3  # the same on every system
            info.external_attr = 0o644 << 16
            z.writestr(info, data)
    return out.getvalue()


# --------------------------------------------------------------------- reading
def read_parcel(data: bytes) -> Parcel:
    """The parcel in these bytes, once every part of it is known to be what its manifest says.

    Raises
    ------
    BadParcel
        In one sentence, whatever is wrong with it.
    """
    _check_size(data)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as z:
            names = _check_names(z, len(data))
            if names.get(_MANIFEST, _MAX_MANIFEST + 1) > _MAX_MANIFEST:
                raise BadParcel("The parcel has no manifest of a sound size; it is not from jartest.")
            manifest = z.read(_MANIFEST)
            said = read_manifest(manifest)
            parts = _read_parts(z, said, names)
    except (
        zipfile.BadZipFile,
        zipfile.LargeZipFile,
        NotImplementedError,
        EOFError,
        struct.error,
        UnicodeDecodeError,
    ) as e:
        raise BadParcel("The parcel is damaged: it is not a valid zip; ask for it again.") from e
    parcel = Parcel(said=said, sha256=hashlib.sha256(manifest).hexdigest(), parts=parts, data=data)
    check_photos(parcel)
    return parcel


def _check_size(data: bytes) -> None:
    if not data:
        raise BadParcel("The parcel is empty (0 bytes); save it from the mail again.")
    if len(data) > MAX_BYTES:
        msg = f"The parcel has more than the {MAX_BYTES / 1e6:.0f} MB that are read; ask for it with small photos."
        raise BadParcel(msg)
    end = data[-_END.size :]
    if data[:4] != b"PK\x03\x04" or len(end) < _END.size or end[:4] != b"PK\x05\x06":
        raise BadParcel("The file is not a complete parcel; a parcel is a .zip written by jartest.")
    _, _, _, here, total, size, start, _ = _END.unpack(end)
    # Checked before the list of names is read: it could hold a million of them.
    if not (
        here == total <= _MAX_PARTS and start + size + _END.size == len(data) and size < _MAX_PARTS * 200
    ):
        raise BadParcel("The parcel's list of names is not as jartest writes it; nothing was kept.")


def _check_names(z: zipfile.ZipFile, length: int) -> dict[str, int]:
    """The size of each part by its name, once every name and size is known to be sound."""
    sizes: dict[str, int] = {}
    seen: set[str] = set()
    for info in z.infolist():
        name = info.orig_filename
        if name.casefold() in seen:
            raise BadParcel("The parcel holds two parts of one name; nothing was kept.")
        seen.add(name.casefold())
        if name != _MANIFEST and not _NAME.fullmatch(name):
            raise BadParcel(
                f"The parcel holds a part named {name[:60]!r}, which has no place in it; nothing was kept."
            )
        if (info.external_attr >> 16) & 0o170000 not in (0, 0o100000):
            raise BadParcel(f"The part {name!r} of the parcel is a link or a folder; nothing was kept.")
        if info.compress_type != zipfile.ZIP_STORED or info.flag_bits & ~0x800 or info.extra or info.comment:
            raise BadParcel(
                f"The part {name!r} is packed in a way that jartest does not write; nothing was kept."
            )
        if info.file_size != info.compress_size:
            raise BadParcel(f"The part {name!r} does not have the size it claims; nothing was kept.")
        sizes[name] = info.file_size
    if sum(sizes.values()) > length:
        raise BadParcel("The parcel's parts claim more than the parcel holds; nothing was kept.")
    return sizes


def _read_parts(z: zipfile.ZipFile, said: Question | Answer, names: Mapping[str, int]) -> dict[str, bytes]:
    listed = {p.name for p in said.parts}
    missing, extra = listed - set(names), set(names) - listed - {_MANIFEST}
    if missing or _MANIFEST in listed:
        raise BadParcel(
            f"The part {min(missing or {_MANIFEST})!r} is missing from the parcel; ask for it again."
        )
    if extra:
        raise BadParcel(
            f"The parcel holds {min(extra)!r}, which its manifest does not name; nothing was kept."
        )
    parts = {}
    for part in said.parts:
        data = z.read(part.name)
        if len(data) != part.size_bytes or hashlib.sha256(data).hexdigest() != part.sha256:
            raise BadParcel(f"The part {part.name!r} was changed on the way; ask for the parcel again.")
        if (part.name == _PAGE) != (part.media_type == "text/html") or (part.name == _PAGE) == bool(
            part.photo_sha256
        ):
            raise BadParcel(f"The part {part.name!r} is not what its manifest says; nothing was kept.")
        parts[part.name] = data
    page = parts.get(_PAGE, b"")
    if not page.startswith(PAGE_HEAD.encode()) or b"<script" in page.lower() or not _is_text(page):
        raise BadParcel("The page in the parcel is not as jartest writes it; nothing was kept.")
    return parts


def _is_text(data: bytes) -> bool:
    try:
        data.decode()
    except UnicodeDecodeError:
        return False
    return True


# ---------------------------------------------------------------------- photos
def check_photos(parcel: Parcel) -> None:
    """Refuse a parcel with a photo that cannot be taken, or a reading that does not fit its photo."""
    photos: dict[str, Photo] = {}
    for part in parcel.said.parts:
        if part.photo_sha256 is not None:
            try:
                photos[part.photo_sha256] = open_photo(parcel.parts[part.name], part.name)
            except BadPhoto as e:
                raise BadParcel(f"A photo of the parcel cannot be taken: {e}") from e
    if isinstance(parcel.said, Question):
        for kept in parcel.said.case.readings:
            _check_reading(kept.reading, photos[kept.reading.photo_sha256])


def _check_reading(reading: Reading, photo: Photo) -> None:
    """Refuse a reading that could not be drawn on its photo."""
    wide, high = reading.width_px, reading.height_px
    shape = abs(wide * photo.height_px - high * photo.width_px)
    sound = min(wide, high) > 0 and shape <= 2 * max(wide, high) + 2 * max(photo.width_px, photo.height_px)
    reach = 10.0 * max(wide, high)  # lines may lie a little outside, but not where no picture ends
    numbers = [v for x in reading.lumps for v in (x.row_px, x.col_px, x.diameter_px)]
    numbers += [v * reach / 10 for x in reading.layers for v in (x.bottom_fraction, x.top_fraction)]
    numbers += [x.top_px for x in reading.layers] + [x.row_px for x in reading.withheld]
    if (f := reading.jar) is not None:
        numbers += [f.left_px, f.right_px, f.floor_px, f.surface_px, f.tilt_deg * reach / 80]
    if not sound or any(abs(v) > reach for v in numbers):  # a NaN is no line, and passes
        raise BadParcel("A reading in the parcel does not fit its photo; nothing was kept.")


def overlay_in(parcel: Parcel, reading: Reading, *, width_px: int = 1080) -> bytes:
    """The parcel's copy of a photo with a reading drawn on it, as JPEG."""
    photo = open_photo(parcel.photo(reading.photo_sha256))
    # The reading counts in pixels of the photo as taken, of which this is a smaller copy.
    as_taken = replace(photo, width_px=reading.width_px, height_px=reading.height_px)
    return draw_overlay(as_taken, reading, width_px=min(width_px, photo.width_px))


def plain_in(parcel: Parcel, photo_sha256: str, *, width_px: int = 1080) -> bytes:
    """The parcel's copy of a photo, as JPEG."""
    return shrink(open_photo(parcel.photo(photo_sha256)), width_px)
