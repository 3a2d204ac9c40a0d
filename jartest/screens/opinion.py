"""Second opinion: what waits for whom, what comes in, whose signatures are known, and the answer: blind, then open."""

from __future__ import annotations

import streamlit as st

from jartest.exchange.answer import InboxLine, Waiting, inbox, receive
from jartest.exchange.answer_file import LONGEST
from jartest.recorder import Recorder
from jartest.records.said import name_of
from jartest.screens import state
from jartest.screens.opinion_answer import draw_question
from jartest.screens.opinion_ask import draw_ask
from jartest.screens.opinion_keys import draw_keys
from jartest.screens.parts import clock, error_box, link_to, plain
from jartest.screens.uploads import forget_upload
from jartest.screens.who import ask_name

__all__ = ["render"]

_HEADS: dict[Waiting, str] = {
    "for an answer here": "Waits for an answer here",
    "to be sent back": "Answered here; send it back",
    "for an answer from outside": "Asked here; waits for an answer",
    "answered": "Answered",
}
_SAID = state.key("opinion", "said")
_TURN = state.key("opinion", "turn")


def render(recorder: Recorder) -> None:
    """Draw the question that the address names, the asking about a test, or the inbox."""
    st.markdown("## Second opinion")
    ask_name(recorder)
    question_id, test_id = (str(st.query_params.get(n, "")) for n in ("id", "ask"))
    with error_box() as box:
        if question_id:
            draw_question(recorder, question_id)
        elif test_id:
            draw_ask(recorder, test_id)
        else:
            _draw_inbox(recorder)
    if box.error or question_id or test_id:
        link_to("opinion", "All second opinions")


def _draw_inbox(recorder: Recorder) -> None:
    _draw_receive(recorder)
    lines = inbox(recorder.store)
    if not lines:
        draw_keys(recorder)
        st.markdown(
            "Nothing was asked yet. To ask about a jar, open its test, or one photo, and choose "
            "**Ask for a second opinion**: one file goes out, and the answer comes back as one."
        )
        link_to("tests", "All tests")
        link_to("photo", "One photo")
        return
    for waits, head in _HEADS.items():
        some = [x for x in lines if x.waits == waits]
        if some:
            st.markdown(f"### {head} ({len(some)})")
            for line in some:
                _draw_line(line)
    draw_keys(recorder)


def _draw_line(line: InboxLine) -> None:
    """One question; who has answered is said, and never what, so that the next one stays blind."""
    q = line.question
    with st.container(border=True, key=f"opinion-line-{q.id}"):
        said = [f"from {plain(q.by)}" if q.by else "from somebody", clock(q.made_at)]
        said += [f"asked of {plain(q.asked_of)}"] if q.asked_of else []
        names = dict.fromkeys(plain(name_of(s)) for s in line.said)
        said += [f"answered by {', '.join(names)}"] if names else []
        st.markdown(f"**{plain(q.title)}** · {plain(q.words)}" if q.words else f"**{plain(q.title)}**")
        st.caption(" · ".join(said))
        link_to("opinion", f"Open “{plain(q.title[:60])}”", id=q.id)


def _draw_receive(recorder: Recorder) -> None:
    said = state.get(_SAID)
    if said:
        st.info(plain(said), icon=":material/inbox:")
    turn = state.get(_TURN, 0)
    file = st.file_uploader(
        "Take in a question or an answer that came by mail or messenger",
        type=["html", "htm", "txt", "zip"],
        key=state.key("opinion", "parcel", turn),
    )
    if file is not None:
        data = file.getvalue()
        forget_upload(file)
        _take_in(recorder, data)
    with st.expander("An answer came as text"):
        pasted = st.text_area("Paste all of it", key=state.key("opinion", "pasted", turn), max_chars=LONGEST)
        if st.button("Take the answer in", key=state.key("opinion", "take"), width="stretch"):
            _take_in(recorder, pasted.encode(errors="replace"))


def _take_in(recorder: Recorder, data: bytes) -> None:
    state.put(_SAID, None)
    with error_box() as box:
        with st.spinner("Reading …"):
            got = receive(recorder.store, data, at=recorder.now())
        state.put(_SAID, got.says)
    if not box.error:
        state.put(_TURN, int(state.get(_TURN, 0)) + 1)
        st.rerun()
