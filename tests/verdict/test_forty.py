"""The forty jars of forty_cases.toml, judged by the code and held against what an agronomist would give."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from jartest.imaging.quality import REGISTER
from jartest.plan.solids import InJar, PossibleBed, possible_bed
from jartest.verdict.acts import Seen
from jartest.verdict.decide import TestLook, judge_test, next_steps
from jartest.verdict.limits import Limits, load_limits
from jartest.verdict.photo import judge_photo
from jartest.verdict.values import Verdict
from tests.verdict.test_decide import LUMP, reading

CASES = tomllib.loads((Path(__file__).parent / "forty_cases.toml").read_text("utf-8"))["case"]
AGREE = 10  # points out of 100: the table's own round figures
JAR_ML = 946.0
DOUBT = 0.4  # one sigma of each line, percent of the height


def limits_of(case: dict[str, Any]) -> Limits:
    shop = f"[strainers]\nnozzle = {case.get('nozzle_mesh', 0)}\n"
    shop += f"[pour]\nalways = {str(case.get('pour_always', False)).lower()}\n"
    return load_limits(shop)


def bed_of(case: dict[str, Any]) -> PossibleBed:
    grams = case.get("powder_g_l", 0.0) * JAR_ML / 1000
    powder = [InJar(name="Chalkwing", formulation="WP", g=grams)] if grams else []
    return possible_bed([*powder, InJar(name="Nettlesap", formulation="SL", ml=4.7)], JAR_ML)


def photo(look: dict[str, Any], case: dict[str, Any]) -> Verdict:
    doubt = DOUBT / 100
    figures = {f"{n}_sigma_fraction": doubt for n in ("settled", "top_layer", "clear", "foam")}
    for name, percent in (("settled", "settled"), ("top_layer", "floating"), ("clear", "clear")):
        figures[f"{name}_fraction"] = look.get(percent, 0.0) / 100
    flags = (next(d.name for d in REGISTER if d.blocks_pass),) if look.get("poor") else ()
    r = reading(flags=flags, **figures, floc_index=look.get("lump_index", 0.02))
    if count := look.get("lumps_marked", 0):
        from jartest.imaging.values import Marks

        r = replace(r, marks=Marks(lumps=(LUMP,) * count))
    return judge_photo(r, limits_of(case), bed_of(case))


def judged(case: dict[str, Any]) -> Verdict:
    done = case.get("done", [])
    turned = sorted(60.0 * d["minute"] for d in done if {"remix", "pour"} & set(d))

    def stood(age_s: float) -> float | None:
        before = [t for t in turned if t < age_s]
        return age_s - before[-1] if before else None

    looks = [
        TestLook(
            age_s=60.0 * x["minute"],
            says=f"{x['minute']} min",
            verdict=photo(x, case),
            stood_s=stood(60.0 * x["minute"]),
        )
        for x in case.get("looks", [{"minute": 30}])
    ]
    seen: dict[str, Any] = {"signs": [], "sign_ages": {}}
    for d in done:
        age = 60.0 * d["minute"]
        for name in d.get("signs", []):
            seen["signs"].append(name)
            seen["sign_ages"][name] = age
        for said, field, of_age in (
            ("remix", "remix", "remix_age_s"),
            ("pour", "screen_pour", "pour_age_s"),
            ("runs", "runs", "runs_age_s"),
            ("bottom", "bottom", "bottom_age_s"),
        ):
            if said in d:
                seen |= {field: d[said], of_age: age}
        if "bottom" in d:
            seen["bottom_stood_s"] = stood(age) or age
        if "mesh" in d:
            seen["screen_mesh"] = d["mesh"]
    return judge_test(looks, Seen(**seen), limits_of(case))


def test_there_are_forty_and_each_says_why() -> None:
    assert len(CASES) == 40
    assert len({c["id"] for c in CASES}) == 40
    assert all(c["why"] for c in CASES)
    assert all(("score" in c) == (c["word"] != "none") == ("next" not in c) for c in CASES)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c["id"])
def test_the_verdict_is_what_a_careful_agronomist_would_give(case: dict[str, Any]) -> None:
    verdict = judged(case)
    why = [f"{r.leads_to} {r.score} {r.rule}: {r.says}" for r in verdict.reasons]
    assert (verdict.word or "none") == case["word"], why
    if verdict.word is None:
        assert verdict.score is None
        assert next_steps(verdict)[0] == case["next"], why
    else:
        assert verdict.score is not None
        assert abs(verdict.score - case["score"]) <= AGREE, (verdict.score, why)
    if "age_min" in case:
        assert verdict.age_s == 60 * case["age_min"]
