"""The longer texts on screen: cautions, terms, and what to try after a fail."""

from __future__ import annotations

from jartest.verdict.decide import Step

__all__ = [
    "BEFORE_MIXING",
    "CAUTIONS",
    "MESHES",
    "REACTION",
    "STEPS",
    "TERMS",
    "WHAT_NEXT",
    "WHAT_NEXT_WATCH",
]

MESHES = (16, 20, 30, 40, 50, 60, 80, 100, 140, 200)  # U.S. sieve numbers, ASTM E11

# What each step still open is called, and how it is done.  Ten inversions and looking from below: common
# practice, no source.
STEPS: dict[Step, tuple[str, str]] = {
    "look": ("take the look", "Leave the jar standing and photograph it."),
    "bottom": (
        "look at the bottom from below",
        "Lift the jar without shaking it and look through its floor: a bed this thin can't be seen in a photo.",
    ),
    "invert": (
        "invert it first",
        "Close the jar and turn it over ten times. Never with a warm or fizzing jar.",
    ),
    "pour": (
        "see how it runs",
        "Pour it through a strainer as fine as your sprayer's and rinse. A gel cannot be seen in a photo.",
    ),
}


# Heat and gas as signs: Utah State University Extension 2012; University of Arizona 2022.  Venting:
# common practice, no source.
REACTION = (
    "Warm, fizzing or under pressure: stop adding. Do not shake it, do not seal it. Loosen the lid away from "
    "your face, set the jar outside, keep people off. Add nothing more to it."
)

# The short form, where it matters: before anything is poured.
BEFORE_MIXING = (
    "The label is the law: its order of mixing wins, and a mix it forbids is never tried.",
    "Wear what the labels ask for. Undiluted product is the riskiest moment.",
    "Never use the jar for food again. Warm or fizzing: do not seal it.",
)

# Label, partners and deference: Michigan State University Extension; jar and equipment: GRDC 2025;
# disposal: TPSA; small plot and venting: common practice, no source.
CAUTIONS = (
    "**The label is the law.** Where its order of mixing differs from yours or from anything shown here, the "
    "label wins. A partner that a label forbids is not mixed. Local rules and licensed practice decide what "
    "may be mixed and applied.",
    "**Protective equipment** as the labels ask. Undiluted product is the riskiest moment: gloves, eyewear, apron.",
    "**Glass only, and never for food again.** Mark the jar.",
    f"**Heat, gas, pressure.** {REACTION}",
    "**Physical only.** A jar shows whether a mixture stays mixed. It says nothing of efficacy, of one product "
    "weakening another, or of crop safety. Try a small plot before a field.",
    "**Same water, same proportions, same order** as the tank; a jar with other water says nothing of yours.",
    "**What is left over** is disposed of as the labels and your local authority say; never into a drain.",
    "**A photo is one view.** What you see, smell and feel counts first; write it down.",
)

TERMS = (
    ("Look", "One photo of the jar at a set time, with what was measured on it."),
    (
        "Walls, floor, surface",
        "The four lines a photo is measured between: outer walls of the jar, its inner floor, and the top of the liquid at the near wall.",
    ),
    ("Settled", "Solids on the floor, as percent of the height of the liquid."),
    ("Clear", "The part at the top of the liquid that has cleared, as percent of the height."),
    ("Floating", "Oil, cream or another layer on top of the liquid."),
    ("Foam", "Froth above the liquid; it is not part of the liquid's height."),
    ("Lump index", "0 for smooth to 1 for plainly lumpy, curdled or grainy; it ranks pictures."),
    (
        "± figure",
        "One standard deviation of the measurement: two times out of three the true figure lies within it.",
    ),
    ("Not measurable", "The photo does not show it well enough, so it is left empty, never guessed."),
    (
        "Pass",
        "Everything needed was measured and lies clearly within the limits, the jar re-mixed fully and ran clean, "
        "and no fault was written down; it holds to the age beside it, such as PASS to 30 min.",
    ),
    (
        "Watch",
        "It separates but re-mixes, or lies near a limit: only with constant agitation, and looked at again.",
    ),
    (
        "Fail",
        "Clearly over a limit, does not re-mix, or a sign such as gel, curds, heat or gas was written down.",
    ),
    (
        "No verdict",
        "A poor photo, a missing look, or a jar that was not yet turned over and poured; it is never turned into a pass.",
    ),
    (
        "Score",
        "0 to 100, the worst rule's: 67 and more is a pass, 34 to 66 a watch, under 34 a fail; the photo's doubt "
        "counts against the jar.",
    ),
    (
        "From below",
        "The bottom of the jar seen through its floor: clean, a film, or a bed; asked where the powder in the jar "
        "would make a bed too thin for the photo.",
    ),
    (
        "Formulation",
        "The letters on the label that say how the product is made up, such as WP, WG, SC, SL or EC.",
    ),
    (
        "Re-mix",
        "Close the jar, turn it over ten times, and see whether it is even again; never with a warm or fizzing jar.",
    ),
    ("Carrier", "The water (or liquid fertilizer) that the products go into."),
    (
        "Carrier basis, finished basis",
        "Whether the volumes you type count the carrier alone, with products on top, or everything together.",
    ),
    ("Order of addition", "Which product goes in when, by the label first and else by a published order."),
    (
        "Active ingredient (ai)",
        "What does the work in a product; a rate in lb ai needs the content on the label.",
    ),
    (
        "Tank card",
        "One page for the crew with the tank's amounts and order, made only from a signed pass or watch.",
    ),
    ("Standing time", "How long a tank may stand without agitation, by what the jar showed."),
    (
        "Pour through a screen",
        "Pour the jar through a strainer as fine as the sprayer's; the mesh number counts openings per inch.",
    ),
)

# Another order and other water: Utah State University Extension 2012; with and without compatibility agent:
# University of Arizona 1999; finding the pair, more water, separate passes: common practice, no source.
WHAT_NEXT = (
    "Do not put this mixture in a tank.",
    "Find the pair: leave out one product at a time, in a clean jar each.",
    "Try another order of addition, if the labels allow it, and give each product time to disperse.",
    "Try a compatibility agent: one jar with it, one without.",
    "Try other or softened water, or more water per product.",
    "If nothing helps, apply them in separate passes. Ask the makers; they may know this pair.",
)

# Common practice, no source.
WHAT_NEXT_WATCH = (
    "Only with constant agitation, from the first fill until the tank is empty; never left standing.",
    "Start with a small batch, and look at the strainers and nozzles before the next.",
)
