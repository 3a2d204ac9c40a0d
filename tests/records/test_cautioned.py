"""The cautions of a plan: by its names alone, by what the shelf knows, and by its tank recipe."""

from __future__ import annotations

import tomllib
from pathlib import Path

from jartest.plan.products import make_product
from jartest.records.cautioned import cautions_of, shelf_product_of
from jartest.records.model import JarUsed, Product, TestPlan, Water
from jartest.units import read_amount


def sample(repo: Path, name: str) -> TestPlan:
    said = tomllib.loads((repo / "samples" / name / "test.toml").read_text("utf-8"))
    products = []
    for p in said["product"]:
        amount = read_amount(p["amount"])
        products.append(
            Product(
                name=p["name"],
                maker=p["maker"],
                formulation=p["formulation"],
                amount_ml=amount.ml,
                amount_g=amount.g,
            )
        )
    return TestPlan(
        title=said["title"],
        products=tuple(products),
        water=Water(**said["water"]),
        jar=JarUsed(**said["jar"]),
    )


def test_the_curdling_sample_raises_its_own_caution(repo: Path) -> None:
    told = cautions_of(sample(repo, "curdler"))
    assert told[0].level == "warning"
    assert "Calcium phosphate" in told[0].says
    assert {"Phosbound 0-28-26 (Greyfen (invented))", "Limewick Calcium 12 (Brackmoor (invented))"} <= set(
        told[0].products
    )


def test_no_sample_is_silent(repo: Path) -> None:
    for name in ("stable", "settler", "creamer"):
        assert cautions_of(sample(repo, name)), name


def test_what_the_shelf_has_checked_is_not_asked_again() -> None:
    plan = TestPlan(title="x", products=(Product(name="mystery", maker="TARN"), Product(name="Other")))
    assert [c.products for c in cautions_of(plan)] == [("mystery (TARN)", "Other")]
    shelf = [make_product(name="Mystery", maker="Tarn", kind="fungicide", checked=True)]
    assert [c.products for c in cautions_of(plan, shelf)] == [("Other",)]


def test_a_formulation_that_cannot_be_read_is_no_hindrance() -> None:
    product = shelf_product_of(Product(name="Limewick Calcium 12", formulation="sort of wet"))
    assert (product.name, product.formulation) == ("Limewick Calcium 12", "")
