"""The verdict: word, score and one sentence first; its reasons, what people say beside it, and the name under one word."""

from __future__ import annotations

from typing import get_args

import streamlit as st

from jartest.recorder import Recorder, say_slot
from jartest.records.model import Case, KeptVerdict, Signature
from jartest.records.said import Saying, said_by_others
from jartest.screens import state
from jartest.screens.look_part import shown_look
from jartest.screens.parts import (
    SHAPES,
    clock,
    error_box,
    plain,
    say_word,
    show_plate,
)
from jartest.screens.reasons_part import draw_folded_reasons
from jartest.screens.who import name
from jartest.screens.words import WHAT_NEXT, WHAT_NEXT_WATCH
from jartest.verdict.values import Word
from jartest.verdict.words import say_aged, say_strained

__all__ = ["draw_decision", "draw_reasons", "draw_result"]


def draw_result(recorder: Recorder, case: Case) -> None:
    """Word, score and one sentence: the whole test's, a person's where there is one, and the shown photo's alone."""
    machine = case.verdicts[-1].verdict if case.verdicts else None
    look = shown_look(case)
    kept = case.latest_reading(look.id) if look else None
    if machine is None and kept is None and not case.opinions and case.signature is None:
        return
    with st.container(horizontal=True, gap="small", key="result"):
        show_plate(machine.word if machine else None, "the machine", place="machine", verdict=machine)
        _draw_persons_plate(case)
        if look is not None and kept is not None:
            where = plain(say_slot(look.slot, case.test.plan))
            show_plate(
                kept.verdict.word, f"this photo alone, {where}", place=f"look-{look.id}", verdict=kept.verdict
            )
    if machine is None:
        st.markdown("No photo and nothing written yet; there is no verdict without a look.")
    elif machine.reasons:
        st.markdown(f"**{plain(machine.reasons[0].says)}**")


def draw_reasons(recorder: Recorder, case: Case) -> None:
    """Why: each reason that is no pass in a sentence, all that pass in one line; the first was said already."""
    if not case.verdicts:
        return
    machine = case.verdicts[-1].verdict
    if strained := say_strained(machine):
        st.caption(f"{strained[0].upper()}{strained[1:]}: no clean pour through a fine enough strainer.")
    draw_folded_reasons(machine, recorder.limits, key=state.key("reasons", case.test.id), said=1)
    if after := _what_next(case):
        st.markdown(f"**What next:** {after[0]}")
        if after[1:]:
            with st.expander("What else to try", key=state.key("what-next", case.test.id)):
                st.markdown("\n".join(f"- {x}" for x in after[1:]))


def draw_decision(recorder: Recorder, case: Case) -> None:
    """The name under one word; after it, what stands under the name."""
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
def _ask_word(case: Case, over: Word | None) -> tuple[Word | None, str]:
    """The word and reason that stand on the screen; a reason is asked where the word is another than the machine's."""

    def field(part: str) -> str:
        return state.key("decide", case.test.id, part)

    word: Word | None = st.radio(
        "Your verdict",
        get_args(Word),
        index=None,
        key=field("word"),
        horizontal=True,
        format_func=lambda w: f"{SHAPES[w]} {w}",
        label_visibility="collapsed",
        persist_state="session",
    )
    if word is None or word == over:
        return word, ""
    reason = st.text_input(
        "Why, in a sentence: the machine does not say so",
        key=field("reason"),
        max_chars=1000,
        persist_state="session",
    )
    if over == "fail":
        st.warning(f"The machine says FAIL. {word.upper()} overrules it, and clears nothing in the history.")
    return word, reason


def _sign(recorder: Recorder, case: Case) -> None:
    """Word, reason and name in one act; the button says what it will do."""
    test_id = case.test.id
    machine = case.verdicts[-1] if case.verdicts else None
    now = (case.test.revision, machine.id if machine else None)
    with st.container(key="sign", gap="small"):
        word, reason = _ask_word(case, machine.verdict.word if machine else None)
        _draw_others(said_by_others(case, name()), word, name())
        # What was on the screen when the button was pressed, not what has just been read.
        seen = state.key("decide", test_id, "seen")
        revision, verdict = state.get(seen) or now
        # Another word is another button: one pressed while its word was being changed does nothing.
        pressed = st.button(
            f"Sign: {_to_be_signed(word, machine)}, as {plain(name()) or '…'}"
            if word
            else "Sign: first choose your verdict",
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


def _to_be_signed(word: Word, machine: KeptVerdict | None) -> str:
    """The word as the button says it; the machine's own with how far the jar was watched for it."""
    age_s = machine.verdict.age_s if machine is not None and machine.verdict.word == word else None
    return say_aged(word, age_s)


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
        word, reason = _ask_word(case, None)
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
