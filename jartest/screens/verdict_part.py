"""The verdict: the machine's with its reasons, what people say beside it, and the name under one word."""

from __future__ import annotations

from typing import get_args

import streamlit as st

from jartest.recorder import Recorder
from jartest.records.model import Case, Signature
from jartest.records.said import Saying, said_by_others
from jartest.screens import state
from jartest.screens.next_part import draw_next
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
from jartest.screens.words import WHAT_NEXT, WHAT_NEXT_WATCH
from jartest.verdict.values import Word
from jartest.verdict.words import say_aged, say_strained

__all__ = ["draw_verdict"]


def draw_verdict(recorder: Recorder, case: Case) -> None:
    """Both verdicts side by side, the reasons, and what is left to decide."""
    st.markdown("### Verdict")
    machine = case.verdicts[-1].verdict if case.verdicts else None
    left, right = st.columns(2)
    with left:
        show_plate(
            machine.word if machine else None,
            "the machine, on what stands now",
            place="machine",
            verdict=machine,
        )
    with right:
        _draw_persons_plate(case)
    draw_next(recorder, case)
    if machine is None:
        st.markdown("No photo and nothing written yet; there is no verdict without a look.")
    else:
        if strained := say_strained(machine):
            st.caption(f"{strained[0].upper()}{strained[1:]}: no clean pour through a fine enough strainer.")
        show_reasons(machine)
        show_rule(machine, recorder.limits)
    if after := _what_next(case):
        with st.container(border=True):
            st.markdown("**What next**\n" + "\n".join(f"- {x}" for x in after))
    st.caption("Physical mixing only: nothing here speaks of efficacy or crop safety. Try a small plot.")
    if case.signature is None:
        _sign(recorder, case)
    else:
        _draw_signature(case, case.signature)
        _say_otherwise(recorder, case, case.signature)


def _draw_persons_plate(case: Case) -> None:
    signature, opinion = case.signature, case.opinions[-1] if case.opinions else None
    if signature is not None:
        age_s = case.signed_over.age_s if case.signed_over else None
        show_plate(signature.word, f"signed by {plain(signature.by)}", place="person", age_s=age_s)
    elif opinion is not None:
        show_plate(opinion.word, f"{plain(opinion.by)}, not signed", place="person")
    else:
        show_plate(None, "nobody has signed yet", place="person")


def _what_next(case: Case) -> tuple[str, ...]:
    """What to do now, by the words that stand."""
    if "fail" in _words_that_stand(case):
        return WHAT_NEXT
    if case.signature is None or case.signature.word != "watch":
        return ()
    over = case.signed_over.word if case.signed_over else None
    beside = (
        ("The machine's FAIL stands beside what was signed: the crew reads both on the tank card.",)
        if over == "fail"
        else ()
    )
    return (*WHAT_NEXT_WATCH, *beside)


def _words_that_stand(case: Case) -> set[Word | None]:
    """The signed word; before that, and for what came after it, the machine's and everybody's."""
    machine = case.verdicts[-1] if case.verdicts else None
    if case.signature is None:
        return {machine.verdict.word if machine else None, *(o.word for o in case.opinions[-1:])}
    moved = machine is not None and machine.id != case.signature.verdict_id
    return {case.signature.word, machine.verdict.word if machine and moved else None}


def _draw_signature(case: Case, signature: Signature) -> None:
    then = case.signed_over
    beside = f" (the machine: {say_word(then.word)})" if then and signature.word != then.word else ""
    said = f"{SHAPES[signature.word]} {say_aged(signature.word, then.age_s if then else None)}"
    why = f" “{plain(signature.reason)}”" if signature.reason else ""
    st.success(
        f"Signed by {plain(signature.by)}, {clock(signature.at, case.test)}: {said}{beside}.{why}",
        icon=":material/draw:",
    )
    if case.verdicts[-1].id != signature.verdict_id:
        st.warning(f"Since then the machine's verdict has become {say_word(case.verdicts[-1].verdict.word)}.")
    for s in case.signatures:
        if s.set_aside:
            st.markdown(
                f"{plain(s.by)} signed too, {clock(s.at, case.test)}: {say_word(s.word)}. {plain(s.set_aside)}"
            )
    _draw_others(said_by_others(case, signature.by), signature.word, signature.by)


