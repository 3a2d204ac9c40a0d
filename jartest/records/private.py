"""The data folder and what lies in it, for its owner alone."""

from __future__ import annotations

import os
import stat
from contextlib import suppress
from pathlib import Path

__all__ = ["is_private", "make_private"]


def make_private(home: Path) -> None:
    """Make the data folder where there is none; on systems with modes it is its owner's alone from then on.

    The store's file and the shop's limits too, so that a copy of them keeps that; the store's log has the mode
    of its file.  A folder that somebody else owns, or this user's own first folder, is left as it is.
    """
    home.mkdir(mode=0o700, parents=True, exist_ok=True)
    if os.name == "nt":
        return
    with suppress(PermissionError):
        if home.stat().st_uid == os.geteuid() and home.resolve() != Path.home().resolve():
            home.chmod(0o700)
        for name in ("jartest.sqlite", "jartest.sqlite-wal", "jartest.sqlite-shm", "limits.toml"):
            with suppress(FileNotFoundError):
                (home / name).chmod(0o600)


def is_private(home: Path) -> bool:
    """Whether nobody but its owner may look into the folder; True where the system keeps no modes."""
    return os.name == "nt" or stat.S_IMODE(home.stat().st_mode) & 0o077 == 0
