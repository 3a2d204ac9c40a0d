"""The devices that gave the code: a small file for each, so that one can be shown out without the others."""

from __future__ import annotations

import json
import os
import re
import tempfile
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from jartest.errors import StoreFault

__all__ = ["Pass", "Passes", "say_device"]

_ID = re.compile(r"[0-9a-f]{16}")
_MOST = 500  # devices; beyond it the one that came in first has to give the code again (our choice)
_KINDS = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("Windows", "Windows computer"),
    ("Mac OS", "Mac"),
    ("CrOS", "Chromebook"),
    ("Linux", "Linux computer"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """One device that was let in: what it says it is, from where it came, and when, in seconds since 1970."""

    id: str
    device: str
    address: str
    given_s: int


class Passes:
    """The passes of a data folder; a pass whose file is gone lets nobody in."""

    def __init__(self, home: Path) -> None:
        self._folder = home / "passes"

    def keep(self, one: Pass) -> None:
        """Write a pass down, readable by the folder's owner alone."""
        try:
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            fd, name = tempfile.mkstemp(dir=self._folder, prefix=".pass-")  # mode 0600
            with os.fdopen(fd, "w", encoding="utf-8") as f:
                json.dump(asdict(one), f)
            Path(name).replace(self._file(one.id))
        except OSError as e:
            msg = f"The list of devices cannot be written ({e.strerror}); check the data folder."
            raise StoreFault(msg) from e
        for old in self.all()[_MOST:]:
            self.void(old.id)

    def holds(self, pass_id: str) -> bool:
        """Whether it was given and not taken back."""
        return _ID.fullmatch(pass_id) is not None and self._file(pass_id).exists()

    def all(self) -> tuple[Pass, ...]:
        """Every pass, the one given last first."""
        found = []
        for path in self._folder.glob("*.json"):
            with suppress(OSError, ValueError, TypeError):
                found.append(Pass(**json.loads(path.read_text("utf-8"))))
        return tuple(sorted(found, key=lambda p: (-p.given_s, p.id)))

    def void(self, pass_id: str) -> None:
        """Show this device out."""
        if _ID.fullmatch(pass_id):
            self._file(pass_id).unlink(missing_ok=True)

    def _file(self, pass_id: str) -> Path:
        return self._folder / f"{pass_id}.json"


def say_device(user_agent: str) -> str:
    """What kind of device this is by its own word, which nobody has checked."""
    return next((says for sign, says in _KINDS if sign in user_agent), "a device that does not say its kind")