def _draw_others(others: tuple[Saying, ...], word: Word | None, by: str) -> None:
    """What others say, and that they do not agree, where they do not."""
    for one in others:
        why = f": “{plain(one.reason)}”" if one.reason else ""
        st.markdown(f"{plain(one.by)} says {say_word(one.word)}{why}")
    against = [x for x in others if x.word != word]
    if word and against:
        names = " and ".join(plain(x.by) for x in against)
        st.warning(f"{plain(by) or 'You'} and {names} do not agree. A signature is for one's own word alone.")
    elif len({x.word for x in others}) > 1:
        st.warning("They do not agree with each other.")


# ------------------------------------------------------------------- a person's word
def _ask_word(case: Case) -> tuple[Word | None, str]:
    """The word and reason that stand on the screen."""

    def field(part: str) -> str:
        return state.key("decide", case.test.id, part)

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
    return word, reason


def _sign(recorder: Recorder, case: Case) -> None:
    """Word, reason and name in one act; the button says what it will do."""
    test_id = case.test.id
    machine = case.verdicts[-1] if case.verdicts else None
    now = (case.test.revision, machine.id if machine else None)
    with st.container(border=True):
        word, reason = _ask_word(case)
        _draw_others(said_by_others(case, name()), word, name())
        over = machine.verdict.word if machine else None
        if word and word != over:
            st.markdown(f"You say {say_word(word)} where the machine says {say_word(over)}.")
        # What was on the screen when the button was pressed, not what has just been read.
        seen = state.key("decide", test_id, "seen")
        revision, verdict = state.get(seen) or now
        # Another word is another button: one pressed while its word was being changed does nothing.
        pressed = st.button(
            f"Sign: {word.upper()}, as {plain(name()) or '…'}" if word else "Sign: first choose your verdict",
            key=state.key("decide", test_id, "sign", word or "none"),
            type="primary",
            width="stretch",
            disabled=word is None,
        )
        if pressed and word:
            with error_box():
                recorder.sign(
                    test_id,
                    word=word,
                    reason=reason,
                    by=name(),
                    expected_revision=revision,
                    expected_verdict=verdict,
                )
                state.clear("decide", test_id)
                st.rerun()
        state.put(seen, now)


def _say_otherwise(recorder: Recorder, case: Case, signature: Signature) -> None:
    """Beside what was signed: another word, by whoever sees it otherwise now."""
    test_id = case.test.id
    word_key, seen, lost = (state.key("decide", test_id, part) for part in ("word", "seen", "lost"))
    if state.get(seen):  # the form for signing stood here until somebody else signed
        state.put(lost, state.get(word_key))
        state.put(seen, None)
    if chosen := state.get(lost):
        st.warning(
            f"You had chosen {say_word(chosen)}. It was not kept: {plain(signature.by)} signed first, and a test is "
            "signed once. Where you see it otherwise, say so here."
        )
    with st.expander("You see it otherwise? Say so beside it", expanded=bool(chosen)):
        word, reason = _ask_word(case)
        pressed = st.button(
            f"Keep beside it: {word.upper()}, as {plain(name()) or '…'}"
            if word
            else "First choose your verdict",
            key=state.key("decide", test_id, "beside", word or "none"),
            width="stretch",
            disabled=word is None,
        )
        if pressed and word:
            with error_box():
                recorder.give_opinion(test_id, word=word, reason=reason, by=name())
                state.clear("decide", test_id)
                st.rerun()
        st.caption(
            f"What {plain(signature.by)} signed stays as it is; a tank card ends when a fail stands beside it."
        )
