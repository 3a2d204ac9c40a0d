"""Asking for a second opinion: about a test, or about one photo; and what came back to a test."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import quote, urlencode

import streamlit as st

from jartest.exchange.answer import NO_JAR, ask_about_photo, ask_about_test, ask_at_once, question_file
from jartest.exchange.marked import draw_marks
from jartest.plan.jars import JarShape
from jartest.recorder import QuickLook, Recorder
from jartest.records.model import Case, JarUsed, SecondOpinion
from jartest.records.said import name_of, say_standing
from jartest.screens import state
from jartest.screens.parts import (
    address_of,
    clock,
    error_box,
    link_to,
    plain,
    plain_picture,
    say_word,
    utc_offset_min,
)
from jartest.screens.save_button import save_button
from jartest.screens.who import name

__all__ = ["draw_ask", "draw_ask_photo", "draw_said", "draw_second_opinions"]


def draw_ask(recorder: Recorder, test_id: str) -> None:
    """The question about a test, and the parcel once it is made."""
    case = recorder.case(test_id)
    st.markdown(f"### Ask about {case.test.number} · {plain(case.test.plan.title)}")
    made = state.key("ask", test_id, "made")
    if state.get(made):
        _draw_parcel(recorder, str(state.get(made)))
        link_to("test", "Back to the test", id=test_id)
        return
    with st.form(state.key("ask", test_id, "form"), border=False):
        words = st.text_area("The question", key=state.key("ask", test_id, "words"), max_chars=2000)
        asked_of = st.text_input(
            "Who is asked (may stay empty)", key=state.key("ask", test_id, "of"), max_chars=80
        )
        nameless = st.toggle(
            "Leave out names of people, customers and places",
            key=state.key("ask", test_id, "nameless"),
            help="Also title, notes, water source, lots and file names. What is written as question, observation "
            "or reason goes as it stands.",
        )
        whole = st.toggle(
            "Photos in full size (otherwise small enough for mail)", key=state.key("ask", test_id, "whole")
        )
        send = st.form_submit_button("Make the question", type="primary", width="stretch")
    st.caption(
        "One file goes out that any browser opens. Photos in it never say where they were taken, and nothing in it "
        "says what you or the program think of the jar: keep that out of your question too."
    )
    if send:
        with error_box():
            parcel = ask_about_test(
                recorder.store,
                recorder.photos,
                test_id,
                parcel_id=recorder.fresh_id(),
                at=recorder.now(),
                by=name(),
                asked_of=asked_of,
                words=words,
                whole=whole,
                nameless=nameless,
            )
            state.put(made, parcel.said.id)
            st.rerun()


def draw_ask_photo(
    recorder: Recorder, data: bytes, file_name: str, look: QuickLook, jar: JarShape | None
) -> None:
    """The question about a loose photo that was just read, and its file once it is made."""
    group = look.reading.photo_sha256[:16]
    made = state.key("ask-photo", group, "made")
    st.markdown("### Ask for a second opinion")
    if state.get(made):
        _draw_parcel(recorder, str(state.get(made)))
        return
    with st.form(state.key("ask-photo", group, "form"), border=False):
        contents = st.text_input(
            "What is in it, in one line", key=state.key("ask-photo", group, "contents"), max_chars=200
        )
        water = st.text_input(
            "The water, if known", key=state.key("ask-photo", group, "water"), max_chars=200
        )
        words = st.text_area(
            "The question (may stay empty)",
            key=state.key("ask-photo", group, "words"),
            max_chars=2000,
            height=80,
        )
        send = st.form_submit_button("Make the question", type="primary", width="stretch")
    if send:
        with error_box():
            parcel = ask_about_photo(
                recorder.store,
                data,
                file_name,
                look.reading,
                look.verdict,
                parcel_id=recorder.fresh_id(),
                new_id=recorder.fresh_id,
                at=recorder.now(),
                utc_offset_min=utc_offset_min(),
                by=name(),
                contents=contents,
                water=water,
                jar=NO_JAR if jar is None else _as_used(jar),
                words=words,
            )
            state.put(made, parcel.said.id)
            st.rerun()


def _as_used(jar: JarShape) -> JarUsed:
    return JarUsed(name=jar.name, volume_ml=jar.volume_ml, inner_diameter_mm=jar.inner_diameter_mm)


def _draw_parcel(recorder: Recorder, parcel_id: str) -> None:
    row = recorder.store.parcel(parcel_id)
    size = len(question_file(recorder.store, parcel_id))
    st.success(
        f"The question is made: one file ({size / 1e6:.1f} MB). Send it by mail or messenger; whoever gets it opens it "
        "in a browser, and sends back an answer that you take in under Second opinion."
    )
    save_button(
        "Send or save the question",
        lambda: question_file(recorder.store, parcel_id),
        file=f"second-opinion-{parcel_id[:8]}.html",
        mime="text/html",
        key=state.key("ask", parcel_id, "save"),
        main=True,
        share=True,
    )
    link = address_of("opinion", id=parcel_id)
    if link:
        st.markdown("Whoever is on the shop's network can answer here instead:")
        st.code(link, language=None)
        letter = urlencode({"subject": f"Second opinion wanted: {row.title}", "body": link}, quote_via=quote)
        st.link_button("Send the link by mail", f"mailto:?{letter}", width="stretch")


def draw_second_opinions(recorder: Recorder, case: Case) -> None:
    """What others said to this test, and the way to ask."""
    came = len(case.second_opinions)
    with st.expander(f"Second opinions: {came} came back" if came else "Ask for a second opinion"):
        looks = {x.id: x for x in case.looks}
        for said in case.second_opinions:
            draw_said(said, lambda look_id: plain_picture(recorder, looks[look_id]))
        link_to("opinion", "Ask for a second opinion", ask=case.test.id)
        by = name()
        if by and case.looks:
            save_button(
                "Save one file to send, as it stands",
                lambda: _at_once(recorder, case.test.id, by),
                file=f"second-opinion-{case.test.number}.html",
                mime="text/html",
                key=state.key("ask", case.test.id, "at-once"),
                share=True,
            )


def _at_once(recorder: Recorder, test_id: str, by: str) -> bytes:
    asked = ask_at_once(recorder.store, recorder.photos, test_id, at=recorder.now(), by=by)
    return question_file(recorder.store, asked.said.id)


def draw_said(said: SecondOpinion, picture_of: Callable[[str], bytes]) -> None:
    """One second opinion, with its marks on the photos; `picture_of` gives a look's photo as JPEG."""
    blind = "after seeing other verdicts" if said.saw_machine else "before seeing any other verdict"
    with st.container(border=True, key=f"second-{said.id}"):
        st.markdown(f"**{say_word(said.word)}** · {plain(name_of(said))}: “{plain(said.reason)}”")
        st.caption(f"{clock(said.at)} · given {blind}")
        if vouched := say_standing(said):
            (st.caption if said.vouched else st.warning)(plain(vouched))
        numbered = list(enumerate(said.marks, 1))
        for look_id in dict.fromkeys(m.look_id for m in said.marks):
            on = [(n, m.across_fraction, m.down_fraction) for n, m in numbered if m.look_id == look_id]
            words = ", ".join(f"{n}: {m.words}" for n, m in numbered if m.look_id == look_id)
            st.image(draw_marks(picture_of(look_id), on), width=320, alt=f"The jar with marks. {words}")
        for n, mark in numbered:
            st.markdown(f"Mark {n}: {plain(mark.words) or 'no words'}")
        if said.changed_since:
            st.warning(plain(said.changed_since))
