"""The page in a parcel: whole in itself, without script, every word of the record escaped."""

from __future__ import annotations

import base64
import html
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from jartest.exchange.words import (
    CAUTIONS,
    amount_of,
    products_in,
    rate_of,
    say_look,
    say_observation,
    say_product,
    say_tank,
    say_time,
    say_water,
)
from jartest.records.done import departures_of
from jartest.records.model import Case
from jartest.records.plain_words import bare

if TYPE_CHECKING:
    from jartest.exchange.manifest import Question

__all__ = ["PAGE_HEAD", "escape", "question_body", "question_page"]

_STYLE = """
body{font:17px/1.5 system-ui,sans-serif;max-width:56rem;margin:0 auto;padding:1rem;color:#111;background:#fff}
h1{font-size:1.5rem}h2{font-size:1.15rem;margin-top:2rem;border-bottom:2px solid #111}
table{border-collapse:collapse;width:100%}td,th{border:1px solid #666;padding:.35rem .5rem;text-align:left;vertical-align:top}
figure{margin:1rem 0}img{max-width:100%;display:block}
.ask{border:3px solid #111;padding:.75rem 1rem;font-size:1.15rem;white-space:pre-wrap}.words{white-space:pre-wrap}
"""


def escape(text: str) -> str:
    """Words of others as text of a page: nothing in them is markup, turns the direction of writing, or is unseen."""
    return html.escape(bare(text))


# Even if a word slipped through unescaped, the page may load and run nothing.
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; form-action 'none'; base-uri 'none'"

# How every page begins; a page in a parcel that begins otherwise is none of ours.
PAGE_HEAD = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8">'
    f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
)


def question_page(question: Question, jpegs: Mapping[str, bytes]) -> str:
    """The page of a question: photos, recipe and what was seen, and no verdict of anyone.

    Parameters
    ----------
    jpegs : mapping
        A small JPEG of each photo by the photo's sha256.
    """
    case = question.case
    asked = f"Asked by {question.asked_by or 'somebody'}" + (
        f" of {question.asked_of}" if question.asked_of else ""
    )
    left = "; names and places are left out" if question.left_out else ""
    body = [
        f"<h1>Second opinion wanted: {escape(case.test.plan.title)}</h1>",
        f"<p>{escape(asked)}, {escape(say_time(question.made_at, case.test))}{left}.</p>",
        f'<p class="ask">{escape(question.words or "What do you make of it?")}</p>',
        "<p>No verdict stands on this page, so that yours is your own: pass, watch or fail, and why. To answer, "
        "open this parcel in jartest under <b>Second opinion</b>, or write back to whoever sent it.</p>",
        *_recipe(case),
        *_photos(case, jpegs),
        *_seen(case),
        *_cautions(),
        f"<p>Question {escape(question.id)}, about test {escape(case.test.id)}.</p>",
    ]
    return _page(f"Second opinion wanted: {case.test.plan.title}", body)


def question_body(question: Question, sources: Mapping[str, str]) -> str:
    """What a question's page shows of it, as a `main` element: the question, photos, recipe, cautions.

    Parameters
    ----------
    sources : mapping
        The address of each photo, with its bytes in it, by the photo's sha256.
    """
    case = question.case
    asked = f"Asked by {question.asked_by or 'somebody'}" + (
        f" of {question.asked_of}" if question.asked_of else ""
    )
    left = "; names and places are left out" if question.left_out else ""
    figures = []
    for n, look in enumerate(case.looks, 1):
        says = f"{say_look(look, case)}, {say_time(look.taken_at, case.test)}"
        figures.append(
            f'<figure data-look="{look.id}"><figcaption>{n} · {escape(says)}</figcaption><div class="frame"><div class="on">'
            f'<img alt="The jar {escape(says)}" src="{sources[look.photo.sha256]}"></div></div></figure>'
        )
    body = [
        f"<h1>Second opinion wanted: {escape(case.test.plan.title)}</h1>",
        f"<p>{escape(asked)}, {escape(say_time(question.made_at, case.test))}{left}.</p>",
        f'<p class="ask">{escape(question.words or "What do you make of it?")}</p>',
        "<p>This page is all you need: nothing to install, no account, and nothing leaves your device until you send "
        "your answer. It does not say what anybody else thinks of this jar, so that your verdict is your own.</p>",
        "<h2>Photos</h2>" if figures else "<p>There is no photo with it.</p>",
        *figures,
        *_recipe(case),
        "<p><b>Physical mixing only:</b> how a jar looks says nothing of whether the mixture works or harms a crop. "
        "The label is the law.</p>",
        "<details><summary>All cautions</summary>",
        *_cautions()[1:],
        "</details>",
    ]
    return "<main>\n" + "\n".join(body) + "\n</main>"


def _page(title: str, body: Iterable[str]) -> str:
    head = (
        f'{PAGE_HEAD}<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head><body><main>\n"
    )
    return head + "\n".join(body) + "\n</main></body></html>\n"


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    lines = ["<tr>" + "".join(f'<th scope="col">{escape(h)}</th>' for h in heads) + "</tr>"]
    lines += ["<tr>" + "".join(f'<td class="words">{escape(c)}</td>' for c in row) + "</tr>" for row in rows]
    return ["<table>", *lines, "</table>"]


def _recipe(case: Case) -> list[str]:
    plan = case.test.plan
    how, products = products_in(case)
    rows = [
        (str(n), say_product(p), *([rate_of(p, case)] if plan.recipe else []), amount_of(p))
        for n, p in products
    ]
    heads = ("no.", "product", *(["rate, as read"] if plan.recipe else []), "in the jar")
    jar = f"{plan.jar.name}, {plan.jar.volume_ml:.0f} mL"
    said_jar = f"Jar: {jar}." if plan.jar.name else "The jar was not named."
    water = f"<p>{escape(f'Water: {say_water(case)}. {said_jar}')}</p>"
    if not rows:
        return ["<h2>Recipe</h2>", "<p>Nothing of the recipe is written.</p>", water]
    notes = [f'<p class="words">{escape(plan.notes)}</p>'] if plan.notes else []
    tank = [f"<p>{escape(say_tank(case))}</p>"] if plan.recipe else []
    otherwise = [f"<p>Done otherwise than advised: {escape(says)}</p>" for says in departures_of(case)]
    return [
        f"<h2>Recipe, {how}</h2>",
        *tank,
        water,
        *_table(heads, rows),
        *otherwise,
        *notes,
    ]


def _photos(case: Case, jpegs: Mapping[str, bytes]) -> list[str]:
    out = ["<h2>Photos</h2>"]
    for look in case.looks:
        says = f"{say_look(look, case)}, {say_time(look.taken_at, case.test)}"
        picture = base64.b64encode(jpegs[look.photo.sha256]).decode()
        words = [says, *([look.note] if look.note else [])]
        out.append(
            f'<figure><img alt="The jar {escape(says)}" src="data:image/jpeg;base64,{picture}">'
            f'<figcaption class="words">{escape(chr(10).join(words))}</figcaption></figure>'
        )
    return out


def _seen(case: Case) -> list[str]:
    rows = [(say_time(o.at, case.test), o.by, say_observation(o)) for o in case.standing_observations()]
    if not rows:
        return []
    return ["<h2>What was seen</h2>", *_table(("when", "by", "what"), rows)]


def _cautions() -> list[str]:
    return ["<h2>Cautions</h2>", "<ul>", *(f"<li>{escape(c)}</li>" for c in CAUTIONS), "</ul>"]
