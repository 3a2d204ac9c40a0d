"""The crew's tank card: made of a signed test, held against today, and ended."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from jartest.errors import BadEntry
from jartest.plan.card_ground import Ground, Ran
from jartest.plan.card_state import CardState, card_state
from jartest.plan.products import ShelfProduct
from jartest.plan.recipe import make_recipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest
from jartest.plan.tankcard import LapseRules, make_tank_card
from jartest.recorder import Recorder, checked_name
from jartest.records.acts import seen_in
from jartest.records.done import done_of
from jartest.records.model import Case, Signature, TestPlan
from jartest.records.tank_model import CardLapse, KeptCard
from jartest.tank.recipes import failed_before
from jartest.tank.standing import readable, standing_of
from jartest.verdict.acts import Seen
from jartest.verdict.values import Word

__all__ = ["as_on_shelf", "card_now", "end_card", "ground_of", "make_card", "signed_word"]

_HAZARDS = ("heat", "gas")  # signs after which no word of anybody makes a card


def make_card(
    recorder: Recorder,
    test_id: str,
    *,
    by: str,
    condition: str = "",
    rules: LapseRules | None = None,
    tank_depth_in: float | None = None,
    tank_c: float | None = None,
) -> KeptCard:
    """The tank card of a signed test, in the order in which its jar was mixed; a test has one card.

    Parameters
    ----------
    condition
        On what condition it holds; a watch must have one.
    tank_depth_in
        Depth of the liquid in the tank in inches, for how long it may stand; None leaves that out.
    tank_c
        Temperature of the tank's water in degrees Celsius; None where it is not known.

    Raises
    ------
    BadEntry
        If the test does not allow a card: not signed, no pass or watch, stopped, heat or gas was seen,
        mixed without a tank recipe, or not every product went in.
    """
    made = recorder.store.cards(test_id)
    if made:
        return made[0]
    case = recorder.case(test_id)
    signature, plan = _signed_plan(case)
    request = plan.recipe
    if request is None:
        msg = f"Test {case.test.number} has amounts for the jar alone: start from a tank recipe to get a tank card."
        raise BadEntry(msg)
    done = done_of(case, plan)
    if len(done) != len(plan.products) or case.mixed_at is None:
        msg = (
            f"In test {case.test.number} {len(done)} of {len(plan.products)} products were ticked in"
            f"{'' if case.mixed_at else ' and mixing was never done'}: a jar that was not mixed whole allows no tank."
        )
        raise BadEntry(msg)
    failed = failed_before(recorder, [p.product for p in request.products])
    stand_s, stand_says = standing_of(case, tank_depth_in, jar_c=plan.water.temperature_c, tank_c=tank_c)
    card = make_tank_card(
        make_recipe(request, failed=failed, by_hand=done),
        test_id=test_id,
        test_number=case.test.number,
        title=f"{'SAMPLE, INVENTED: ' if case.test.sample else ''}{plan.title}",
        word=signature.word,
        condition=condition,
        signed_by=signature.by,
        signed_at=signature.at,
        stand_s=stand_s,
        stand_says=stand_says,
        stand_c=plan.water.temperature_c if tank_c is None else tank_c,
        ground=ground_of(recorder, case),
        rules=rules,
    )
    kept = KeptCard(
        id=recorder.fresh_id(),
        test_id=test_id,
        signature_id=signature.id,
        at=recorder.now(),
        by=checked_name(by),
        card=card,
    )
    recorder.store.add_card(kept)
    return kept


def _signed_plan(case: Case) -> tuple[Signature, TestPlan]:
    """The signature and the plan that was signed, once nothing stands in the way of a card."""
    number = case.test.number
    if case.signature is None:
        msg = f"Test {number} is not signed: sign it before making a tank card."
        raise BadEntry(msg)
    if any(e.kind == "stopped" for e in case.events):
        msg = f"Test {number} was stopped because something went wrong: it can never make a tank card."
        raise BadEntry(msg)
    seen = {s for o in case.standing_observations() for s in o.signs}
    if hazard := seen & set(_HAZARDS):
        msg = f"In test {number} {' and '.join(sorted(hazard))} was seen: it can never make a tank card."
        raise BadEntry(msg)
    revision = case.signature.revision
    return case.signature, next(r.plan for r in case.revisions if r.revision == revision)


def signed_word(case: Case) -> Word | None:
    """The word that was signed; None where nobody has signed."""
    return case.signature.word if case.signature else None


def _standing_word(case: Case, kept: KeptCard) -> str | None:
    """The word that stands now, where it is another than the card's signature gave it; None where it is not."""
    signature = case.signature
    if signature is None:  # a card is only ever made of a signed test
        return "none"
    signed = next((n for n, o in enumerate(case.opinions, start=1) if o.id == signature.opinion_id), 0)
    if len(case.opinions) > signed:
        return case.opinions[-1].word
    if any(s.word == "fail" for s in case.signatures):  # one that was set aside still says what somebody saw
        return "fail"
    last = case.verdicts[-1] if case.verdicts else None
    if last is None or last.id == signature.verdict_id:
        return None if kept.signature_id == signature.id else signature.word
    return last.verdict.word or "none"


