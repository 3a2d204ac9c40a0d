"""The shop's secrets: the code that lets people in, and the key that capture links are made with.

They lie in one file of the data folder that only its owner may read.  The code itself is nowhere: only
its salted scrypt hash is.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import Any

from jartest.errors import BadEntry, StoreFault
from jartest.field.passes import Pass, Passes

__all__ = ["PASS_S", "Access"]

# No sign that is taken for another one when read from a screen: no 0 O, 1 I L.
_SIGNS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
_LENGTH = 8  # 31**8 is 39 bits; at ten tries a second, more than scrypt leaves, a guess takes 1,300 years
# RFC 7914; N = 2**15, r = 8, p = 3: OWASP Password Storage Cheat Sheet (value from memory)
_N, _R, _P = 2**15, 8, 3
_MEMORY = 64 * 1024 * 1024  # bytes; scrypt takes 128 * N * r = 32 MiB
PASS_S = 30 * 86400  # how long a device that gave the code stays in (our choice)


class Access:
    """The file of secrets in a data folder, made when first needed."""

    def __init__(self, home: Path) -> None:
        self._file, self._passes = home / "access.json", Passes(home)

    # ------------------------------------------------------------------- code
    def has_code(self) -> bool:
        """Whether a code was made."""
        return self._read()["code"] is not None

    def make_code(self) -> str:
        """A fresh code, to be shown once; whoever came in with an earlier one has to give it again."""
        code = "".join(secrets.choice(_SIGNS) for _ in range(_LENGTH))
        salt = secrets.token_bytes(16)
        self._write(self._read() | {"code": {"salt": salt.hex(), "hash": _hash(code, salt).hex()}})
        for old in self._passes.all():
            self._passes.void(old.id)
        return f"{code[:4]}-{code[4:]}"

    def code_fits(self, typed: str) -> bool:
        """Whether this is the code; case, spaces and dashes do not matter."""
        kept = self._read()["code"]
        if kept is None or len(typed) > 40:
            return False
        plain = "".join(c for c in typed.upper() if c.isalnum())
        if len(plain) != _LENGTH or set(plain) - set(_SIGNS):
            return False  # no code looks like this, and that is no secret: nothing to work for
        return hmac.compare_digest(_hash(plain, bytes.fromhex(kept["salt"])), bytes.fromhex(kept["hash"]))

    # ------------------------------------------------------------------- pass
    def give_pass(self, now_s: float, *, device: str = "", address: str = "") -> str:
        """What a device keeps to be let in until `PASS_S` from now, or until it or the code is voided."""
        pass_id = secrets.token_hex(8)
        self._passes.keep(Pass(id=pass_id, device=device[:80], address=address[:80], given_s=int(now_s)))
        said = f"{int(now_s) + PASS_S}.{pass_id}"
        return f"{said}.{self._sign(said)}"

    def pass_holds(self, kept: str, now_s: float) -> bool:
        """Whether a device with this pass is let in."""
        said, _, signature = kept.rpartition(".")
        if not hmac.compare_digest(signature.encode(), self._sign(said).encode()):
            return False
        until, _, pass_id = said.partition(".")
        return int(until) > now_s and self._passes.holds(pass_id)

    def passes(self, now_s: float) -> tuple[Pass, ...]:
        """The devices that are let in, the one that came last first."""
        return tuple(p for p in self._passes.all() if p.given_s + PASS_S > now_s)

    def void_pass(self, pass_id: str) -> None:
        """Show one device out; what it has open ends within seconds."""
        self._passes.void(pass_id)

    def _sign(self, said: str) -> str:
        kept = self._read()
        code = "" if kept["code"] is None else kept["code"]["hash"]
        return _mac(kept, f"pass {code} {said}").hex()

    # ------------------------------------------------------------------ links
    def link_token(self, test_id: str) -> str:
        """The unguessable part of a test's capture link: 128 bits as 32 hexadecimal digits."""
        return _mac(self._read(), f"capture {test_id}")[:16].hex()

    def desk_token(self, test_id: str, by: str) -> str:
        """The unguessable part of the link that a test's screen sends photos to, for one person."""
        return _mac(self._read(), f"desk {test_id} {by}")[:16].hex()

    def renew_links(self) -> None:
        """Make every capture link that was ever given void."""
        self._write(self._read() | {"key": secrets.token_hex(32)})

    # ------------------------------------------------------------------- file
    def _read(self) -> dict[str, Any]:
        try:
            text = self._file.read_text("utf-8")
        except FileNotFoundError:
            return self._write({"format": 1, "key": secrets.token_hex(32), "code": None}, first=True)
        except OSError as e:
            msg = f"The file of secrets, access.json, cannot be read ({e.strerror}); mend its permissions."
            raise StoreFault(msg) from e
        try:
            kept = json.loads(text)
            if kept["format"] != 1 or len(bytes.fromhex(kept["key"])) != 32:
                raise ValueError
            if kept["code"] is not None:
                bytes.fromhex(kept["code"]["salt"] + kept["code"]["hash"])
        except (ValueError, KeyError, TypeError) as e:
            msg = "The file of secrets, access.json, is damaged; remove it, and make a new code."
            raise StoreFault(msg) from e
        return dict(kept)

    def _write(self, kept: dict[str, Any], *, first: bool = False) -> dict[str, Any]:
        """Write the file whole, readable by its owner alone; of two first ones the first stays."""
        part = None
        try:
            self._file.parent.mkdir(parents=True, exist_ok=True)
            fd, name = tempfile.mkstemp(dir=self._file.parent, prefix=".access-")  # mode 0600
            part = Path(name)
            with os.fdopen(fd, "w", encoding="utf-8") as f:
                json.dump(kept, f)
                f.flush()
                os.fsync(f.fileno())
            if first:
                with suppress(FileExistsError):
                    os.link(part, self._file)
                part.unlink()
                return self._read()
            part.replace(self._file)
        except OSError as e:
            if part is not None:
                part.unlink(missing_ok=True)
            msg = (
                f"The file of secrets, access.json, cannot be written ({e.strerror}); check the data folder."
            )
            raise StoreFault(msg) from e
        return kept


def _mac(kept: dict[str, Any], said: str) -> bytes:
    return hmac.digest(bytes.fromhex(kept["key"]), said.encode(), "sha256")


def _hash(code: str, salt: bytes) -> bytes:
    try:
        return hashlib.scrypt(code.encode(), salt=salt, n=_N, r=_R, p=_P, maxmem=_MEMORY, dklen=32)
    except UnicodeEncodeError as e:
        msg = "The code has a character that can't be read; type it as shown on the shop's screen."
        raise BadEntry(msg) from e
