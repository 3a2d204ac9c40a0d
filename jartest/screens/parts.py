"""What several screens share: the error box, words for figures and times, verdict plates, pictures."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import NoReturn
from urllib.parse import urlencode, urlsplit

import streamlit as st

from jartest.errors import JartestError
from jartest.imaging.values import Reading
from jartest.plan.formulations import code_beside
from jartest.plan.schedule import DueState
from jartest.recorder import Recorder, came_later
from jartest.records.model import Case, JarTest, Look, Product, TestRow
from jartest.records.plain_words import bare
from jartest.screens import state
from jartest.settings import read_settings
from jartest.units import say_amount
from jartest.verdict.limits import Limits, say_rule
from jartest.verdict.values import Reason, Verdict, Word
from jartest.verdict.words import SHAPES, say_aged, say_verdict, say_word

__all__ = [
    "PHOTO_TYPES",
    "SHAPES",
    "STATE_SHAPES",
    "Box",
    "address_of",
    "clock",
    "error_box",
    "go_to",
    "link_to",
    "one_line",
    "overlay_picture",
    "percent",
    "plain",
    "plain_picture",
    "say_product",
    "say_times",
    "say_word",
    "show_plate",
    "show_reason",
    "show_reasons",
    "show_rule",
    "utc_offset_min",
    "way_within",
]

# By extension, not by media type: with media types alone, Android's photo picker has no camera.
PHOTO_TYPES = ["jpg", "jpeg", "png", "heic", "heif"]

STATE_SHAPES: dict[DueState, str] = {
    "waiting": "·",
    "coming": "○",
    "due": "▶",
    "late": "▲",
    "missed": "–",
    "taken": "✓",
}


@dataclass(slots=True)
class Box:
    """What an error box caught, if anything."""

    error: JartestError | None = None


@contextmanager
def error_box(before: str = "") -> Iterator[Box]:
    """The one place where the screens catch our errors: they become a sentence, and the page goes on.

    `before` says where it is wrong, such as the line and the field.
    """
    box = Box()
    try:
        yield box
    except JartestError as e:
        box.error = e
        st.error(plain(before + str(e)), icon=":material/block:")


# ---------------------------------------------------------------------- words
# Where a page would see a web or mail address, whatever is escaped (GitHub Flavored Markdown 0.29, section 6.9).
_LINKED = re.compile(r"(?i)(?<=http)(?=s?://)|(?<=www)(?=\.)|(?<=@)")
_JOINER = "\u2060"  # WORD JOINER: not seen, and no place to break a line


def plain(text: str) -> str:
    """Words of others as they were typed, and nothing else: no markup, no link, no picture, no turned writing.

    The one way by which words of people and files come onto a screen, in whatever field Streamlit reads as markdown.
    """
    unlinked = _LINKED.sub(_JOINER, one_line(bare(text)))
    return re.sub(r"([\\`*_{}\[\]()<>#+\-.!|~$:&])", r"\\\1", unlinked)


def one_line(text: str) -> str:
    """Text with every run of space as one space."""
    return " ".join(text.split())


def percent(value: float, sigma: float) -> str:
    """A fraction in percent with its doubt, or that it could not be measured."""
    if math.isnan(value):
        return "not measurable"
    value = value if abs(value) >= 0.0005 else 0.0  # no "-0.0 %"
    said = f"{value:.1%}" if math.isnan(sigma) else f"{value:.1%} ± {sigma:.1%}"
    return said.replace("%", " %")


def clock(at: datetime, test: JarTest | TestRow | None = None, *, day: bool = True) -> str:
    """A time as the shop's clock showed it when the test was opened; by this device's where there is no test."""
    minutes = utc_offset_min() if test is None else test.utc_offset_min
    local = at.astimezone(timezone(timedelta(minutes=minutes)))
    return f"{local:%b} {local.day}, {local:%Y %H:%M}" if day else f"{local:%H:%M}"


def say_times(case: Case, look: Look) -> str:
    """When a look was taken, and beside it when its photo came in where that is another time."""
    taken = clock(look.taken_at, case.test)
    return f"{taken}, received {clock(look.received_at, case.test)}" if came_later(look) else taken


def utc_offset_min() -> int:
    """How far this device's clock is ahead of UTC; 0 where the browser does not say."""
    behind = st.context.timezone_offset
    return 0 if behind is None else -behind


