"""The crew's tank card as one printed page, with a code that leads to the card as it stands today."""

from __future__ import annotations

from jartest.exchange.pdf import Paper, Sheet
from jartest.plan.card_state import CardState
from jartest.plan.formulations import code_beside
from jartest.plan.tankcard import TankCard, part_amounts, part_steps
from jartest.plan.water import MixWater
from jartest.units import say_measures, say_volume
from jartest.verdict.words import SHAPES, say_aged

__all__ = ["PARTS", "tank_card_pdf"]

PARTS = (1.0, 0.75, 0.5, 0.25)  # of a full tank; what a crew mixes at the end of a day (our choice)
_SCALES = (
    1.0,
    0.9,
    0.8,
    0.72,
)  # of the letters, until it is one page; below 6 pt nobody reads it (our choice)


def tank_card_pdf(
    card: TankCard,
    state: CardState,
    *,
    address: str,
    paper: Paper = "letter",
    volume_ml: float | None = None,
    water: MixWater | None = None,
) -> bytes:
    """The card as PDF, the same bytes for the same card in the same state; one page as long as it can be read.

    A lapsed card prints no amounts, no steps and no time that it may stand.

    Parameters
    ----------
    state : CardState
        Whether it holds on the day it is printed; one that has lapsed says so before all else.
    address : str
        Where the card can be opened, for the code.
    volume_ml : float, optional
        What is filled this time; None for a full tank.
    water : MixWater, optional
        The water of the day, for how long it may stand; None for the water of the test.

    Raises
    ------
    BadEntry
        If the volume is nothing, or more than the tank.
    """
    volume = card.tank_ml if volume_ml is None else volume_ml
    part_amounts(card, volume)  # refuses a volume that cannot be before a page is begun
    for scale in _SCALES:
        sheet = _sheet(card, state, address, paper, scale, volume, water)
        data = bytes(sheet.output())  # also of a try that is thrown away: this closes its fonts
        if sheet.page_no() == 1:
            break
    return data


def _sheet(
    card: TankCard,
    state: CardState,
    address: str,
    paper: Paper,
    scale: float,
    volume_ml: float,
    water: MixWater | None,
) -> Sheet:
    title = f"Tank card: {card.title}"
    foot = f"Rests on jar test {card.test_number}, signed by {card.signed_by} {card.signed_at:%Y-%m-%d}"
    sheet = Sheet(title=title, made_at=card.signed_at, paper=paper, foot=foot)
    _head(sheet, card, state, title, address, scale)
    if not state.lapsed:
        _steps(sheet, card, scale, volume_ml)
        _parts(sheet, card, scale)
        sheet.heading("Agitation, and what it holds for")
        sheet.words(f"Agitation: {card.agitation}.", size=11 * scale, bold=True)
        sheet.words(card.said_stand(water), size=9.5 * scale)
    else:
        sheet.heading("What it held for")
    sheet.words(card.holds_for(), size=9.5 * scale)
    sheet.words(
        "It lapses with another maker's product, another water, a stronger rate (of what helps the others to "
        f"stay mixed, a weaker one too), another order, {'another lot, ' if card.rules.lot_matters else ''}"
        f"or on {card.lapses_at:%Y-%m-%d}.",
        size=9.5 * scale,
    )
    sheet.heading("Cautions", keep=12)
    for caution in card.cautions:
        sheet.words(f"• {caution}", size=8 * scale)
    return sheet


def _head(sheet: Sheet, card: TankCard, state: CardState, title: str, address: str, scale: float) -> None:
    side = 28.0
    x = sheet.w - sheet.r_margin - side
    sheet.code(address, x=x, y=9, side=side, alt=f"QR code of this tank card: {address}")
    sheet.set_y(12)
    width = x - sheet.l_margin - 3
    if state.lapsed:
        sheet.words("✖ LAPSED: DO NOT MIX BY THIS CARD", size=20, bold=True, kind="H1", width=width)
        for reason in state.reasons:
            sheet.words(reason, size=10, bold=True, width=width)
    kind = "H2" if state.lapsed else "H1"
    sheet.words(title, size=15 * scale, bold=True, kind=kind, width=width)
    condition = f", only with: {card.condition}" if card.condition else ""
    was = "It was: " if state.lapsed else ""
    sheet.words(
        f"{was}{SHAPES[card.word]} {say_aged(card.word, card.word_age_s)}{condition}",
        size=13 * scale,
        bold=True,
        width=width,
    )
    for n, line in enumerate((*card.head(), *state.notes)):
        grave = n == 0 and card.overruled
        sheet.words(
            f"{'✖ ' if grave else '! '}{line}", size=(12 if grave else 10) * scale, bold=True, width=width
        )
    sheet.words(
        f"Signed by {card.signed_by} {card.signed_at:%Y-%m-%d} on jar test {card.test_number}. "
        f"It lapses on {card.lapses_at:%Y-%m-%d} at the latest; scan the code to see whether it still holds.",
        size=9.5 * scale,
        width=width,
    )
    sheet.set_y(max(sheet.get_y(), 9 + side))


def _steps(sheet: Sheet, card: TankCard, scale: float, volume_ml: float) -> None:
    said = say_volume(volume_ml, us_first=True)
    part = volume_ml < card.tank_ml * (1 - 1e-9)
    what = f"A PART TANK of {said}" if part else f"A full tank of {said}"
    sheet.heading(f"{what}, in this order", keep=30)
    carrier = say_volume(card.tank_carrier_ml * volume_ml / card.tank_ml, us_first=True)
    sheet.words(f"Carrier in all: {carrier}.", size=9.5 * scale)
    rows = []
    for n, (line, says) in enumerate(part_steps(card, volume_ml), start=1):
        if line is None:
            rows.append((str(n), says, "", ""))
        else:
            rows.append(
                (
                    str(n),
                    " ".join((line.said, code_beside(line.name, line.formulation))).strip(),
                    says,
                    line.rate,
                )
            )
    wide = sheet.epw
    fill = say_volume(volume_ml, us_first=True).split(" (")[0] if part else "full tank"
    sheet.rows(("", "step", fill, "rate"), rows, (8, wide - 98, 50, 40), size=10 * scale)


def _parts(sheet: Sheet, card: TankCard, scale: float) -> None:
    sheet.heading("Other fills", keep=24)
    columns = [part_amounts(card, share * card.tank_ml) for share in PARTS]
    heads = [
        "product",
        *(f"{share:.0%}: {say_volume(share * card.tank_ml, us_first=True)}" for share in PARTS),
    ]
    rows = [
        (line.said, *(say_measures(ml=column[i][1], g=column[i][2]) for column in columns))
        for i, line in enumerate(card.lines)
    ]
    wide = sheet.epw
    each = 36
    sheet.rows(heads, rows, (wide - len(PARTS) * each, *(each,) * len(PARTS)), size=8 * scale)
