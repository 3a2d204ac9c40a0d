"""The use cases between tank and jar: the shelf of products, the recipe, and the crew's tank card."""

from jartest.tank.cards import as_on_shelf, card_now, end_card, ground_of, make_card, signed_word
from jartest.tank.recipes import (
    cautions_of_plan,
    failed_before,
    new_on_shelf,
    plan_of_recipe,
    products_of_plan,
    recipe_of,
    start_from_recipe,
)
from jartest.tank.shelf import ShelfTaken, bring_back, confirm_product, read_shelf, retire, save_product
from jartest.tank.standing import PARTED_FRACTION, say_standing

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
    "ground_of",
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
