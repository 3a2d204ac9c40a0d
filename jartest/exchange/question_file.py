"""The question as one page: any browser opens it, shows it and gives an answer back, without a server.

In the page stand the photos, what is asked, the manifest as JSON, and the script that takes the answer down and
signs it.  The policy at its head lets that script run, told by its digest, and nothing be loaded.  The manifest
holds the digest of what the page shows, and an answer names the digest of the manifest: who answers another page
than the one that was sent answers another question.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from importlib import resources

from jartest.errors import BadEntry, BadParcel
from jartest.exchange.blind import blind
from jartest.exchange.mailphoto import small_photo
from jartest.exchange.manifest import Part, Question, digest_of_case, manifest_bytes, read_manifest
from jartest.exchange.opinion_html import escape, question_body
from jartest.exchange.parcel import MAX_BYTES, Parcel, check_photos
from jartest.exchange.plain import to_plain

__all__ = ["is_question_file", "pack_question_file", "read_question_file"]

_MAIL_BYTES = 7_000_000  # mail takes 10 MB, and writes 3 bytes as 4: common practice, no source
_SIDES_PX = (1200, 900)  # tried in turn where photos as they are would not go through a mail (our choice)
_MOST_TAGS = 20_000  # ten times what the page of a test with 200 looks has (our choice)
_START = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8">'
    '<meta http-equiv="Content-Security-Policy" content="'
)
# Taken away by the script; a `noscript` would stay hidden where a preview runs none and does not say so.
_NO_SCRIPT = (
    "This preview shows the question but cannot take your answer. Open the file in a browser (share it, or save it "
    "and open it there), or write back: pass, watch or fail, and why."
)


@cache
def _web(name: str) -> str:
    return resources.files("jartest.exchange").joinpath("web", name).read_text("utf-8")


def _digest_for_policy(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


# --------------------------------------------------------------------- writing
def pack_question_file(asked: Parcel, *, whole: bool = False) -> Parcel:
    """The page that asks what this parcel asks, without anything that anybody thinks of the jar.

    Parameters
    ----------
    asked : Parcel
        The question as it is kept at home.
    whole : bool
        Send its photos as they stand in it, whatever the size; otherwise smaller where a mail would not take them.

    Raises
    ------
    BadEntry
        If it is no question, or the page would be larger than can be sent.
    """
    if not isinstance(asked.said, Question):
        raise BadEntry("This parcel is an answer, not a question; open the question instead.")
    case = blind(asked.said.case)
    question = replace(asked.said, case=case, record_sha256=digest_of_case(case), parts=())
    photos = {x.photo.sha256: asked.photo(x.photo.sha256) for x in case.looks}
    page, manifest, sent = _page(question, photos)
    for side in () if whole else _SIDES_PX:
        if len(page) > _MAIL_BYTES:
            page, manifest, sent = _page(question, {s: small_photo(d, side) for s, d in photos.items()})
    if len(page) > MAX_BYTES:
        msg = (
            f"The question would have {len(page) / 1e6:.0f} MB, more than can be sent; send the photos small."
        )
        raise BadEntry(msg)
    parts = {p.name: sent[p.photo_sha256 or ""] for p in manifest.parts}
    digest = hashlib.sha256(_manifest_text(manifest).encode()).hexdigest()
    return Parcel(said=manifest, sha256=digest, parts=parts, data=page)


def _page(question: Question, photos: Mapping[str, bytes]) -> tuple[bytes, Question, Mapping[str, bytes]]:
    types = {s: "image/png" if d[:4] == b"\x89PNG" else "image/jpeg" for s, d in photos.items()}
    sources = {s: f"data:{types[s]};base64,{base64.b64encode(d).decode()}" for s, d in photos.items()}
    body = question_body(question, sources)
    seen = _Seen()
    seen.feed(body)
    parts = tuple(
        Part(
            name=f"photos/{n}.{'png' if types[s] == 'image/png' else 'jpg'}",
            sha256=hashlib.sha256(d).hexdigest(),
            size_bytes=len(d),
            media_type=types[s],  # type: ignore[arg-type]
            photo_sha256=s,
        )
        for n, (s, d) in enumerate(photos.items(), 1)
    )
    manifest = replace(question, parts=parts, page_sha256=seen.digest)
    manifest_bytes(manifest)  # refuses what a parcel may not hold
    text = _manifest_text(manifest)
    script, style = _web("question.js"), _web("question.css")
    policy = (
        f"default-src 'none'; img-src data:; script-src {_digest_for_policy(script)}; "
        f"style-src {_digest_for_policy(style)}; form-action 'none'; base-uri 'none'"
    )
    title = f"Second opinion wanted: {question.case.test.plan.title}"
    page = (
        f'{_START}{policy}"><meta name="viewport" content="width=device-width,initial-scale=1">'
        f'<meta name="referrer" content="no-referrer"><title>{escape(title)}</title><style>{style}</style></head><body>\n'
        f'{body}\n<p class="ask" id="unscripted">{escape(_NO_SCRIPT)}</p>\n<section id="answer" aria-label="Your answer"></section>\n'
        f'<script type="application/json" id="question" data-sha256="{hashlib.sha256(text.encode()).hexdigest()}">'
        f"{text}</script>\n<script>{script}</script>\n</body></html>\n"
    )
    return page.encode(), manifest, photos


def _manifest_text(manifest: Question) -> str:
    """The manifest as JSON that ends no script element and holds no sign that a mail program might change."""
    text = json.dumps(to_plain(manifest), ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


# --------------------------------------------------------------------- reading
class _Seen(HTMLParser):
    """What a page shows in its `main` elements, as text and addresses of pictures, and the manifest in it."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self._text: list[str] = []
        self.sources: list[str] = []
        self.manifests: list[str] = []
        self._in_main = 0
        self._in_manifest = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        self._in_manifest = tag == "script" and said.get("id") == "question"
        if self._in_manifest:
            self.manifests.append("")
        self._in_main += tag == "main"
        if tag == "img":
            self.sources.append(said.get("src") or "")

    def handle_endtag(self, tag: str) -> None:
        self._in_manifest = False
        self._in_main -= tag == "main"

    def handle_data(self, data: str) -> None:
        if self._in_manifest:
            self.manifests[-1] += data
        elif self._in_main:
            self._text.append(data)

    @property
    def digest(self) -> str:
        """The digest of text and pictures; the page works it out in the same way."""
        shown = "".join(self._text) + "\0" + "\n".join(self.sources)
        return hashlib.sha256(shown.encode()).hexdigest()


