"""The links that a photo is sent to: a phone's, and the test screen's own.

A phone's link is unguessable, alive while the test runs, and good for nothing but a photo.  The screen's lies
behind the gate, holds the name that the screen knows, and takes later photos of a signed test too.
"""

from __future__ import annotations

import hmac
import re
from collections.abc import Callable
from urllib.parse import urlencode

from jartest.errors import Lapsed, NotFound
from jartest.field.access import Access
from jartest.recorder import Recorder
from jartest.records.model import Case, JarTest

__all__ = ["DESK", "FOLDER", "case_of", "desk_case", "desk_path", "link_path"]

FOLDER = "/snap"
DESK = "/send"
_LINK = re.compile(r"(\d{1,9})-([0-9a-f]{32})")


def link_path(access: Access, test: JarTest) -> str:
    """The path of a test's capture page: its number, so that people can tell it, and its token."""
    return f"{FOLDER}/{test.number}-{access.link_token(test.id)}"


def desk_path(access: Access, test: JarTest, by: str) -> str:
    """The path that the screen of a test sends photos to, in the name of whoever works there."""
    return f"{DESK}/{test.number}-{access.desk_token(test.id, by)}?{urlencode({'by': by})}"


def case_of(recorder: Recorder, access: Access, link: str) -> Case:
    """The test that this last part of a capture link opens.

    Raises
    ------
    Lapsed
        If its test is signed or stopped.
    NotFound
        If it was never a link, or is no longer one; neither says whether there is such a test.
    """
    case = _opened(recorder, link, access.link_token)
    if case.signed or any(e.kind == "stopped" for e in case.events):
        msg = f"Test {case.test.number} is signed or stopped and takes no more photos; nothing was kept."
        raise Lapsed(msg)
    return case


def desk_case(recorder: Recorder, access: Access, link: str, by: str) -> Case:
    """The test that this last part of a screen's link opens for this person.

    Raises
    ------
    NotFound
        If it was never a link of this person's, or is no longer one.
    """
    return _opened(recorder, link, lambda test_id: access.desk_token(test_id, by))


def _opened(recorder: Recorder, link: str, token_of: Callable[[str], str]) -> Case:
    said = _LINK.fullmatch(link)
    unknown = "This link opens nothing; scan the code on the shop's screen again."
    if said is None:
        raise NotFound(unknown)
    try:
        test_id = recorder.store.test_id_of(int(said[1]))
    except NotFound:
        test_id = ""  # and the comparison goes on, so that the time tells nothing
    if not hmac.compare_digest(said[2], token_of(test_id)) or not test_id:
        raise NotFound(unknown)
    return recorder.case(test_id)