def say_product(product: Product) -> str:
    """A product with its amount: `Bineguard Copper 20 SC · 5 mL (1.01 tsp)`."""
    name = " ".join(
        x for x in (one_line(product.name), one_line(code_beside(product.name, product.formulation))) if x
    )
    if product.amount_ml is None and product.amount_g is None:
        return name
    return f"{name} · {say_amount(ml=product.amount_ml, g=product.amount_g)}"


# ------------------------------------------------------------------ going about
def link_to(screen: str, label: str, *, main: bool = False, **query: str) -> None:
    """A link to another screen, drawn as a large button; filled where it is the main way on."""
    with st.container(key=f"mainway-{screen}") if main else st.container():
        if screen == state.get(state.HERE):
            way_within(label, key=state.key("way", label, *query.values()), **query)
            return
        st.page_link(state.get(state.PAGES)[screen], label=label, query_params=query or None, width="stretch")


def way_within(label: str, *, key: str, **query: str) -> None:
    """A button to another address of the screen that is drawn.

    A page link to its own page draws what its query names once and leaves the address as it was, so that the
    next act draws the old one again (Streamlit 1.67.0, seen): here the address itself is set.
    """
    st.button(label, key=key, on_click=st.query_params.from_dict, args=(query,), width="stretch")


def address_of(screen: str, **query: str) -> str:
    """Where phones open a screen, for a printed code; nothing where only this machine reaches the app."""
    here = urlsplit(str(st.context.url or ""))
    alone = here.hostname in (None, "localhost", "127.0.0.1", "::1")
    base = read_settings().phone_url or ("" if alone else f"{here.scheme}://{here.netloc}")
    return f"{base}/{screen}?{urlencode(query)}" if base else ""


def go_to(screen: str, **query: str) -> NoReturn:
    """Leave this screen for another."""
    st.switch_page(state.get(state.PAGES)[screen], query_params=query or None)


# -------------------------------------------------------------------- verdicts
def show_plate(
    word: Word | None,
    under: str,
    *,
    place: str,
    verdict: Verdict | None = None,
    age_s: float | None = None,
) -> None:
    """A verdict as a plate that can be read at arm's length: shape, word, color, and whose it is.

    With `verdict`, the program's own, the word carries its age and its score; a person's word carries `age_s`.
    """
    said = f"{SHAPES[word]} {say_aged(word, age_s)}"
    if verdict is not None:
        said = say_verdict(word, verdict.score, verdict.age_s)
    with st.container(key=f"chip-{word or 'none'}-{place}", gap=None):
        st.markdown(said)
        st.caption(under)


def show_reasons(verdict: Verdict, *, loose: bool = False) -> None:
    """Each reason, worst first, with the shape of what it leads to; of a `loose` photo nothing says pass."""
    for r in verdict.reasons:
        show_reason(r, loose=loose)


def show_reason(reason: Reason, *, loose: bool = False) -> None:
    """One reason in its sentence, with the shape, word and score of what it leads to."""
    score = "" if reason.score is None else f" {reason.score}"
    word = "within its limit" if loose and reason.leads_to == "pass" else reason.leads_to or "no verdict"
    st.markdown(f"{SHAPES[reason.leads_to]} **{word}{score}** · {plain(reason.says)}")


def show_rule(verdict: Verdict, limits: Limits) -> None:
    """The rule of decision, where the verdict was made under these limits."""
    if verdict.limits_sha256 == limits.sha256:
        st.caption(plain(say_rule(limits)))


# -------------------------------------------------------------------- pictures
def overlay_picture(recorder: Recorder, look: Look, reading: Reading, reading_id: str) -> bytes:
    """The marked photo of a reading; kept for a while under the photo's digest and the reading's id."""
    return _overlay(look.photo.sha256, reading_id, _recorder=recorder, _look=look, _reading=reading)


def plain_picture(recorder: Recorder, look: Look) -> bytes:
    """The photo of a look, made small; kept for a while under its digest."""
    return _plain(look.photo.sha256, _recorder=recorder, _look=look)


@st.cache_data(max_entries=64, show_spinner=False)
def _overlay(sha256: str, reading_id: str, *, _recorder: Recorder, _look: Look, _reading: Reading) -> bytes:
    return _recorder.overlay(_look, _reading)


@st.cache_data(max_entries=32, show_spinner=False)
def _plain(sha256: str, *, _recorder: Recorder, _look: Look) -> bytes:
    return _recorder.plain_photo(_look, width_px=1000)
