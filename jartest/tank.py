"""The use cases between tank and jar: the shelf of products, the recipe, and the crew's tank card."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from jartest.errors import BadEntry, Conflict
from jartest.plan.cautions import Caution, FailedPair
from jartest.plan.products import ShelfProduct
from jartest.plan.recipe import JarRecipe, make_recipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest
from jartest.plan.schedule import say_age, say_age_down
from jartest.plan.shelf_csv import RefusedLine, shelf_from_csv
from jartest.plan.tankcard import CardState, LapseRules, card_state, make_tank_card
from jartest.recorder import Recorder, checked_name
from jartest.records.cautioned import cautions_of, shelf_product_of
from jartest.records.done import done_of, places_in
from jartest.records.model import Case, JarTest, JarUsed, Product, Signature, TestPlan, Water
from jartest.records.tank_model import CardLapse, KeptCard, ShelfEntry
from jartest.trend import CurvePoint, Growth, StandingTime, first_to_part, growths
from jartest.units import say_number
from jartest.verdict.values import Word

__all__ = [
    "PARTED_FRACTION",
    "ShelfTaken",
    "as_on_shelf",
    "bring_back",
    "card_now",
    "cautions_of_plan",
    "confirm_product",
    "end_card",
    "failed_before",
    "make_card",
    "new_on_shelf",
    "plan_of_recipe",
    "products_of_plan",
    "read_shelf",
    "recipe_of",
    "retire",
    "save_product",
    "say_standing",
    "signed_word",
    "start_from_recipe",
]

# A tank may stand until this share of it has parted: of its depth cleared, of what falls or rises down or up (our choice).
PARTED_FRACTION = 0.05
_MM_PER_IN = 25.4  # exact: NIST Handbook 44, App. C
_HAZARDS = ("heat", "gas")  # signs after which no word of anybody makes a card


# ------------------------------------------------------------------------ shelf
@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfTaken:
    """What came of a shelf file: products that are new, changed, and as they were, and the lines refused."""

    added: tuple[ShelfProduct, ...]
    changed: tuple[ShelfProduct, ...]
    same: int
    refused: tuple[RefusedLine, ...]


def save_product(
    recorder: Recorder, product: ShelfProduct, *, by: str, before: ShelfEntry | None = None
) -> ShelfEntry:
    """The product on the shelf: new, or as the next revision of `before`.

    Raises
    ------
    Conflict
        If somebody else changed it since, or another product has its name and maker.
    """
    entry = _entry(recorder, product, by=by, before=before)
    recorder.store.put_on_shelf([entry])
    return entry


def retire(recorder: Recorder, entry: ShelfEntry, *, by: str) -> str:
    """What taking this product off the shelf means, in a sentence; tests and cards keep what they hold of it.

    Raises
    ------
    BadEntry
        If it stands in a test that is running.
    """
    running = [
        r.test.number
        for r in recorder.running()
        if any(_key(p) == entry.product.key for p in r.test.plan.products)
    ]
    if running:
        numbers = ", ".join(str(n) for n in sorted(running))
        msg = f"{entry.product.said} is in use in test {numbers}, which is running: sign or stop it first."
        raise BadEntry(msg)
    recorder.store.put_on_shelf([_entry(recorder, entry.product, by=by, before=entry, retired=True)])
    cards = sum(
        any(_fold(line.name, line.maker) == entry.product.key for line in kept.card.lines)
        for kept in recorder.store.cards()
    )
    held = f"; {cards} tank card{'s' if cards > 1 else ''} and" if cards else ";"
    return f"{entry.product.said} is off the shelf and no longer offered{held} earlier tests keep what they hold of it."


def bring_back(recorder: Recorder, entry: ShelfEntry, *, by: str) -> ShelfEntry:
    """A product that was taken off the shelf, on it again."""
    back = _entry(recorder, entry.product, by=by, before=entry)
    recorder.store.put_on_shelf([back])
    return back


def read_shelf(recorder: Recorder, text: str, *, by: str) -> ShelfTaken:
    """What came of a shelf file: every line that can be taken is, each other one is named.

    Raises
    ------
    BadEntry
        If the file as a whole is no shelf file.
    """
    read = shelf_from_csv(text)
    kept = {e.product.key: e for e in recorder.store.shelf_products()}
    added: list[ShelfProduct] = []
    changed: list[ShelfProduct] = []
    entries = []
    for product in read.products:
        before = kept.get(product.key)
        if before is not None and before.product == product and not before.retired:
            continue
        (changed if before else added).append(product)
        entries.append(_entry(recorder, product, by=by, before=before))
    recorder.store.put_on_shelf(entries)
    return ShelfTaken(
        added=tuple(added),
        changed=tuple(changed),
        same=len(read.products) - len(entries),
        refused=read.refused,
    )


def _entry(
    recorder: Recorder, product: ShelfProduct, *, by: str, before: ShelfEntry | None, retired: bool = False
) -> ShelfEntry:
    return ShelfEntry(
        id=before.id if before else recorder.fresh_id(),
        revision=before.revision + 1 if before else 1,
        at=recorder.now(),
        by=checked_name(by),
        product=product,
        retired=retired,
    )


def _fold(name: str, maker: str) -> tuple[str, str]:
    return " ".join(name.split()).casefold(), " ".join(maker.split()).casefold()


def _key(product: Product) -> tuple[str, str]:
    return _fold(product.name, product.maker)


# ----------------------------------------------------------------------- recipe
def failed_before(recorder: Recorder, products: Sequence[ShelfProduct]) -> tuple[FailedPair, ...]:
    """Pairs of these products that failed in a jar of just the two, by this shop's own signed tests."""
    keys = {p.key for p in products}
    items = {
        i: item for i, item in recorder.store.shelf_items().items() if _fold(item.name, item.maker) in keys
    }
    found = []
    for pair in recorder.store.around(tuple(items), samples=False, most=1).pairs:
        if pair.failed_alone:
            first, second = items[pair.first_id], items[pair.second_id]
            times = "once" if pair.failed_alone == 1 else f"{pair.failed_alone} times"
            found.append(
                FailedPair(
                    first=_fold(first.name, first.maker),
                    second=_fold(second.name, second.maker),
                    says=f"{times} in a jar of the two alone, the last signed by {pair.last_at:%Y-%m-%d}",
                )
            )
    return tuple(found)


