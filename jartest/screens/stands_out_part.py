"""What stands out in the history: what keeps failing and why, what changed since last season, what rests on one old jar."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from jartest.history.approved import Line, say_ago
from jartest.history.before import Past
from jartest.history.changed import CHANGES, Changed, ChangedKind
from jartest.history.pairs import PAIR_SHAPES, PairTable
from jartest.history.questions import History
from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.parts import SHAPES, link_to, plain
from jartest.screens.strip_part import strip

__all__ = ["draw_stands_out", "past_line"]

_SHOWN = 5  # sentences of one kind that are shown at once; the others are a tap away (our choice)
_POLL_S = 2  # how soon a screen sees that last season was weighed (our choice)
_JARS = 8  # jars listed under a sentence (our choice)


def draw_stands_out(recorder: Recorder, history: History, table: PairTable) -> None:
    """Draw what the owner asks first, each in a sentence with its jars one tap away."""
    if not table.cells:
        st.markdown(f"#### {plain(table.says)}")
        return
    if history.model is None:
        return  # the screen says so, and draws this once it is there
    st.markdown("#### What keeps failing, and why")
    _failing(history, table)
    st.markdown("#### What changed since last season")
    _changed(recorder, history, table)
    st.markdown("#### What rests on one old jar")
    _old(recorder, history, table)


def past_line(past: Past, *, place: str = "") -> None:
    """One jar on two lines: its picture, its word, by whom it was signed, what was in it, and the way to it.

    `place` tells apart lines of one jar that stand on the same screen.
    """
    line = f"line-{place}-{past.number}".replace(" ", "-")
    with st.container(horizontal=True, gap="small", vertical_alignment="center", key=line):
        strip(past.test_id, past.number)
        with st.container(gap=None, width="stretch"):
            link_to(
                "test",
                f"{SHAPES[past.word]} {past.said} · test {past.number} · {past.signed_at:%Y-%m-%d}",
                id=past.test_id,
            )
            st.caption(plain(f"signed by {past.signed_by} · {past.mix.says}"))


def _jars(label: str, jars: Sequence[Past], key: str) -> None:
    """The jars behind a sentence, drawn once they are asked for."""
    if not jars:
        return
    opened = st.expander(label, key=state.key("history", "jars", key), on_change="rerun")
    if opened.open:
        with opened:
            for past in jars[:_JARS]:
                past_line(past, place=key)
            if len(jars) > _JARS:
                st.caption(f"The newest {_JARS} of {len(jars)}.")


def _failing(history: History, table: PairTable) -> None:
    found = history.keeps_failing(table)
    if not found:
        st.markdown("Nothing keeps failing: no cause is likelier than not, with two failed jars or more.")
    shape = PAIR_SHAPES["fails"][0]
    for n, one in enumerate(found):
        if n == _SHOWN and not st.toggle(
            f"And {len(found) - _SHOWN} more that keep failing", key=state.key("history", "more failing")
        ):
            break
        with st.container(border=True, gap="small"):
            st.markdown(f"{shape} {plain(one.says)}")
            _jars(f"The {len(one.jars)} failed jars", one.jars, one.cause.says)
    if history.model is not None and history.model.misfit is not None:
        st.markdown(plain(history.model.misfit.says))


@st.fragment(run_every=_POLL_S)
def _weighing_season(recorder: Recorder, *, samples: bool) -> None:
    """Say that last season is being weighed, and draw the screen again once that is done."""
    history = recorder.history(samples=samples)
    if recorder.changed(history, history.pair_table()) is not None:
        st.rerun(scope="app")
    st.markdown("What was known before this season is being weighed; it will be here in a moment.")


def _changed(recorder: Recorder, history: History, table: PairTable) -> None:
    season = recorder.changed(history, table)
    if season is None:
        _weighing_season(recorder, samples=history.samples)
        return
    st.markdown(plain(season.says))
    if season.products:
        st.caption(plain(f"New products: {', '.join(season.products)}."))
    for kind, label in CHANGES.items():
        mine = [c for c in season.changes if c.kind == kind]
        if mine and kind == "worse":
            st.markdown(f"**{label}**")
            _changes(mine, kind)
        elif mine:
            opened = st.expander(
                f"{label}: {len(mine)}", key=state.key("history", "changed", kind), on_change="rerun"
            )
            if opened.open:
                with opened:
                    _changes(mine, kind)


def _changes(mine: Sequence[Changed], kind: ChangedKind) -> None:
    for c in mine[: 4 * _SHOWN]:
        st.markdown(f"- {plain(c.says)}")
    if len(mine) > 4 * _SHOWN:
        st.caption(f"The first {4 * _SHOWN} of {len(mine)}, the worst first.")
    _jars("Their jars", list({j.number: j for c in mine for j in c.jars}.values()), f"changed {kind}")


def _old(recorder: Recorder, history: History, table: PairTable) -> None:
    now = recorder.now()
    found = history.old_single(table, now)
    if not found:
        st.markdown("Nothing: no pair goes by one jar alone of an earlier year.")
        return
    pairs = "1 pair goes" if len(found) == 1 else f"{len(found)} pairs go"
    st.markdown(f"{pairs} by one jar alone, and that of an earlier year.")
    for line in found[:_SHOWN]:
        _single(line, recorder)
    if len(found) > _SHOWN:
        opened = st.expander(
            f"And {len(found) - _SHOWN} more", key=state.key("history", "more old"), on_change="rerun"
        )
        if opened.open:
            with opened:
                for line in found[_SHOWN:]:
                    _single(line, recorder)


def _single(line: Line, recorder: Recorder) -> None:
    past = line.newest
    if past is None:
        return
    with st.container(border=True, gap=None):
        ago = say_ago(past.signed_at, recorder.now())
        st.markdown(plain(f"{line.product} with {line.other}: one jar, {ago}."))
        past_line(past, place=f"old {line.product} {line.other}")
