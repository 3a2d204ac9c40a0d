"""The capture link of one test: unguessable, alive while the test runs, good for nothing but a photo."""

from __future__ import annotations

import hmac
import re

from jartest.errors import Lapsed, NotFound
from jartest.field.access import Access
from jartest.recorder import Recorder
from jartest.records.model import Case, JarTest

__all__ = ["FOLDER", "case_of", "link_path"]

FOLDER = "/snap"
_LINK = re.compile(r"(\d{1,9})-([0-9a-f]{32})")


def link_path(access: Access, test: JarTest) -> str:
    """The path of a test's capture page: its number, so that people can tell it, and its token."""
    return f"{FOLDER}/{test.number}-{access.link_token(test.id)}"


def case_of(recorder: Recorder, access: Access, link: str) -> Case:
    """The test that this last part of a capture link opens.

    Raises
    ------
    Lapsed
        If its test is signed or stopped.
    NotFound
        If it was never a link, or is no longer one; neither says whether there is such a test.
    """
    said = _LINK.fullmatch(link)
    unknown = "This link opens nothing; scan the code on the shop's screen again."
    if said is None:
        raise NotFound(unknown)
    try:
        test_id = recorder.store.test_id_of(int(said[1]))
    except NotFound:
        test_id = ""  # and the comparison goes on, so that the time tells nothing
    if not hmac.compare_digest(said[2], access.link_token(test_id)) or not test_id:
        raise NotFound(unknown)
    case = recorder.case(test_id)
    if case.signed or any(e.kind == "stopped" for e in case.events):
        msg = f"Test {case.test.number} is signed or stopped and takes no more photos; nothing was kept."
        raise Lapsed(msg)
    return case