def recipe_of(
    recorder: Recorder, plan: TestPlan, *, positions: Sequence[int] | None = None
) -> JarRecipe | None:
    """The jar's recipe of a plan, in the plan's order; None for a plan without a tank recipe.

    `positions` are the products' numbers in the plan (from 1) as they really go in, where that is another order.
    """
    if plan.recipe is None:
        return None
    failed = failed_before(recorder, [p.product for p in plan.recipe.products])
    places = places_in(plan.recipe, plan.products)
    by_hand = places if positions is None else [places[n - 1] for n in positions]
    return make_recipe(plan.recipe, failed=failed, by_hand=by_hand)


def cautions_of_plan(recorder: Recorder, plan: TestPlan) -> tuple[Caution, ...]:
    """The cautions of a planned jar, by the shelf and by this shop's own signed tests."""
    products = products_of_plan(recorder, plan)
    return cautions_of(plan, products, failed_before(recorder, products))


def products_of_plan(recorder: Recorder, plan: TestPlan) -> tuple[ShelfProduct, ...]:
    """The products of a plan: as its tank recipe has them, else as the shelf has them, else by their names."""
    if plan.recipe is not None:
        return tuple(p.product for p in plan.recipe.products)
    shelf = [e.product for e in recorder.store.shelf_products() if not e.retired]
    return tuple(shelf_product_of(p, shelf) for p in plan.products)


def confirm_product(
    recorder: Recorder, product: ShelfProduct, *, by: str, before: ShelfEntry | None = None
) -> ShelfEntry:
    """The product on the shelf with its kind, grade and marks confirmed: as the next revision, or new.

    Raises
    ------
    Conflict
        If somebody else changed it since, or it was taken off the shelf.
    """
    known = before or next((e for e in recorder.store.shelf_products() if e.product.key == product.key), None)
    if known is not None and known.retired:
        msg = f"{known.product.said} was taken off the shelf by {known.by}: bring it back there first."
        raise Conflict(msg)
    return save_product(recorder, replace(product, checked=True), by=by, before=known)


def plan_of_recipe(recipe: JarRecipe, frame: TestPlan) -> TestPlan:
    """The plan that a recipe makes: `frame` gives its title, jar, looks and notes; amounts and order are the recipe's."""
    products = tuple(
        Product(
            name=line.product.name,
            maker=line.product.maker,
            formulation=line.product.formulation,
            lot=line.product.lot,
            amount_text=f"{say_number(line.jar_ml)} mL"
            if line.jar_ml is not None
            else f"{say_number(line.jar_g or 0)} g",
            amount_ml=line.jar_ml,
            amount_g=line.jar_g,
        )
        for line in recipe.lines
    )
    water = recipe.request.water
    return replace(
        frame,
        title=frame.title.strip() or " + ".join(p.name for p in products),
        products=products,
        water=Water(
            source=water.source,
            hardness_mg_l=water.hardness_mg_l,
            ph=water.ph,
            temperature_c=water.temperature_c,
        ),
        jar=JarUsed(
            name=frame.jar.name,
            volume_ml=recipe.request.jar_ml,
            inner_diameter_mm=frame.jar.inner_diameter_mm,
        ),
        recipe=recipe.request,
    )


