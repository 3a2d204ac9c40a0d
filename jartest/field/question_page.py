"""The question that a photo leaves open, asked on the phone that sent it and answered by one tap."""

from __future__ import annotations

from base64 import b64encode
from urllib.parse import parse_qs

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import Response

from jartest.errors import BadEntry, NotFound
from jartest.field.pages import plain_page, say
from jartest.recorder import LookTaken, Recorder, say_slot
from jartest.records.model import Case
from jartest.verdict.question import question_of

__all__ = ["ANSWER_TYPE", "PICTURE", "asked_html", "take_answer"]

ANSWER_TYPE = "application/x-www-form-urlencoded"
PICTURE = {  # a page's headers where it shows the picture that is asked about
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'self'; "
    "frame-ancestors 'none'; base-uri 'none'"
}
_MOST = 2000  # bytes of an answer; more is none (our choice)
_WIDE = 480  # px of the picture: a phone's width, few bytes


def asked_html(recorder: Recorder, taken: LookTaken) -> str:
    """The question with its picture and a button for each answer; nothing where the photo leaves none open."""
    question = question_of(taken.reading.reading, recorder.limits)
    if question is None:
        return ""
    picture = b64encode(recorder.overlay(taken.look, taken.reading.reading, width_px=_WIDE)).decode()
    buttons = "".join(
        f'<button name="answer" value="{say(a.key)}">{say(a.says)}</button>' for a in question.answers
    )
    return (
        f'<img style="width:100%" alt="The photo with the measurements drawn on it" src="data:image/jpeg;base64,{picture}">'
        f'<form method="post"><p><b>{say(question.says)}</b></p>'
        f'<input type="hidden" name="look" value="{say(taken.look.id)}">'
        f'<input type="hidden" name="reading" value="{say(taken.reading.id)}">'
        f'<input type="hidden" name="by" value="{say(taken.look.by)}">{buttons}</form>'
        f"<p>{say(question.hint)} If none of them is right, leave it: the lines are set on the test's own screen.</p>"
    )


async def take_answer(recorder: Recorder, case: Case, request: Request) -> Response:
    """The answer kept as set by hand, and what was read anew.

    Raises
    ------
    BadEntry
        If it is no answer.
    NotFound
        If its look is none of this jar's.
    Conflict
        If the photo was read again since it was asked about.
    """
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > _MOST:
            raise BadEntry("What came is too long for an answer; tap one of the buttons.")
    said = {k: v[0] for k, v in parse_qs(body.decode("utf-8", "replace")).items()}
    if not {"look", "reading", "answer"} <= set(said):
        raise BadEntry("No photo and no answer came; open the page again and send it from there.")
    look = next((x for x in case.looks if x.id == said.get("look")), None)
    if look is None:
        raise NotFound("That photo is not of this jar; open the page again.")

    def keep() -> str:
        kept = recorder.answer_question(
            look.id, said.get("reading", ""), said.get("answer", ""), by=said.get("by", "")
        )
        # What another tap could still settle is asked at once.
        return asked_html(recorder, LookTaken(look=look, reading=kept))

    asked = await to_thread.run_sync(keep)
    slot = say_slot(look.slot, case.test.plan)
    parts = f"<p><b>Kept: {say(slot)}</b> of jar {case.test.number} is measured with it.</p>{asked}"
    return plain_page(
        "Answer kept", f'{parts}<a class="b" href="?">Next photo of this jar</a>', status=201, headers=PICTURE
    )
