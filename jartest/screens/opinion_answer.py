"""A question to answer: photos and recipe first; the others' verdicts only after one's own is recorded."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import streamlit as st

from jartest.exchange.answer import answer_parcel, give_second_opinion, may_see, question_in, question_of
from jartest.exchange.manifest import Question
from jartest.exchange.parcel import Parcel, overlay_in, plain_in
from jartest.exchange.words import (
    amount_of,
    products_in,
    rate_of,
    say_look,
    say_observation,
    say_product,
    say_tank,
    say_water,
)
from jartest.recorder import Recorder
from jartest.records.done import departures_of
from jartest.records.model import Case, Look, ParcelRow, PhotoMark, SecondOpinion
from jartest.screens import state
from jartest.screens.look_part import draw_figures, say_flags
from jartest.screens.mark_setter import mark_setter
from jartest.screens.opinion_ask import draw_said
from jartest.screens.parts import SHAPES, clock, error_box, link_to, plain, say_word, show_plate, show_reasons
from jartest.screens.save_button import save_button
from jartest.screens.who import name
from jartest.settings import own_key, read_settings
from jartest.verdict.values import Verdict, Word
from jartest.verdict.words import say_signed

__all__ = ["draw_question"]

_Draft = tuple[str, float, float]  # look, across, down


def draw_question(recorder: Recorder, question_id: str) -> None:
    """One question: blind until whoever works here has recorded their own verdict, then open."""
    row = recorder.store.parcel(question_id)
    parcel = question_in(recorder.store, question_id)
    case = question_of(parcel).case
    said = recorder.store.second_opinions(question_id)
    who = " of " + plain(row.asked_of) if row.asked_of else ""
    st.markdown(f"### {plain(row.title)}")
    st.caption(f"Asked by {plain(row.by) or 'somebody'}{who}, {clock(row.made_at, case.test)}")
    if row.words:
        st.info(plain(row.words), icon=":material/help:")
    seen = bool(name()) and may_see(said, name())
    left, right = st.columns([3, 2], gap="large")
    with left:
        if seen:
            _draw_open_photos(parcel, case)
        else:
            _draw_blind_photos(parcel, case, question_id)
    with right:
        if seen:
            _draw_others(parcel, case, said, foreign=row.direction == "received")
            _draw_send(recorder, row)
        _draw_recipe(case)
        _draw_own(recorder, question_id, again=seen)


# ------------------------------------------------------------------- what is known
def _draw_recipe(case: Case) -> None:
    plan = case.test.plan
    how, products = products_in(case)
    st.markdown(f"#### Recipe, {how}")
    lines = []
    for n, p in products:
        rate = f" ({plain(rate_of(p, case))})" if plan.recipe else ""
        lines.append(f"- {n} · {plain(say_product(p))}: {plain(amount_of(p))}{rate}")
    st.markdown("\n".join(lines) or "Not written down.")
    if plan.recipe:
        st.markdown(plain(say_tank(case)))
    for says in departures_of(case):
        st.markdown(f"Done otherwise than advised: {plain(says)}")
    jar = f"Jar: {plan.jar.name}, {plan.jar.volume_ml:.0f} mL." if plan.jar.name else "The jar was not named."
    st.caption(plain(f"Water: {say_water(case)}. {jar}"))
    if plan.notes:
        st.markdown(plain(plan.notes))
    seen = case.standing_observations()
    if seen:
        st.markdown("#### What was seen")
        st.markdown("\n".join(f"- {plain(o.by)}: {plain(say_observation(o))}" for o in seen))


def _title(look: Look, case: Case) -> str:
    return f"{say_look(look, case)}, {clock(look.taken_at, case.test)}"


# -------------------------------------------------------------------------- blind
def _draft_key(question_id: str) -> str:
    return state.key("answer", question_id, "marks")


def _draw_blind_photos(parcel: Parcel, case: Case, question_id: str) -> None:
    drafts: list[_Draft] = list(state.get(_draft_key(question_id), []))
    st.caption("Tap a place on a photo to mark it.")
    for look in case.looks:
        st.markdown(f"**{plain(_title(look, case))}**")
        on = [(n, x, y) for n, (of, x, y) in enumerate(drafts, 1) if of == look.id]
        jpeg = _plain(question_id, look.photo.sha256, _parcel=parcel)
        with error_box():
            place = mark_setter(
                jpeg,
                f"The jar {_title(look, case)}; tap a place to mark it",
                on,
                key=state.key("answer", question_id, "photo", look.id),
            )
            if place is not None:
                state.put(_draft_key(question_id), [*drafts, (look.id, *place)])
                st.rerun()
        if look.note:
            st.caption(plain(look.note))


def _draw_own(recorder: Recorder, question_id: str, *, again: bool) -> None:
    """The reviewer's own verdict; nothing of the others' stands beside it the first time."""

    def field(part: str) -> str:
        return state.key("answer", question_id, part, "again" if again else "first")

    if again:
        st.markdown("#### More to say, now that you have seen them?")
    else:
        st.markdown("#### Your verdict, before you see the others'")
    word: Word | None = st.radio(
        "Your verdict", get_args(Word), index=None, key=field("word"), format_func=say_word, horizontal=True
    )
    reason = st.text_area("Why, in a sentence", key=field("reason"), max_chars=2000)
    drafts: list[_Draft] = list(state.get(_draft_key(question_id), []))
    marks = []
    for n, (look_id, across, down) in enumerate(drafts, 1):
        says = st.text_input(f"Mark {n}", key=field(f"mark{n}"), max_chars=200)
        marks.append(
            PhotoMark(look_id=look_id, across_fraction=across, down_fraction=down, words=says.strip())
        )
    if drafts and st.button("Take the last mark away", key=field("unmark")):
        state.put(_draft_key(question_id), drafts[:-1])
        st.rerun()
    has_seen = False if again else st.checkbox("I had seen another verdict on this before", key=field("seen"))
    label = "Add this" if again else "Record mine, then show the others'"
    if st.button(label, key=field("record"), type="primary", width="stretch"):
        with error_box():
            if word is None:
                st.error("Choose pass, watch or fail first.", icon=":material/block:")
                return
            give_second_opinion(
                recorder.store,
                question_id,
                opinion_id=recorder.fresh_id(),
                at=recorder.now(),
                by=name(),
                word=word,
                reason=reason,
                marks=marks,
                has_seen=has_seen,
            )
            state.clear("answer", question_id)
            st.rerun()


# --------------------------------------------------------------------------- open
def _draw_open_photos(parcel: Parcel, case: Case) -> None:
    for look in case.looks:
        st.markdown(f"**{plain(_title(look, case))}**")
        kept = case.latest_reading(look.id)
        if kept is None:
            st.image(
                _plain(parcel.said.id, look.photo.sha256, _parcel=parcel), width="stretch", alt="The jar"
            )
            continue
        jpeg = overlay_in(parcel, kept.reading)
        st.image(
            jpeg, width="stretch", alt=f"The jar {_title(look, case)}, with the measurements drawn on it"
        )
        draw_figures(kept.reading)
        say_flags(kept.reading)


def _draw_others(parcel: Parcel, case: Case, said: tuple[SecondOpinion, ...], *, foreign: bool) -> None:
    machine = case.verdicts[-1].verdict if case.verdicts else None
    st.markdown("#### The others")
    if isinstance(parcel.said, Question) and parcel.said.page_sha256 is not None:
        st.caption(
            "What the asker and the program think stayed with the asker, who compares it with your answer."
        )
    else:
        _draw_askers(case, machine)
    st.markdown("#### Second opinions")
    photos = {x.id: x.photo.sha256 for x in case.looks}
    told = case.second_opinions
    if foreign:  # told by the asker: nothing here vouches for it
        told = tuple(replace(s, answer_id=s.answer_id or s.id, signed_with="", key_name="") for s in told)
    for one in (*told, *said):
        draw_said(one, lambda look_id: _plain(parcel.said.id, photos[look_id], _parcel=parcel))


def _draw_askers(case: Case, machine: Verdict | None) -> None:
    show_plate(
        machine.word if machine else None,
        "the program, where it was asked",
        place="asked-machine",
        verdict=machine,
    )
    if machine is not None:
        show_reasons(machine)
    if (signed := case.signature) is not None:
        then = case.signed_over
        said_word = say_signed(signed.word, then.age_s if then else None, then.word if then else None)
        st.markdown(f"{SHAPES[signed.word]} **signed {said_word}** · {plain(signed.by)}")
    for opinion in case.opinions:
        why = f": “{plain(opinion.reason)}”" if opinion.reason else ""
        st.markdown(f"{SHAPES[opinion.word]} **{opinion.word}** · {plain(opinion.by)}{why}")


def _draw_send(recorder: Recorder, row: ParcelRow) -> None:
    if row.direction == "sent":
        if row.test_id is not None:
            link_to("test", "It is with its test now", id=row.test_id)
        return
    save_button(
        "Save the answer, to send it back",
        lambda: _signed_answer(recorder, row.id),
        file=f"answer-{row.id[:8]}.txt",
        mime="text/plain",
        key=state.key("answer", row.id, "save"),
        main=True,
        share=True,
    )


def _signed_answer(recorder: Recorder, question_id: str) -> bytes:
    key = own_key(read_settings())
    return answer_parcel(recorder.store, question_id, at=recorder.now(), key=key).data


@st.cache_data(max_entries=32, show_spinner=False)
def _plain(question_id: str, photo_sha256: str, *, _parcel: Parcel) -> bytes:
    return plain_in(_parcel, photo_sha256, width_px=1000)