def ground_of(recorder: Recorder, case: Case) -> Ground:
    """What the signed word rests on: how long the jar was watched, how it ran, and what the machine said.

    Raises
    ------
    BadEntry
        If nobody has signed.
    """
    if case.signature is None:
        msg = f"Test {case.test.number} is not signed: sign it before making a tank card."
        raise BadEntry(msg)
    machine = case.signed_over
    worst = machine.reasons[0].says if machine and machine.reasons else ""
    seen = seen_in(case)
    return Ground(
        word_age_s=machine.age_s if machine else None,
        watched_s=max((stood for stood, _ in readable(case)), default=None),
        enough_s=recorder.limits.pass_age_s,
        machine=(machine.word or "") if machine else "",
        machine_says=worst,
        reason=case.signature.reason,
        ran=_ran(seen, strained=bool(machine and machine.strained)),
        mesh=seen.screen_mesh,
    )


def _ran(seen: Seen, *, strained: bool) -> Ran:
    """How it ran, by the worst that was seen of it."""
    if seen.runs == "thick":
        return "thick"
    if seen.screen_pour in ("stays on", "rinses off"):
        return "residue stays on" if seen.screen_pour == "stays on" else "residue rinses off"
    if strained:
        return "strained"
    if seen.screen_pour == "clean":
        return "not counted"
    return "like water" if seen.runs == "like water" else "not seen"


def card_now(recorder: Recorder, kept: KeptCard, today: RecipeRequest | None = None) -> CardState:
    """Whether a card holds now: for what stands on the shelf, or for what is to be mixed `today`."""
    case = recorder.case(kept.test_id)
    if today is None:
        today = as_on_shelf(recorder, case, kept)
    state = card_state(kept.card, now=recorder.now(), today=today, standing_word=_standing_word(case, kept))
    offset = timedelta(minutes=case.test.utc_offset_min)
    said = tuple(
        f"{lapse.by} wrote on {lapse.at + offset:%Y-%m-%d}: {reason}"
        for lapse in kept.lapses
        for reason in lapse.reasons
    )
    return CardState(lapsed=state.lapsed or bool(said), reasons=(*said, *state.reasons), notes=state.notes)


def as_on_shelf(recorder: Recorder, case: Case, kept: KeptCard) -> RecipeRequest:
    """The card's recipe with each product as the shelf has it today: of another maker where the tested one is gone."""
    request = next(
        r.plan.recipe
        for r in case.revisions
        if r.revision == next(s.revision for s in case.signatures if s.id == kept.signature_id)
    )
    if request is None:  # a card is only ever made of a plan with a recipe
        msg = f"Test {case.test.number} has no tank recipe any more."
        raise BadEntry(msg)
    standing: dict[str, list[ShelfProduct]] = {}
    for entry in recorder.store.shelf_products():
        if not entry.retired:
            standing.setdefault(entry.product.key[0], []).append(entry.product)
    return replace(request, products=tuple(_as_on_shelf(p, standing) for p in request.products))


def _as_on_shelf(tested: RecipeProduct, standing: dict[str, list[ShelfProduct]]) -> RecipeProduct:
    same_name = standing.get(tested.product.key[0], [])
    same = next((p for p in same_name if p.key == tested.product.key), None)
    now = same or (same_name[0] if same_name else None)
    if now is None:
        return tested
    lot = now.lot or tested.product.lot
    return replace(
        tested, product=replace(tested.product, maker=now.maker, formulation=now.formulation, lot=lot)
    )


def end_card(recorder: Recorder, kept: KeptCard, reasons: Sequence[str], *, by: str) -> None:
    """Keep that a card no longer holds, for these reasons; a new test makes a new card.

    Raises
    ------
    BadEntry
        If no reason is given.
    """
    said = tuple(r.strip() for r in reasons if r.strip())
    if not said:
        msg = "A card ends for a reason: write what has changed."
        raise BadEntry(msg)
    lapse = CardLapse(
        id=recorder.fresh_id(), card_id=kept.id, at=recorder.now(), by=checked_name(by), reasons=said
    )
    recorder.store.add_card_lapse(lapse)
