"""What a person sees: signs to tick, re-mixing, pouring, words; corrections keep what they correct."""

from __future__ import annotations

from typing import get_args

import streamlit as st

from jartest.recorder import Recorder, say_slot
from jartest.records.model import Bottom, Case, Observation, Remix, Runs, ScreenPour
from jartest.screens import state
from jartest.screens.parts import clock, error_box, plain
from jartest.screens.timeline import say_observation
from jartest.screens.who import name
from jartest.screens.words import MESHES, REACTION
from jartest.verdict.signs import SIGNS

__all__ = ["draw_observations"]

_UNTOUCHED: dict[str, object] = {
    "remix": "not tried",
    "pour": "not tried",
    "mesh": None,
    "runs": "not tried",
    "bottom": "not looked",
    "text": "",
    "replaces": None,
}


def draw_observations(recorder: Recorder, case: Case) -> None:
    """What was seen so far, and the form for more."""
    label = "Seen later: write it down after signing" if case.signed else "What do you see?"
    with st.expander(label, key=state.key("see-fold", case.test.id)):
        told, form = st.container(), st.container()  # the form keeps its place, however much is told
        with told:
            for seen in case.observations:
                _draw_one(case, seen)
        with form:
            _form(recorder, case)


def _form_key(case: Case, *parts: object) -> str:
    return state.key(f"see-{case.test.id}", *parts)


def _draw_one(case: Case, seen: Observation) -> None:
    look = next((x for x in case.looks if x.id == seen.look_id), None)
    where = f" at {plain(say_slot(look.slot, case.test.plan))}" if look else ""
    says = f"{clock(seen.at, case.test)} · {plain(seen.by)}{where}: {plain(say_observation(seen))}"
    if seen not in case.standing_observations():
        st.markdown(f"~~{says}~~ corrected since")
        return
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(says, width="stretch")
        if not case.signed:  # what was signed under stays as it was; something new is written beside it
            st.button("Correct", key=_form_key(case, "correct", seen.id), on_click=_load, args=(case, seen))


def _load(case: Case, seen: Observation) -> None:
    """Put an observation back into the form, to be corrected."""
    _fill(
        case,
        signs=seen.signs,
        remix=seen.remix,
        pour=seen.screen_pour,
        mesh=seen.screen_mesh,
        runs=seen.runs,
        bottom=seen.bottom,
        text=seen.text,
        replaces=seen.id,
    )


def _fill(case: Case, *, signs: tuple[str, ...] = (), **said: object) -> None:
    """The form with these signs ticked and this said; what is not named is as if nobody had touched it."""
    for s in SIGNS:
        state.put(_form_key(case, "sign", s.name), s.name in signs)
    for part, untouched in _UNTOUCHED.items():
        state.put(_form_key(case, part), said.get(part, untouched))


@st.fragment
def _form(recorder: Recorder, case: Case) -> None:
    """Tick boxes and a word; a fragment, so that a tick answers at once."""
    if state.get(_form_key(case, "kept")):
        _fill(case)  # a browser keeps a tick unless it is told that it is gone
        state.put(_form_key(case, "kept"), False)
    replaces = state.get(_form_key(case, "replaces"))
    if replaces:
        st.info("You are correcting an earlier entry; the earlier one stays in the history.")
    with st.container(horizontal=True, gap="small"):
        ticked = [
            s.name
            for s in SIGNS
            if st.checkbox(
                s.says, key=_form_key(case, "sign", s.name), width="content", persist_state="session"
            )
        ]
    if {"heat", "gas"} & set(ticked):
        st.error(REACTION, icon=":material/warning:")
    text = st.text_area(
        "In your words",
        key=_form_key(case, "text"),
        height=80,
        max_chars=4000,
        placeholder="clouds after the third, stirs out …",
        persist_state="session",
    )
    remix: Remix = "not tried"
    pour: ScreenPour = "not tried"
    runs: Runs = "not tried"
    bottom: Bottom = "not looked"
    mesh = None
    if case.mixed_at is not None:
        bottom = st.radio(
            "Looked at from below, the bottom is",
            get_args(Bottom),
            key=_form_key(case, "bottom"),
            horizontal=True,
            format_func=lambda b: b if b in ("not looked", "clean") else f"a {b}",
            persist_state="session",
        )
        remix = st.radio(
            "Turned over ten times, it re-mixes",
            get_args(Remix),
            key=_form_key(case, "remix"),
            horizontal=True,
            persist_state="session",
        )
        pour = st.radio(
            "Poured through a screen and rinsed, residue",
            get_args(ScreenPour),
            key=_form_key(case, "pour"),
            horizontal=True,
            format_func=lambda p: "none, clean" if p == "clean" else p,
            persist_state="session",
        )
        if pour != "not tried":
            mesh = st.selectbox(
                "Mesh of the screen, openings per inch",
                MESHES,
                index=None,
                key=_form_key(case, "mesh"),
                placeholder="not known",
                width=280,
                persist_state="session",
            )
        runs = st.radio(
            "Tilted, it runs",
            get_args(Runs),
            key=_form_key(case, "runs"),
            horizontal=True,
            format_func=lambda r: {"like water": "like water, no gel", "thick": "thick or in strings"}.get(
                r, r
            ),
            persist_state="session",
        )
    if st.button("Keep what I saw", key=_form_key(case, "keep"), type="primary", width="stretch"):
        with error_box():
            recorder.observe(
                case.test.id,
                by=name(),
                look_id=_look_shown(case),
                signs=ticked,
                remix=remix,
                screen_pour=pour,
                screen_mesh=mesh,
                runs=runs,
                bottom=bottom,
                text=text,
                replaces=replaces,
            )
            state.put(_form_key(case, "kept"), True)
            st.rerun(scope="app")


def _look_shown(case: Case) -> str | None:
    """The look on the screen, which is what is written about; none before the first photo."""
    shown = state.get(state.key("test", case.test.id, "shown"))
    return shown if any(x.id == shown for x in case.looks) else None
