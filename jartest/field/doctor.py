"""What is wrong with this installation, and how to mend it; nothing is changed by asking."""

from __future__ import annotations

import os
import shutil
import socket
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib import metadata
from pathlib import Path
from typing import Literal

from jartest.errors import BadEntry, BadLimits, CameraFault, StoreFault
from jartest.field.access import Access
from jartest.records.private import is_private
from jartest.settings import Settings, open_photos, read_limits

__all__ = ["BUILT", "Finding", "examine"]

Grade = Literal["well", "note", "fault"]

BUILT = datetime(2026, 11, 1, tzinfo=UTC)  # a clock before this is wrong: this file was written after it
_LITTLE_BYTES = 1_000_000_000  # about 200 photos of a phone (our choice)
_OPENCV = (
    "opencv-python",
    "opencv-python-headless",
    "opencv-contrib-python",
    "opencv-contrib-python-headless",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing looked at: how it stands, and what to do where it does not stand well."""

    what: str
    grade: Grade
    says: str
    do: str = ""


def examine(
    settings: Settings, *, now: datetime, port: int, camera: Callable[[], bytes] | None = None
) -> Iterator[Finding]:
    """Look at one thing after the other; `camera` is asked for a photo where it is given."""
    yield _python()
    yield _libraries(_installed)
    yield _folder(settings.home)
    yield _space(settings.home)
    yield _store(settings)
    if settings.photos_url:
        yield _photos(settings)
    yield _limits(settings)
    yield _clock(settings, now)
    yield _secrets(settings)
    yield _port(port)
    if camera is not None:
        yield _camera(camera)


def _python() -> Finding:
    says = f"Python {sys.version_info.major}.{sys.version_info.minor}.{sys.version_info.micro}"
    return Finding(what="Python", grade="well", says=says)


def _installed(name: str) -> bool:
    try:
        metadata.distribution(name)
    except metadata.PackageNotFoundError:
        return False
    return True


def _libraries(installed: Callable[[str], bool]) -> Finding:
    builds = [name for name in _OPENCV if installed(name)]
    if len(builds) == 1:
        return Finding(what="OpenCV", grade="well", says=f"one build, {builds[0]}")
    return Finding(
        what="OpenCV",
        grade="fault",
        says=f"{len(builds)} builds are installed ({', '.join(builds) or 'none'}); of several, one breaks the other",
        do=f"pip uninstall -y {' '.join(builds or _OPENCV)}, then pip install opencv-python-headless.",
    )


def _folder(home: Path) -> Finding:
    nearest = next(p for p in (home, *home.parents) if p.exists())
    try:
        with tempfile.TemporaryFile(dir=nearest) as f:
            f.write(b"jartest")
            f.flush()
            os.fsync(f.fileno())
    except OSError as e:
        do = "Mend its permissions, or set JARTEST_HOME to a folder you may write to."
        return Finding(
            what="Data folder", grade="fault", says=f"{home} cannot be written to ({e.strerror})", do=do
        )
    if home.exists() and not is_private(home):
        return Finding(
            what="Data folder",
            grade="note",
            says=f"{home} may be looked into by others on this machine",
            do="Take it from the others: chmod 700, by its owner.",
        )
    made = "" if home.exists() else ", made at the first start"
    return Finding(what="Data folder", grade="well", says=f"{home} can be written to{made}")


def _space(home: Path) -> Finding:
    free = shutil.disk_usage(next(p for p in (home, *home.parents) if p.exists())).free
    says = f"{free / 1e9:.1f} GB free"
    if free < _LITTLE_BYTES:
        do = "Make room; photos that find none are refused, not lost."
        return Finding(what="Disk", grade="fault" if free < _LITTLE_BYTES / 10 else "note", says=says, do=do)
    return Finding(what="Disk", grade="well", says=says)


def _store(settings: Settings) -> Finding:
    """How the record store stands, read without changing or bringing it up to date."""
    from jartest.records.migrate import HEAD

    what = "Record store"
    file = _sqlite_file(settings)
    if file is None:
        from jartest.records.store import Store

        try:
            Store.open(settings.database_url).close()
        except StoreFault as e:
            return Finding(
                what=what, grade="fault", says=str(e), do="Check JARTEST_DATABASE_URL and its server."
            )
        return Finding(what=what, grade="well", says="the database server answers")
    if not file.exists():
        return Finding(what=what, grade="well", says="not made yet; it is at the first start")
    try:
        with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True, timeout=2)) as c:
            (sound,) = c.execute("PRAGMA quick_check(1)").fetchone()
            (revision,) = c.execute("SELECT version_num FROM alembic_version").fetchone()
            (tests,) = c.execute("SELECT count(*) FROM tests").fetchone()
    except (sqlite3.Error, TypeError) as e:
        do = "Stop other programs that hold it; where it is damaged, keep the file and go back to a backup."
        return Finding(what=what, grade="fault", says=f"it cannot be read ({e})", do=do)
    if sound != "ok":
        return Finding(
            what=what, grade="fault", says=f"damaged: {sound}", do="Keep the file and go back to a backup."
        )
    says = f"sound, {tests} tests, revision {revision}"
    if revision < HEAD:
        do = "It is brought up to date at the next start, after a backup beside it."
        return Finding(what=what, grade="note", says=says, do=do)
    if revision > HEAD:
        do = "Install the newer version that wrote it."
        return Finding(what=what, grade="fault", says=f"{says}, newer than this version's {HEAD}", do=do)
    return Finding(what=what, grade="well", says=says)


def _photos(settings: Settings) -> Finding:
    """How a place of photos that is named by its address stands, by writing to it and reading back."""
    what, do = "Photos", "Check JARTEST_PHOTOS_URL, the network, and the key this machine may use."
    try:
        open_photos(settings).try_out()
    except (BadEntry, StoreFault) as e:
        return Finding(what=what, grade="fault", says=str(e), do=do)
    kind = settings.photos_url.partition("://")[0] if "://" in settings.photos_url else "file"
    if kind == "memory":
        return Finding(
            what=what,
            grade="fault",
            says="they are kept in memory, and gone when the app stops",
            do="Name a folder or an object store.",
        )
    where = "the shared folder" if kind == "file" else f"the object store ({kind})"
    return Finding(what=what, grade="well", says=f"{where} can be written to and read")


def _sqlite_file(settings: Settings) -> Path | None:
    kind, _, rest = settings.database_url.partition(":///")
    return Path(rest) if kind.startswith("sqlite") else None


def _limits(settings: Settings) -> Finding:
    try:
        read_limits(settings)
    except BadLimits as e:
        return Finding(what="Limits", grade="fault", says=str(e), do="Mend limits.toml in the data folder.")
    own = "with the shop's own" if settings.shop_limits.exists() else "as shipped"
    return Finding(what="Limits", grade="well", says=own)


def _clock(settings: Settings, now: datetime) -> Finding:
    do = "Set this machine's date, time and time zone; ages of looks are counted by it."
    if now < BUILT:
        return Finding(
            what="Clock", grade="fault", says=f"it says {now:%Y-%m-%d}, before this version", do=do
        )
    newest = _newest(settings)
    if newest is not None and newest > now + timedelta(minutes=2):
        says = (
            f"it says {now:%Y-%m-%d %H:%M} UTC, and a record of {newest:%Y-%m-%d %H:%M} UTC is kept already"
        )
        return Finding(what="Clock", grade="fault", says=says, do=do)
    return Finding(what="Clock", grade="well", says=f"{now.astimezone():%Y-%m-%d %H:%M %Z}")


def _newest(settings: Settings) -> datetime | None:
    """When the last event of any test was, where that can be read."""
    file = _sqlite_file(settings)
    if file is None or not file.exists():
        return None
    try:
        with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True, timeout=2)) as c:
            (at,) = c.execute("SELECT max(at) FROM events").fetchone()
    except sqlite3.Error:
        return None  # said by the finding on the store
    return None if at is None else datetime.fromisoformat(at).replace(tzinfo=UTC)


def _secrets(settings: Settings) -> Finding:
    if not (settings.home / "access.json").exists():
        return Finding(
            what="Access code", grade="well", says="none yet; made by the first “jartest app --lan”"
        )
    try:
        made = Access(settings.home).has_code()
    except StoreFault as e:
        return Finding(what="Access code", grade="fault", says=str(e), do="Then run “jartest code”.")
    return Finding(what="Access code", grade="well", says="made" if made else "none yet")


def _port(port: int) -> Finding:
    with socket.socket() as s:
        s.settimeout(1)
        taken = s.connect_ex(("127.0.0.1", port)) == 0
    if taken:
        do = "If that is not jartest itself, start it with another --port."
        return Finding(what="Port", grade="note", says=f"{port} is taken by a program that runs", do=do)
    return Finding(what="Port", grade="well", says=f"{port} is free")


def _camera(shoot: Callable[[], bytes]) -> Finding:
    try:
        size = len(shoot())
    except CameraFault as e:
        return Finding(what="Camera", grade="fault", says=str(e), do="Then ask again.")
    return Finding(what="Camera", grade="well", says=f"it gives a picture of {size / 1e6:.1f} MB")