def new_on_shelf(recorder: Recorder, plan: TestPlan, *, by: str) -> tuple[ShelfProduct, ...]:
    """The products of a plan's recipe that were not on the shelf and are now.

    Raises
    ------
    Conflict
        If one of them was taken off the shelf.
    """
    kept = {e.product.key: e for e in recorder.store.shelf_products()}
    fresh = []
    for p in plan.recipe.products if plan.recipe else ():
        entry = kept.get(p.product.key)
        if entry is None:
            fresh.append(replace(p.product, lot=""))
        elif entry.retired:
            msg = (
                f"{entry.product.said} was taken off the shelf by {entry.by}: bring it back on the shelf, or take it "
                "out of the recipe; nothing you typed is lost."
            )
            raise Conflict(msg)
    entries = [_entry(recorder, p, by=by, before=None) for p in fresh]
    if entries:
        recorder.store.put_on_shelf(entries)
    return tuple(fresh)


def start_from_recipe(recorder: Recorder, plan: TestPlan, *, by: str, utc_offset_min: int) -> JarTest:
    """A new test with this plan; products of its recipe that nobody knew yet stand on the shelf from now on.

    Raises
    ------
    Conflict
        If a product was taken off the shelf meanwhile; nothing is started then.
    """
    checked_name(by)
    new_on_shelf(recorder, plan, by=by)
    return recorder.start_test(plan, by=by, utc_offset_min=utc_offset_min)


# -------------------------------------------------------------------- tank card
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
    stand_s, stand_says = _standing(
        recorder.curve(case), tank_depth_in, jar_c=plan.water.temperature_c, tank_c=tank_c
    )
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
        rules=rules,
        remarks=_overruled(case),
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


def _overruled(case: Case) -> tuple[str, ...]:
    """What the crew must know where a person signed another word than the machine's."""
    signature, over = case.signature, case.signed_over
    machine = over.word if over else None
    if signature is None or signature.word == machine:
        return ()
    return (
        f"The machine said {machine or 'no verdict'} and {signature.by} overruled it with {signature.word}: “{signature.reason}”.",
    )


def _standing(
    points: Sequence[CurvePoint], tank_depth_in: float | None, *, jar_c: float | None, tank_c: float | None
) -> tuple[float | None, str]:
    """How long the tank may stand, in s where it can be reckoned, and what the jar showed, in words."""
    if not points:
        return None, "How long it may stand was not measured: keep it moving."
    watched = f"The jar was watched for {say_age(points[-1].age_s)}"
    growing = growths(points)
    if not growing:
        told = any(p.settled_fraction == p.settled_fraction for p in points)  # NaN differs from itself
        seen = "nothing was seen to part" if told else "its layers could not be measured"
        return None, f"{watched} and {seen}; beyond that nothing is known."
    kinds = " and ".join(f"a {g.kind}" for g in growing)
    if tank_depth_in is None:
        return (
            None,
            f"{watched} and showed {kinds}; without the tank's depth no time is reckoned: keep it moving.",
        )
    try:
        first = first_to_part(
            growing,
            tank_depth_mm=_MM_PER_IN * tank_depth_in,
            allowed_fraction=PARTED_FRACTION,
            jar_c=jar_c,
            tank_c=tank_c,
        )
    except BadEntry as e:
        return None, f"{watched} and showed {kinds}; {e}"
    if first is None or math.isnan(first.low_s):
        return None, f"{watched} and showed {kinds}. {first.says if first else ''}"
    return (
        first.low_s,
        f"{first.says} Until {PARTED_FRACTION:.0%} has parted, at the cautious end.",
    )


def say_standing(
    growing: Sequence[Growth],
    tank_depth_in: float,
    parted_fraction: float = PARTED_FRACTION,
    *,
    jar_c: float | None = None,
    tank_c: float | None = None,
) -> tuple[str, ...]:
    """For each growth, how long a tank of this depth may stand without agitation, with its range, in words.

    The last line says which counts where more than one grows.

    Raises
    ------
    BadEntry
        If the looks have no scale, or depth, share or a temperature are out of range.
    """

    def time_of(*some: Growth) -> StandingTime:
        time = first_to_part(
            some,
            tank_depth_mm=_MM_PER_IN * tank_depth_in,
            allowed_fraction=parted_fraction,
            jar_c=jar_c,
            tank_c=tank_c,
        )
        assert time is not None  # only of nothing that grows
        return time

    in_words = f"in {tank_depth_in:g} in ({_MM_PER_IN * tank_depth_in / 10:.0f} cm)"
    said = []
    for g in growing:
        time = time_of(g)
        if math.isnan(time.low_s):
            said.append(f"By the {g.kind}, {in_words}: not known. {time.says}")
            continue
        most = f"to {say_age(time.high_s)}" if math.isfinite(time.high_s) else "or more"
        said.append(
            f"By the {g.kind}, {in_words}: {say_age(time.best_s)} ({say_age_down(time.low_s)} {most}) until "
            f"{parted_fraction:.0%} has parted. {time.says}"
        )
    if len(growing) > 1:
        first = time_of(*growing)
        counts = (
            "that is not known" if math.isnan(first.low_s) else f"no more than {say_age_down(first.low_s)}"
        )
        said.append(f"For the tank what parts first counts: {counts}.")
    return tuple(said)


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
    return CardState(lapsed=state.lapsed or bool(said), reasons=(*said, *state.reasons))


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
