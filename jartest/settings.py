"""The environment, read once, as one frozen value."""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs

from jartest.errors import BadLimits, StoreFault
from jartest.verdict.limits import Limits, load_limits

if TYPE_CHECKING:
    from jartest.exchange.signing import SigningKey
    from jartest.history.proposals import Proposal
    from jartest.recorder import Recorder
    from jartest.records.photofiles import PhotoFiles

__all__ = [
    "PHONE_URL",
    "PHOTOS_URL",
    "Settings",
    "accept_limits",
    "limits_kept_up",
    "open_photos",
    "open_recorder",
    "own_key",
    "read_limits",
    "read_settings",
]


PHONE_URL = "JARTEST_PHONE_URL"
PHOTOS_URL = "JARTEST_PHOTOS_URL"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Where things are kept: the data folder, and the database and the photos in it or elsewhere.

    `phone_url` is the address that phones reach the app by; empty where it serves this machine alone.
    `photos_url` is a shared folder or an object store; empty where photos lie in the data folder.
    """

    home: Path
    database_url: str
    phone_url: str = ""
    photos_url: str = ""

    @property
    def shop_limits(self) -> Path:
        """The shop's own file of limits, which need not exist."""
        return self.home / "limits.toml"


def read_settings(environment: Mapping[str, str] = os.environ) -> Settings:
    """The settings: `JARTEST_HOME` or this user's data folder; database and photos in it, or where
    `JARTEST_DATABASE_URL` and `JARTEST_PHOTOS_URL` say.
    """
    said = environment.get("JARTEST_HOME", "").strip()
    home = (
        Path(said).expanduser().resolve()
        if said
        else Path(platformdirs.user_data_dir("jartest", appauthor=False))
    )
    url = environment.get("JARTEST_DATABASE_URL", "").strip() or f"sqlite:///{home / 'jartest.sqlite'}"
    return Settings(
        home=home,
        database_url=url,
        phone_url=environment.get(PHONE_URL, "").strip(),
        photos_url=environment.get(PHOTOS_URL, "").strip(),
    )


def open_recorder(settings: Settings) -> Recorder:
    """The recorder over these settings; makes the data folder where there is none.

    Raises
    ------
    StoreFault
        If the folder cannot be made, or the store or the photos cannot be opened.
    BadEntry
        If an address is of a kind that is not known.
    BadLimits
        If the shop's file of limits cannot be used.
    """
    from jartest.recorder import Recorder  # here, so that reading the limits alone stays quick
    from jartest.records.private import make_private
    from jartest.records.store import Store

    try:
        make_private(settings.home)
    except OSError as e:
        msg = f"The data folder cannot be made ({e.strerror}); set JARTEST_HOME to a folder you may write to."
        raise StoreFault(msg) from e
    limits, photos = read_limits(settings), open_photos(settings)
    store = Store.open(settings.database_url)
    make_private(settings.home)  # the store's file is there by now
    return Recorder(store=store, photos=photos, limits=limits, limits_now=limits_kept_up(settings))


def open_photos(settings: Settings) -> PhotoFiles:
    """The photo files: in the data folder, or where `JARTEST_PHOTOS_URL` says.

    Raises
    ------
    StoreFault
        If a shared folder is not there, or a library for the object store is missing.
    BadEntry
        If the address is of a kind that is not known.
    """
    from jartest.records.photofiles import PhotoFiles
    from jartest.records.photoplaces import place_at

    return PhotoFiles(place_at(settings.photos_url) if settings.photos_url else settings.home / "photos")


def own_key(settings: Settings) -> SigningKey:
    """The key that answers from this data folder are signed with, made when first needed.

    It lies in a file that only its owner may read, and in no backup of the records: who has it signs as this shop.

    Raises
    ------
    StoreFault
        If the file holds no key, or cannot be written.
    """
    from jartest.exchange.signing import SigningKey

    file = settings.home / "signing.key"
    try:
        # Opened so that of two at once one makes it, and so that nobody else ever could read it.
        made = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        pass
    except OSError as e:
        msg = f"The file signing.key of the data folder cannot be written ({e.strerror}); see to the folder."
        raise StoreFault(msg) from e
    else:
        with os.fdopen(made, "wb") as out:
            out.write(secrets.token_bytes(32))
    try:
        return SigningKey.of(file.read_bytes())
    except ValueError as e:
        msg = (
            "The file signing.key of the data folder holds no key; put it back from a copy, or take it away for a "
            "new one, which others then have to take in."
        )
        raise StoreFault(msg) from e


def accept_limits(settings: Settings, accepted: Sequence[Proposal], *, by: str, on: str) -> Limits:
    """The limits in force once these proposals stand in the shop's own file, which is written whole or not at all.

    Raises
    ------
    BadLimits
        If the shop's file cannot be used or written.
    """
    from jartest.history.proposals import write_shop_limits

    path = settings.shop_limits
    text = write_shop_limits(_shop_text(settings), accepted, by=by, on=on)
    part = path.with_name(f"{path.name}.part")
    try:
        part.write_text(text, "utf-8")
        part.replace(path)
    except OSError as e:
        msg = f"The shop's limits file cannot be written ({e.strerror}); nothing was changed."
        raise BadLimits(msg) from e
    return read_limits(settings)


def limits_kept_up(settings: Settings) -> Callable[[], Limits]:
    """Gives the limits in force, read anew whenever the shop's file is another one than before."""
    known: dict[tuple[int, int], Limits] = {}

    def now() -> Limits:
        try:
            found = settings.shop_limits.stat()
            state = (found.st_mtime_ns, found.st_ino)
        except FileNotFoundError:
            state = (0, 0)
        if state not in known:
            known.clear()
            known[state] = read_limits(settings)
        return known[state]

    return now


def read_limits(settings: Settings) -> Limits:
    """The limits in force: the shipped ones, with the shop's own file over them where there is one.

    Raises
    ------
    BadLimits
        If the shop's file cannot be used.
    """
    return load_limits(_shop_text(settings))


def _shop_text(settings: Settings) -> str:
    try:
        return settings.shop_limits.read_text("utf-8") if settings.shop_limits.exists() else ""
    except (OSError, UnicodeDecodeError) as e:
        msg = "The shop's limits file cannot be read; mend or remove limits.toml in the data folder."
        raise BadLimits(msg) from e
