"""The verdict: the machine's with its reasons, the person's beside it, and the name under both."""

from __future__ import annotations

from typing import get_args

import streamlit as st

from jartest.recorder import Recorder
from jartest.records.model import Case
from jartest.screens import state
from jartest.screens.parts import (
    SHAPES,
    clock,
    error_box,
    plain,
    say_word,
    show_plate,
    show_reasons,
    show_rule,
)
from jartest.screens.who import name
from jartest.screens.words import WHAT_NEXT
from jartest.verdict.values import Word

__all__ = ["draw_verdict"]


def draw_verdict(recorder: Recorder, case: Case) -> None:
    """Both verdicts side by side, the reasons, and what is left to decide."""
    st.markdown("### Verdict")
    machine = case.verdicts[-1].verdict if case.verdicts else None
    opinion = case.opinions[-1] if case.opinions else None
    left, right = st.columns(2)
    with left:
        show_plate(machine.word if machine else None, "the machine, on what stands now", place="machine")
    with right:
        said = f"{opinion.by}" if opinion else "your own verdict"
        show_plate(opinion.word if opinion else None, plain(said), place="person")
    if opinion and opinion.reason:
        st.markdown(f"{plain(opinion.by)}: “{plain(opinion.reason)}”")
    if machine is None:
        st.markdown("No photo and nothing written yet; there is no verdict without a look.")
    else:
        show_reasons(machine)
        show_rule(machine, recorder.limits)
    if "fail" in (machine.word if machine else None, opinion.word if opinion else None):
        with st.container(border=True):
            st.markdown("**What next**\n" + "\n".join(f"- {x}" for x in WHAT_NEXT))
    st.caption("Physical mixing only: nothing here speaks of efficacy or crop safety. Try a small plot.")
    if case.signed:
        _draw_signature(case)
    else:
        _decide(recorder, case)


def _draw_signature(case: Case) -> None:
    signature = case.signatures[-1]
    then = next((v.verdict.word for v in case.verdicts if v.id == signature.verdict_id), None)
    own = next((o.word for o in case.opinions if o.id == signature.opinion_id), then)
    beside = "" if own == then else f" (the machine: {say_word(then)})"
    st.success(
        f"Signed by {plain(signature.by)}, {clock(signature.at, case.test)}: {say_word(own)}{beside}.",
        icon=":material/draw:",
    )
    if case.verdicts[-1].id != signature.verdict_id:
        st.warning(f"Since then the machine's verdict has become {say_word(case.verdicts[-1].verdict.word)}.")


def _decide(recorder: Recorder, case: Case) -> None:
    test_id = case.test.id

    def field(part: str) -> str:
        return state.key("decide", test_id, part)

    with st.container(border=True):
        word: Word | None = st.radio(
            "Your verdict",
            get_args(Word),
            index=None,
            key=field("word"),
            horizontal=True,
            format_func=lambda w: f"{SHAPES[w]} {w}",
            persist_state="session",
        )
        reason = st.text_input(
            "Why, in a sentence (needed where you differ from the machine)",
            key=field("reason"),
            max_chars=1000,
            persist_state="session",
        )
        if st.button("Keep my verdict", key=field("keep"), width="stretch", disabled=word is None) and word:
            with error_box():
                recorder.give_opinion(test_id, word=word, reason=reason, by=name())
                state.clear("decide", test_id)
                st.rerun()
        # The revision that was on the screen when the button was pressed, not the one just read.
        seen = state.get(field("revision"), case.test.revision)
        signs = f"Sign as {plain(name())}" if name() else "Sign"
        if st.button(signs, key=field("sign"), type="primary", width="stretch"):
            with error_box():
                recorder.sign(test_id, by=name(), expected_revision=seen)
                state.clear("decide", test_id)
                st.rerun()
        state.put(field("revision"), case.test.revision)
