"""Which pair keeps failing, and whether that is the water, the rate, the maker or the pair itself, with the jars."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from jartest.history.before import Past
from jartest.history.causes import NEVER, Cause
from jartest.history.fitted import Fitted
from jartest.history.pairs import PairCell, pair_key
from jartest.history.trials import Trial

__all__ = ["KEEPS", "Jars", "KeepsFailing", "keeps_failing", "say_tests", "suspected"]

_MAKER = re.compile(r" \([^()]*\)$")
KEEPS = 2  # failures from which on something keeps failing (our choice)
_LIKELY = 0.5  # chance from which on a cause is named, or a reason among several (our choice)
_BESIDE = 0.1  # chance from which on a cause is named beside a likelier one of its kind (our choice)
_NAMED = 4  # tests named in a sentence; the others are counted (our choice)

Jars = Sequence[tuple[Past, Trial]]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepsFailing:
    """What keeps failing: the leading cause, how likely one of them is at work, why in a sentence, and the jars.

    `jars` failed while the cause was at work, `others` held the same and did not fail of it; newest first.
    """

    cause: Cause
    chance: float
    says: str
    jars: tuple[Past, ...]
    others: tuple[Past, ...]


def suspected(model: Fitted) -> tuple[tuple[tuple[Cause, float], ...], ...]:
    """What is more likely to blame than not: for each pair or product its causes with chances, likeliest first.

    Causes that differ only in where their condition begins are told as one.
    """
    found: dict[tuple[str, tuple[str, ...]], dict[object, tuple[Cause, float, float]]] = {}
    for cause, chance in zip(model.causes, model.chances, strict=True):
        mine = found.setdefault((cause.kind, cause.products), {})
        lead, total, most = mine.get(cause.name, (cause, 0.0, 0.0))
        mine[cause.name] = (cause if chance > most else lead, total + chance, max(most, chance))
    groups = [
        tuple(sorted(((c, min(t, 1.0)) for c, t, _ in mine.values()), key=lambda x: -x[1]))
        for mine in found.values()
    ]
    return tuple(g for g in groups if sum(p for _, p in g) >= _LIKELY)


def keeps_failing(
    model: Fitted,
    jars_of: Callable[[Cause], Jars],
    cells: Mapping[tuple[str, str], PairCell],
    kind_of: Callable[[str], str],
) -> tuple[KeepsFailing, ...]:
    """What keeps failing, that with most failed jars first.

    Parameters
    ----------
    model : Fitted
        What all tests say together.
    jars_of : callable
        Gives the signed tests that held the products of a cause, newest first.
    cells : mapping
        What is known of each pair, under its two names in the order of the alphabet.
    kind_of : callable
        Tells the kind of a product, to find those of other makers.
    """
    found = []
    for reasons in suspected(model):
        lead = reasons[0][0]
        held = jars_of(lead)
        here = [(p, t) for p, t in held if lead.completed_by(t, dict(model.kind_of)) < NEVER]
        failed = [p for p, _ in here if p.word == "fail"]
        if len(failed) < KEEPS:
            continue
        chance = min(sum(p for _, p in reasons), 1.0)
        why = _why(reasons, here, held, cells, kind_of)
        found.append(
            KeepsFailing(
                cause=lead,
                chance=chance,
                says=f"{lead.who} keeps failing ({_sure(chance)}): {why} ({say_tests(failed)}).",
                jars=tuple(failed),
                others=tuple(p for p, _ in held if p not in failed),
            )
        )
    return tuple(sorted(found, key=lambda k: (-len(k.jars), k.cause.who)))


def _sure(chance: float) -> str:
    return "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def say_tests(pasts: Sequence[Past]) -> str:
    """The newest of these tests by their numbers, the others counted."""
    numbers = ", ".join(str(p.number) for p in pasts[:_NAMED])
    more = f" and {len(pasts) - _NAMED} more" if len(pasts) > _NAMED else ""
    return f"test{'s' if len(pasts) > 1 else ''} {numbers}{more}"


def _why(
    reasons: Sequence[tuple[Cause, float]],
    here: Jars,
    held: Jars,
    cells: Mapping[tuple[str, str], PairCell],
    kind_of: Callable[[str], str],
) -> str:
    lead = reasons[0][0]
    alike = [(c, p) for c, p in reasons if c.when == lead.when and p >= _BESIDE]
    if sum(p for _, p in alike) < _LIKELY:
        listed = ", ".join(f"{c.condition or 'always'} {100 * p:.0f} %" for c, p in reasons[:3])
        return f"{_count(here)} failed, and why is not known yet ({listed})"
    if lead.when == "always":
        return f"{_count(here)} failed; {_itself(lead, here)}{_makers(lead, cells, kind_of)}"
    at = {id(t) for _, t in here}
    away = [(p, t) for p, t in held if id(t) not in at]
    named = {
        "hardness": "it is the water",
        "ph high": "it is the pH of the water",
        "ph low": "it is the pH of the water",
        "rate": "it is the rate",
        "order": "it is the order",
        "season": "something changed, such as the formulation",
        "lot": "it is the lot",
        "cold": "it is the cold",
    }[lead.when]
    rest = f"{_count(away)} failed otherwise" if away else "nothing else was tried"
    when = " or ".join(c.condition for c, _ in alike)
    which = " (which of these is not known)" if len(alike) > 1 else ""
    return f"{named}: {when}{which} {_count(here)} failed, {rest}"


def _count(jars: Jars) -> str:
    failed = sum(p.word == "fail" for p, _ in jars)
    return f"{failed} of {len(jars)} jar{'' if len(jars) == 1 else 's'}"


def _itself(cause: Cause, here: Jars) -> str:
    """That it is no matter of water or rate, as far as its failures came in several of them."""
    failed = [t for p, t in here if p.word == "fail"]
    held = [p for p in cause.products if all(p in t.products for t in failed)]
    water = _span((t.hardness_mg_l for t in failed), "in water of {} mg/L hardness")
    rates = [_span((t.dose_of(p) for t in failed), f"{{}} of {_MAKER.sub('', p)}") for p in held]
    rate = " and ".join(r for r in rates if r)
    said = [x for x in (water, f"at {rate} per liter" if rate else "") if x]
    what = "the product by itself" if cause.kind == "product" else "the pair itself"
    return f"it is {what}, failing {' and '.join(said)}" if said else f"it is {what}, as far as was written"


def _span(values: Iterable[float], says: str) -> str:
    seen = sorted(v for v in values if not math.isnan(v))
    if not seen or f"{seen[0]:.3g}" == f"{seen[-1]:.3g}":
        return ""
    return says.format(f"{seen[0]:.3g} to {seen[-1]:.3g}")


def _makers(cause: Cause, cells: Mapping[tuple[str, str], PairCell], kind_of: Callable[[str], str]) -> str:
    """Whether other makers' products of the same kind fare better."""
    if cause.kind == "kinds":
        return ", and no matter of the maker"
    if cause.kind != "pair":
        return ""
    goes, fails = [], []
    products = {p for pair in cells for p in pair}
    for out, stays in (cause.products, cause.products[::-1]):
        for other in sorted(products - set(cause.products)):
            cell = cells.get(pair_key(other, stays))
            if cell is None or kind_of(other) != kind_of(out):
                continue
            if cell.state in ("goes", "likely goes"):
                goes.append(f"{other} with {stays} {cell.state} ({cell.passed} passed)")
            elif cell.state in ("fails", "likely fails"):
                fails.append(f"{other} with {stays} {cell.state}")
    if goes:
        return f"; it is the maker: {goes[0]}"
    if fails:
        return f"; no matter of the maker: {fails[0]} too"
    return "; no other maker's was tried"
