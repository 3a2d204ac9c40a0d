"""An answer as a short text: a file to send back, or words to paste; signed where somebody signed it.

    jartest-answer:eyJ...9.

Between the colon and the point stands, in base64, JSON with `said` (the answer's manifest, as text), `key` and
`signature` (both empty where it is not signed).  Spaces and line breaks that a messenger puts in do no harm.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import re
from typing import Any

from jartest.errors import BadParcel
from jartest.exchange.manifest import Answer, manifest_bytes, read_manifest
from jartest.exchange.parcel import Parcel
from jartest.exchange.signing import SigningKey, signature_holds

__all__ = ["LONGEST", "is_answer", "pack_answer", "read_answer"]

LONGEST = 400_000  # bytes; a hundred marks with words and a page of reason have a tenth of it (our choice)
_TEXT = re.compile(rb"jartest-answer:([A-Za-z0-9+/=\s]+)\.")


def pack_answer(answer: Answer, key: SigningKey | None) -> Parcel:
    """The file that takes an answer home, signed with this key where there is one."""
    said = manifest_bytes(answer)
    public, signature = (key.public, key.sign(said)) if key else ("", "")
    body = {
        "format": "jartest answer",
        "version": 1,
        "said": said.decode(),
        "key": public,
        "signature": signature,
    }
    packed = base64.b64encode(json.dumps(body, ensure_ascii=False).encode())
    return Parcel(
        said=answer,
        sha256=hashlib.sha256(said).hexdigest(),
        parts={},
        data=b"jartest-answer:" + packed + b".\n",
        key=public,
        signature=signature,
    )


def is_answer(data: bytes) -> bool:
    """Whether these bytes look like an answer's text, whatever words stand before it."""
    return len(data) <= LONGEST and b"jartest-answer:" in data


def read_answer(data: bytes) -> Parcel:
    """The answer in a text, once it is known that its signature, where it has one, is under these very words.

    Raises
    ------
    BadParcel
        If it is cut off, altered, or not as an answer is.
    """
    found = _TEXT.search(data)
    if found is None:
        raise BadParcel(
            "The answer's text is cut off; copy all of it, from “jartest-answer:” to the point at its end."
        )
    body = _body(found[1])
    said, key, signature = (body[n] for n in ("said", "key", "signature"))
    if bool(key) != bool(signature):
        raise BadParcel("The answer has half a signature: it was changed on its way; nothing was kept.")
    if key and not signature_holds(said.encode(), key, signature):
        raise BadParcel(
            "The answer was changed after it was signed: the signature is not under these words; nothing was kept."
        )
    manifest = read_manifest(said.encode())
    if not isinstance(manifest, Answer) or manifest.parts:
        raise BadParcel("This text is not an answer; nothing was kept.")
    return Parcel(
        said=manifest,
        sha256=hashlib.sha256(said.encode()).hexdigest(),
        parts={},
        data=data,
        key=key,
        signature=signature,
    )


def _body(packed: bytes) -> dict[str, str]:
    try:
        body: Any = json.loads(base64.b64decode(b"".join(packed.split()), validate=True))
    except (binascii.Error, ValueError, RecursionError) as e:
        raise BadParcel("The answer's text was damaged on its way; ask for it again, as a file.") from e
    texts = ("said", "key", "signature")
    sound = isinstance(body, dict) and set(body) == {"format", "version", *texts}
    if not sound or body["format"] != "jartest answer" or not all(isinstance(body[n], str) for n in texts):
        raise BadParcel("This text is not an answer from jartest; nothing was kept.")
    if body["version"] != 1:
        raise BadParcel("The answer was written by a newer version; update jartest.")
    try:
        body["said"].encode()
    except UnicodeEncodeError as e:
        raise BadParcel("The answer's text was damaged on its way; ask for it again, as a file.") from e
    return {n: body[n] for n in texts}