def is_question_file(data: bytes) -> bool:
    """Whether these bytes begin as a question's page does."""
    return data.startswith(_START.encode())


def read_question_file(data: bytes) -> Parcel:
    """The question in such a page, once it is known that the page shows what its manifest says.

    Raises
    ------
    BadParcel
        In one sentence, whatever is wrong with it.
    """
    if len(data) > MAX_BYTES:
        msg = f"The file has more than the {MAX_BYTES / 1e6:.0f} MB that are read; ask for it with small photos."
        raise BadParcel(msg)
    try:
        text = data.decode()
    except UnicodeDecodeError as e:
        raise BadParcel("The file was damaged on its way; ask for it again.") from e
    # Checked before it is taken apart: a page of ours has a few tags a photo, and none of this kind.
    if "<![" in text or text.count("<") > _MOST_TAGS:
        raise BadParcel("This file is not a question written by jartest; nothing was kept.")
    seen = _Seen()
    seen.feed(text)
    if len(seen.manifests) != 1 or not text.endswith("</html>\n"):
        raise BadParcel("This file is not a question, or not a whole one; ask for it again.")
    said = read_manifest(seen.manifests[0].encode())
    if not isinstance(said, Question) or said.page_sha256 is None:
        raise BadParcel("This file is not a question written by jartest; nothing was kept.")
    if seen.digest != said.page_sha256:
        raise BadParcel(
            "The page was changed on its way: it does not show what its manifest says; ask for it again."
        )
    parcel = Parcel(
        said=said,
        sha256=hashlib.sha256(seen.manifests[0].encode()).hexdigest(),
        parts=_photos(said, seen.sources),
        data=data,
    )
    check_photos(parcel)
    return parcel


def _photos(said: Question, sources: list[str]) -> dict[str, bytes]:
    # One photo may stand under several looks.
    by_digest: dict[str, bytes] = {}
    for source in sources:
        head, _, packed = source.partition(";base64,")
        try:
            photo = base64.b64decode(packed, validate=True)
        except (binascii.Error, ValueError) as e:
            raise BadParcel("A photo was damaged on its way; ask for the file again.") from e
        if head not in ("data:image/jpeg", "data:image/png"):
            raise BadParcel("The page shows something that is no photo in it; nothing was kept.")
        by_digest[hashlib.sha256(photo).hexdigest()] = photo
    if {p.sha256 for p in said.parts} != set(by_digest):
        raise BadParcel("The photos are not those that the manifest names; ask for the file again.")
    return {p.name: by_digest[p.sha256] for p in said.parts}
