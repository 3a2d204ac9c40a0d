"""All tests: found by the words in them, verdict and day, newest first; searches can be saved."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import get_args

import streamlit as st

from jartest.exchange.history_tables import tests_parquet
from jartest.exchange.labels import label_sheet
from jartest.exchange.tables import csv_of_readings, csv_of_tests
from jartest.recorder import Recorder
from jartest.records.model import TestRow
from jartest.records.search_words import field_in, with_field
from jartest.screens import state
from jartest.screens.looks_part import draw_keeping, draw_looks
from jartest.screens.parts import SHAPES, clock, link_to, one_line, plain, say_word
from jartest.screens.save_button import save_button
from jartest.verdict.values import Word
from jartest.verdict.words import say_signed, say_verdict

__all__ = ["render"]

_PAGE = 20  # lines on one page
_MOST = 100_000  # lines of one file
_WORDS = state.key("tests", "words")
_CHOICES = ("words",)  # what a saved look keeps
_ANY = "any"
_DAYS = (date(2000, 1, 1), date(2100, 1, 1))  # that can be picked; any other can be typed (our choice)
_VERDICTS = {_ANY: "Any verdict"} | {w: say_word(w) for w in get_args(Word)}


def render(recorder: Recorder) -> None:
    """Draw the list of tests."""
    st.markdown("## All tests")
    draw_looks(recorder, "tests", _CHOICES)
    words = st.text_input(
        "Search",
        key=_WORDS,
        placeholder="product, maker, person, a word of the notes, #12 …",
        help="Every word must stand somewhere in the test: products, makers, lots, water, people, notes, what was "
        "seen. #12 is test 12, 2026-03 a month, verdict:fail what stands in the end, "
        "since:2026-03-01 and until:2026-03-31 the days they were opened.",
        on_change=_to_first_page,
        persist_state="session",
        type="search",
    )
    _draw_filters(words)
    draw_keeping(recorder, "tests", _CHOICES)
    count = recorder.count(words)
    if count:
        _draw_list(recorder, words, count)
    else:
        st.markdown("No test holds all of this." if words.strip() else "No test is kept yet.")
        link_to("new", "+ Start a new test")


def _draw_filters(words: str) -> None:
    """Verdict and days, which only write into the search, so that what is searched for stands in one place."""
    with st.container(horizontal=True, gap="small", key="filters"):
        verdict = state.key("tests", "verdict")
        stands = field_in(words, "verdict")
        state.put(verdict, stands if stands in _VERDICTS else _ANY)
        st.selectbox(
            "Verdict",
            list(_VERDICTS),
            format_func=_VERDICTS.__getitem__,
            key=verdict,
            on_change=_narrow,
            args=("verdict",),
        )
        for name, label in (("since", "From"), ("until", "To")):
            day = state.key("tests", name)
            state.put(day, _day(field_in(words, name)))
            st.date_input(
                label,
                value=None,
                min_value=_DAYS[0],
                max_value=_DAYS[1],
                key=day,
                format="YYYY-MM-DD",
                width=160,
                on_change=_narrow,
                args=(name,),
            )


def _day(said: str) -> date | None:
    try:
        day = date.fromisoformat(said)
    except ValueError:  # nothing, or half typed: the search itself says what is wrong
        return None
    return day if _DAYS[0] <= day <= _DAYS[1] else None


def _narrow(name: str) -> None:
    """Write what was picked into the search."""
    value = state.get(state.key("tests", name))
    said = "" if value in (None, _ANY) else str(value)
    state.put(_WORDS, with_field(str(state.get(_WORDS, "")), name, said))
    _to_first_page()


def _draw_list(recorder: Recorder, words: str, count: int) -> None:
    page = int(state.get(state.key("tests", "page"), 0))
    first = page * _PAGE
    rows = recorder.find(words, limit=_PAGE, offset=first)
    st.caption(f"{count:,} found, newest first; these are {first + 1} to {first + len(rows)}.")
    for row in rows:
        _draw_row(row)
    _draw_turns(page, more=first + len(rows) < count)
    _draw_files(recorder, words, rows)


def _draw_files(recorder: Recorder, words: str, rows: Sequence[TestRow]) -> None:
    """What was found as files: the list, its readings, and labels for the jars on this page."""

    def readings() -> bytes:
        found = recorder.find(words, limit=_MOST)
        return csv_of_readings(recorder.case(row.id) for row in found)

    with st.container(horizontal=True):
        for name, make, file, mime in (
            (
                "This list as CSV",
                lambda: csv_of_tests(recorder.find(words, limit=_MOST)),
                "jar-tests.csv",
                "text/csv",
            ),
            (
                "This list as Parquet",
                lambda: tests_parquet(recorder.find(words, limit=_MOST)),
                "jar-tests.parquet",
                "application/vnd.apache.parquet",
            ),
            ("Its readings as CSV", readings, "readings.csv", "text/csv"),
            (
                "Labels of the jars on this page",
                lambda: label_sheet([recorder.case(row.id) for row in rows], lambda i: f"jartest:{i}"),
                "jar-labels.pdf",
                "application/pdf",
            ),
        ):
            save_button(
                name,
                make,
                file=file,
                mime=mime,
                key=state.key("tests", file),
            )


def _to_first_page() -> None:
    state.put(state.key("tests", "page"), 0)


def _draw_row(row: TestRow) -> None:
    with st.container(border=True, gap="small"):
        link_to("test", f"{row.number} · {plain(row.title)}", id=row.id)
        said = [f"machine **{say_verdict(row.machine_word, row.machine_score, row.machine_age_s)}**"]
        if row.person_word and row.person_word != row.signed_word:
            said.append(f"person **{say_word(row.person_word)}**")
        if row.signed_by:
            word = (
                f"{SHAPES[row.signed_word]} {say_signed(row.signed_word, row.signed_age_s, row.signed_over)}"
            )
            said.append(f"signed **{word}** by {plain(row.signed_by)}")
        elif row.stopped:
            said.append("stopped")
        else:
            said.append("open")
        if row.sample:
            said.append("sample")
        st.markdown(" · ".join(said))
        products = ", ".join(one_line(p) for p in row.products) or "no products"
        looks = "1 look" if row.looks == 1 else f"{row.looks} looks"
        st.caption(f"{clock(row.opened_at, row)} · {plain(row.opened_by)} · {looks} · {plain(products)}")


def _draw_turns(page: int, *, more: bool) -> None:
    if page == 0 and not more:
        return
    with st.container(horizontal=True):
        for label, to, off in (("◀ Newer", page - 1, page == 0), ("Older ▶", page + 1, not more)):
            st.button(
                label,
                key=state.key("tests", label),
                disabled=off,
                on_click=state.put,
                args=(state.key("tests", "page"), to),
            )
