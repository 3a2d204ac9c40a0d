"""All tests: found by the words in them, verdict, maker and day; sorted as asked; searches can be saved."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import get_args

import streamlit as st

from jartest.exchange.history_tables import tests_parquet
from jartest.exchange.labels import label_sheet
from jartest.exchange.tables import csv_of_readings, csv_of_tests
from jartest.recorder import Recorder
from jartest.records.model import TestRow
from jartest.records.search_words import ListOrder, field_in, with_field
from jartest.screens import state
from jartest.screens.looks_part import draw_keeping, draw_looks
from jartest.screens.old_open_part import draw_old_open
from jartest.screens.parts import SHAPES, clock, link_to, one_line, plain, say_word
from jartest.screens.save_button import save_button
from jartest.screens.strip_part import strip
from jartest.verdict.values import Word
from jartest.verdict.words import say_signed, say_verdict

__all__ = ["render"]

_PAGE = 20  # lines on one page (our choice)
_MOST = 100_000  # lines of one file
_WORDS, _AT = state.key("tests", "words"), state.key("tests", "page")
_CHOICES = ("words", "order")  # what a saved look keeps
_ORDERS: dict[ListOrder, str] = {
    "newest": "newest first",
    "oldest": "oldest first",
    "worst": "worst score first",
    "signed": "last signed first",
}
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
        "seen. #12 is test 12, 2026-03 a month, verdict:fail what stands in the end, maker:ferrow who makes one of its "
        "products, state:open what nobody signed or stopped, since:2026-03-01 and until:2026-03-31 the days they "
        "were opened.",
        on_change=_to_first_page,
        persist_state="session",
        type="search",
    )
    _draw_filters(recorder, words)
    count = recorder.count(words)
    if count:
        _draw_list(recorder, words, count)
    else:
        _draw_nothing(recorder, words)
    draw_old_open(recorder)
    draw_keeping(recorder, "tests", _CHOICES)


def _draw_nothing(recorder: Recorder, words: str) -> None:
    """That nothing was found, and the nearest search that finds something."""
    st.markdown("No test holds all of this." if words.strip() else "No test is kept yet.")
    near = recorder.did_you_mean(words) if words.strip() else ""
    if near and recorder.count(near):
        st.button(
            f"Did you mean “{plain(near)}”?",
            key=state.key("tests", "near"),
            on_click=state.put,
            args=(_WORDS, near),
            type="primary",
        )
    link_to("new", "+ Start a new test")


def _draw_filters(recorder: Recorder, words: str) -> None:
    """Verdict, maker and days, which only write into the search, so that what is searched for stands in one place."""
    makers = {p.maker.casefold(): p.maker for p in recorder.known_products() if p.maker}
    by_field = {"_".join(m.split()): m for _, m in sorted(makers.items())}
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom", key="filters"):
        _draw_choice("Verdict", "verdict", _VERDICTS, words)
        _draw_choice("Maker", "maker", {_ANY: "Any maker"} | by_field, words)
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


def _draw_choice(label: str, name: str, options: dict[str, str], words: str) -> None:
    """One field of the search, picked from a list."""
    key, stands = state.key("tests", name), field_in(words, name).casefold()
    state.put(key, next((o for o in options if o.casefold() == stands), _ANY))
    st.selectbox(
        label,
        list(options),
        format_func=lambda o: options.get(o, o),
        key=key,
        on_change=_narrow,
        args=(name,),
        width=220,
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
    order = _draw_order(recorder, words)
    last = (count - 1) // _PAGE
    page = min(int(state.get(_AT, 0)), last)
    first = page * _PAGE
    rows = recorder.find(words, limit=_PAGE, offset=first, order=order)
    st.caption(f"{count:,} found, {_ORDERS[order]}; these are {first + 1} to {first + len(rows)}.")
    for row in rows:
        _draw_row(row)
    _draw_turns(page, last, order)
    _draw_files(recorder, words, rows)


def _draw_order(recorder: Recorder, words: str) -> ListOrder:
    """How the list is sorted, and the way to a day in it."""
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom", key="order"):
        order = st.selectbox(
            "Sort",
            list(_ORDERS),
            format_func=_ORDERS.__getitem__,
            key=state.key("tests", "order"),
            on_change=_to_first_page,
            width=220,
        )
        if order in ("newest", "oldest"):
            st.date_input(
                "Jump to",
                value=None,
                min_value=_DAYS[0],
                max_value=_DAYS[1],
                key=state.key("tests", "jump"),
                format="YYYY-MM-DD",
                width=160,
                on_change=_jump,
                args=(recorder, words, order),
            )
    return order


def _jump(recorder: Recorder, words: str, order: ListOrder) -> None:
    """To the page on which the first test of that day stands, or the next one in this order."""
    day = state.get(state.key("tests", "jump"))
    if day is None:
        return
    before = f"since:{day + timedelta(days=1)}" if order == "newest" else f"until:{day - timedelta(days=1)}"
    state.put(_AT, recorder.count(f"{words} {before}") // _PAGE)


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
    state.put(_AT, 0)


def _draw_row(row: TestRow) -> None:
    """One test on two lines beside its jar."""
    stands = row.signed_word or row.person_word or row.machine_word
    with st.container(horizontal=True, gap="small", vertical_alignment="center", key=f"line-{row.number}"):
        strip(row.id, row.number, looks=row.looks)
        with st.container(gap=None, width="stretch"):
            link_to("test", f"{SHAPES[stands]} {row.number} · {plain(row.title)}", id=row.id)
            products = ", ".join(one_line(p) for p in row.products) or "no products"
            looks = "1 look" if row.looks == 1 else f"{row.looks} looks"
            opened = f"{clock(row.opened_at, row)} · {plain(row.opened_by)} · {looks}"
            st.caption(f"{' · '.join(_said(row))}  \n{opened} · {plain(products)}")


def _said(row: TestRow) -> list[str]:
    said = [f"machine **{say_verdict(row.machine_word, row.machine_score, row.machine_age_s)}**"]
    if row.person_word and row.person_word != row.signed_word:
        said.append(f"person **{say_word(row.person_word)}**")
    if row.signed_by:
        word = say_signed(row.signed_word, row.signed_age_s, row.signed_over)
        said.append(f"signed **{SHAPES[row.signed_word]} {word}** by {plain(row.signed_by)}")
    else:
        said.append("stopped" if row.stopped else "open")
    if row.sample:
        said.append("sample")
    return said


def _draw_turns(page: int, last: int, order: ListOrder) -> None:
    if last == 0:
        return
    back, on = ("◀ Back", "On ▶") if order in ("worst", "signed") else ("◀ Newer", "Older ▶")
    if order == "oldest":
        back, on = "◀ Older", "Newer ▶"
    with st.container(horizontal=True):
        for label, to, off in ((back, page - 1, page == 0), (on, page + 1, page == last)):
            st.button(
                label,
                key=state.key("tests", label),
                disabled=off,
                on_click=state.put,
                args=(_AT, to),
            )
