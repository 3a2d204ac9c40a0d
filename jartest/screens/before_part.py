"""Before you mix: what earlier tests say of the plan that stands in a form."""

from __future__ import annotations

import streamlit as st

from jartest.history.before import Before, Nearest, Same
from jartest.history.pairs import PAIR_SHAPES, PairCell
from jartest.recorder import Recorder
from jartest.records.model import TestPlan
from jartest.screens.parts import SHAPES, link_to, plain

__all__ = ["draw_before"]


def draw_before(recorder: Recorder, plan: TestPlan) -> None:
    """One plain sentence on the planned mixture, and what it rests on for who wants to see it."""
    if len(plan.products) < 2:
        return
    found = recorder.before_mixing(plan)
    with st.container(key="before"):
        if found.tone == "warning":
            st.error(f"✖ {plain(found.says)}", icon=":material/warning:")
        elif found.tone == "caution":
            st.warning(f"▲ {plain(found.says)}", icon=":material/visibility:")
        elif found.tone == "good":
            st.success(f"● {plain(found.says)}", icon=":material/check:")
        else:
            st.info(f"○ {plain(found.says)}", icon=":material/help:")
        with st.expander("What earlier tests say of this mixture"):
            _rest(found)


def _rest(found: Before) -> None:
    for same in found.same[:5]:
        _same(same)
    for title, cells in (
        ("Fails", found.failed),
        ("Open", found.suspect),
        ("Goes, in its tried range", found.cleared),
    ):
        if cells:
            st.markdown(f"**{title}**")
            st.markdown("\n".join(f"- {_pair(c)}" for c in cells))
    if found.new:
        st.markdown("**New in this mixture**")
        st.markdown("\n".join(f"- {plain(n)}" for n in found.new))
    if found.untried:
        st.markdown("**Never tried together**")
        st.markdown("\n".join(f"- · {plain(a)} with {plain(b)}" for a, b in found.untried))
    if found.substitutes:
        st.markdown("**Of the same kind, and it passed**")
        st.markdown(
            "\n".join(
                f"- {plain(s.product)} instead of {plain(s.instead_of)}: passed with {plain(', '.join(s.passed_with))}"
                for s in found.substitutes
            )
        )
    if found.nearest:
        st.markdown("**Nearest earlier tests**")
        for near in found.nearest:
            _near(near)
    st.caption(
        f"{plain(found.model_says)} A jar shows whether a mixture stays mixed; it says nothing of efficacy or crop safety. "
        "The label decides."
    )


def _pair(cell: PairCell) -> str:
    return f"{PAIR_SHAPES[cell.state][0]} {plain(cell.says)}"


def _same(same: Same) -> None:
    how = (
        f": {'; '.join(same.differs)}"
        if same.differs
        else ": same order, proportion and water, as far as written"
    )
    link_to(
        "test",
        f"{SHAPES[same.past.word]} {same.past.said} · test {same.past.number} of this mixture",
        id=same.past.test_id,
    )
    st.caption(plain(f"Signed by {same.past.signed_by}, {same.past.signed_at:%Y-%m-%d}{how}"))


def _near(near: Nearest) -> None:
    link_to(
        "test", f"{SHAPES[near.past.word]} {near.past.said} · test {near.past.number}", id=near.past.test_id
    )
    said = [f"shared {', '.join(near.shared)}"]
    if near.lacked:
        said.append(f"without {', '.join(near.lacked)}")
    if near.besides:
        said.append(f"and with {', '.join(near.besides)}")
    st.caption(plain("; ".join(said)))
