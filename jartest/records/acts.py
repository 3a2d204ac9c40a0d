"""What people did with the jar of a test, in the terms in which a verdict weighs it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from jartest.plan.solids import InJar, PossibleBed, possible_bed
from jartest.records.model import Case, KeptReading, Observation, Product, TestPlan
from jartest.verdict.acts import Seen
from jartest.verdict.limits import Limits

__all__ = ["bed_of", "seen_in", "stood_readings", "stood_since_turned"]

_POURS = ("not tried", "clean", "rinses off", "stays on")  # the later in this list, the worse
_BOTTOMS = ("not looked", "clean", "film", "bed")


def bed_of(plan: TestPlan, limits: Limits) -> PossibleBed | None:
    """How much of a planned mixture could settle; None where no products are planned."""
    if not plan.products:
        return None
    return possible_bed([_in_jar(p, plan) for p in plan.products], plan.jar.volume_ml, limits.packing)


def _in_jar(product: Product, plan: TestPlan) -> InJar:
    key = (" ".join(product.name.split()).casefold(), " ".join(product.maker.split()).casefold())
    of_tank = plan.recipe.products if plan.recipe else ()
    shelf = next((p.product for p in of_tank if p.product.key == key), None)
    return InJar(
        name=product.name,
        formulation=product.formulation or (shelf.formulation if shelf else ""),
        kind=shelf.kind if shelf else "",
        contains=shelf.contains if shelf else (),
        ml=product.amount_ml,
        g=product.amount_g,
    )


def _turned_at(case: Case) -> list[datetime]:
    """When the jar was turned over or poured, in order."""
    done = [o for o in case.standing_observations() if (o.remix, o.screen_pour) != ("not tried",) * 2]
    return sorted(o.at for o in done)


def stood_since_turned(case: Case, at: datetime) -> float | None:
    """How long the jar had stood at a time since it was last turned over or poured, in s; None where it never was."""
    mixed = case.mixed_at
    before = [t for t in _turned_at(case) if t < at and (mixed is None or t > mixed)]
    return (at - before[-1]).total_seconds() if before else None


def stood_readings(case: Case) -> tuple[tuple[float, KeptReading], ...]:
    """The reading that counts of each look after mixing, with how long the jar had stood by then, in s.

    What parts begins anew when the jar is turned over, so a speed goes by this and not by the age of the look.
    """
    found = []
    for look in case.looks:
        kept = case.latest_reading(look.id)
        if kept is not None and look.age_s is not None:
            stood = stood_since_turned(case, look.taken_at)
            found.append((look.age_s if stood is None else stood, kept))
    return tuple(sorted(found, key=lambda x: x[0]))


def seen_in(case: Case) -> Seen:
    """All signs that stand, and what counts of turning over, pouring, running and the look from below.

    Of turning over and of running the last word counts.  Of pours it is the last one through a strainer no
    coarser than those before, or a worse one.  Of looks from below the worst counts.
    """
    standing = case.standing_observations()
    ticked = {s: _age(case, o.at) for o in standing for s in o.signs}
    remix = next((o for o in reversed(standing) if o.remix != "not tried"), None)
    runs = next((o for o in reversed(standing) if o.runs != "not tried"), None)
    pour = _pour_that_counts([o for o in standing if o.screen_pour != "not tried"])
    bottom = max(
        (o for o in standing if o.bottom != "not looked"),
        key=lambda o: (_BOTTOMS.index(o.bottom), _stood(case, o) or 0.0),
        default=None,
    )
    return Seen(
        signs=tuple(ticked),
        sign_ages={s: age for s, age in ticked.items() if age is not None},
        remix=remix.remix if remix else "not tried",
        remix_age_s=_age(case, remix.at) if remix else None,
        screen_pour=pour.screen_pour if pour else "not tried",
        screen_mesh=pour.screen_mesh if pour else None,
        pour_age_s=_age(case, pour.at) if pour else None,
        runs=runs.runs if runs else "not tried",
        runs_age_s=_age(case, runs.at) if runs else None,
        bottom=bottom.bottom if bottom else "not looked",
        bottom_age_s=_age(case, bottom.at) if bottom else None,
        bottom_stood_s=_stood(case, bottom) if bottom else None,
    )


def _pour_that_counts(pours: Sequence[Observation]) -> Observation | None:
    kept: Observation | None = None
    for p in pours:
        worse = kept is not None and _POURS.index(p.screen_pour) > _POURS.index(kept.screen_pour)
        if kept is None or worse or (p.screen_mesh or 0) >= (kept.screen_mesh or 0):
            kept = p
    return kept


def _age(case: Case, at: datetime) -> float | None:
    mixed = case.mixed_at
    return None if mixed is None else (at - mixed).total_seconds()


def _stood(case: Case, o: Observation) -> float | None:
    turned = stood_since_turned(case, o.at)
    return _age(case, o.at) if turned is None else turned
