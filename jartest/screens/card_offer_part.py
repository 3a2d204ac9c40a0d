"""On the screen of a signed test: its tank card, or the way to one."""

from __future__ import annotations

import streamlit as st

from jartest.plan.card_ground import WEAK_DAYS
from jartest.plan.tankcard import LapseRules
from jartest.recorder import Recorder
from jartest.records.model import Case
from jartest.screens import state
from jartest.screens.parts import error_box, link_to, plain
from jartest.screens.who import name
from jartest.tank import ground_of, make_card, signed_word
from jartest.units import read_temperature

__all__ = ["draw_card_offer"]

_NO_CONDITION = "constant agitation"


def draw_card_offer(recorder: Recorder, case: Case) -> None:
    """On the screen of a signed test: its tank card, or the way to one."""
    if not case.signed:
        return
    made = recorder.store.cards(case.test.id)
    if made:
        link_to("card", "The tank card of this test", main=True, id=made[0].id)
        return
    word = signed_word(case)
    if word not in ("pass", "watch"):
        st.caption("No tank card: only a signed pass, or a watch with its condition, makes one.")
        return
    if case.test.plan.recipe is None:
        st.caption(
            "No tank card: the amounts were typed for the jar alone. A test from a tank recipe makes one."
        )
        return
    with st.container(border=True):
        st.markdown("#### Tank card for the crew")
        _ask_card(recorder, case, must=word == "watch")


def _ask_card(recorder: Recorder, case: Case, *, must: bool) -> None:
    def field(part: str) -> str:
        return state.key("make-card", case.test.id, part)

    condition = st.text_input(
        "On condition of (needed for a watch)" if must else "On condition of, if any",
        value=_NO_CONDITION if must else "",
        key=field("condition"),
        max_chars=200,
    )
    ground = ground_of(recorder, case)
    word = signed_word(case) or ""
    days = st.number_input(
        "It lapses after days",
        min_value=1,
        max_value=3650,
        value=int(ground.usual_days(word)),
        key=field("days"),
    )
    if ground.weak(word):
        signed = case.signature.by if case.signature else ""
        why = "\n".join(f"- {plain(x)}" for x in ground.said(word, by=signed))
        st.caption(
            f"{WEAK_DAYS:.0f} days unless you set it, because of what stands at the head of the card:\n{why}"
        )
    lot = st.checkbox("A new lot ends it too", key=field("lot"))
    depth = st.number_input(
        "Depth of liquid in the tank, inches (for how long it may stand)",
        min_value=1.0,
        max_value=200.0,
        value=None,
        key=field("depth"),
        placeholder="not known",
    )
    warmth = st.text_input(
        "Temperature of the tank's water (for how long it may stand)",
        key=field("warmth"),
        placeholder="as the jar's; or type 60 F or 15 C",
        max_chars=20,
    )
    if st.button("Make the tank card", key=field("make"), type="primary", width="stretch"):
        with error_box():
            make_card(
                recorder,
                case.test.id,
                by=name(),
                condition=condition or "",
                rules=LapseRules(max_age_days=float(days), lot_matters=lot),
                tank_depth_in=depth,
                tank_c=read_temperature(warmth) if warmth.strip() else None,
            )
            st.rerun()
