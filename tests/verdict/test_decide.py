"""The decision, as a table of cases: photo figures, what was written, and the word that must come out."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.imaging.quality import REGISTER
from jartest.imaging.values import Frame, Lump, Marks, Reading
from jartest.verdict.decide import Seen, TestLook, judge_photo, judge_test, worst
from jartest.verdict.limits import PHOTO_RULES, load_limits
from jartest.verdict.signs import SIGNS
from jartest.verdict.values import Verdict

LIMITS = load_limits()
GOOD = {
    "settled_fraction": 0.0,
    "settled_sigma_fraction": 0.002,
    "clear_fraction": 0.0,
    "clear_sigma_fraction": 0.002,
    "top_layer_fraction": 0.0,
    "top_layer_sigma_fraction": 0.002,
    "foam_fraction": 0.0,
    "foam_sigma_fraction": 0.002,
    "floc_index": 0.05,
    "floc_area_fraction": 0.0,
}


def reading(*, flags: tuple[str, ...] = (), jar_found: bool = True, **figures: float) -> Reading:
    """A reading of a smooth jar with the given figures put in."""
    frame = Frame(left_px=100, right_px=300, floor_px=500, surface_px=200, confidence=1.0)
    return Reading(
        photo_sha256="0" * 64,
        method="test",
        width_px=400,
        height_px=600,
        jar_found=jar_found,
        flags=flags,
        jar=frame if jar_found else None,
        **({**GOOD, **figures} if jar_found else {}),
    )


LUMP = Lump(row_px=300, col_px=200, diameter_px=6)


def marked(r: Reading, count: int = 1) -> Reading:
    """The same reading with lumps that a person marked."""
    return replace(r, marks=Marks(lumps=(LUMP,) * count))


def look(r: Reading, *, age_s: float | None = 1800.0, says: str = "30 min") -> TestLook:
    return TestLook(age_s=age_s, says=says, verdict=judge_photo(r, LIMITS))


@pytest.mark.parametrize(
    ("figures", "word"),
    [
        pytest.param({}, "pass", id="smooth"),
        pytest.param(
            {"settled_fraction": 0.015, "settled_sigma_fraction": 0.001},
            "pass",
            id="a trace inside the limit",
        ),
        pytest.param(
            {"settled_fraction": 0.015, "settled_sigma_fraction": 0.02}, "watch", id="the doubt reaches over"
        ),
        pytest.param({"settled_fraction": 0.05}, "watch", id="between the limits"),
        pytest.param(
            {"settled_fraction": 0.11, "settled_sigma_fraction": 0.02}, "watch", id="not surely over"
        ),
        pytest.param({"settled_fraction": 0.2}, "fail", id="settled"),
        pytest.param({"top_layer_fraction": 0.08}, "fail", id="floating"),
        pytest.param({"foam_fraction": 0.2}, "watch", id="some foam"),
        pytest.param({"foam_fraction": 0.015}, "pass", id="as little foam as may be cream"),
        pytest.param({"foam_fraction": 0.05}, "watch", id="foam that may be cream"),
        pytest.param({"clear_fraction": 0.9}, "fail", id="cleared"),
        pytest.param({"floc_index": 0.9}, "fail", id="lumps"),
        pytest.param(
            {"floc_area_fraction": 0.04}, "watch", id="single lumps are no pass, whatever the index says"
        ),
        pytest.param(
            {"floc_area_fraction": math.nan}, "pass", id="single lumps have no meaning in an opaque body"
        ),
        pytest.param({"settled_fraction": math.nan}, None, id="not measurable is no pass"),
        pytest.param({"settled_fraction": math.nan, "floc_index": 0.9}, "fail", id="lumps fail all the same"),
    ],
)
def test_the_verdict_of_one_photo_follows_its_figures(figures: dict[str, float], word: str | None) -> None:
    assert judge_photo(reading(**figures), LIMITS).word == word


@pytest.mark.parametrize(
    ("marks", "word"),
    [
        pytest.param(None, "watch", id="the photo alone"),
        pytest.param(Marks(surface_px=200), "watch", id="a surface set by hand"),
        pytest.param(Marks(boundaries_px=(190,), kinds=("body", "foam")), "pass", id="called foam"),
        pytest.param(Marks(boundaries_px=(190,)), "pass", id="drawn above the surface"),
        pytest.param(Marks(boundaries_px=(300,)), "watch", id="a boundary in the liquid"),
    ],
)
def test_foam_that_nobody_named_passes_only_as_far_as_cream_would(marks: Marks | None, word: str) -> None:
    verdict = judge_photo(replace(reading(foam_fraction=0.05), marks=marks), LIMITS)
    assert verdict.word == word
    assert ("does not tell them apart" in next(r for r in verdict.reasons if r.rule == "foam").says) == (
        word == "watch"
    )


def test_lumps_marked_by_hand_are_no_pass_from_the_count_in_the_limits_on() -> None:
    assert judge_photo(marked(reading()), LIMITS).word == "watch"
    said = judge_photo(marked(reading(), 3), LIMITS).reasons[0]
    assert (said.rule, said.value, said.limit) == ("marked lumps", 3, 1)
    assert said.says.startswith("3 lumps marked by hand")
    assert judge_photo(marked(reading(), 3), load_limits("[marked_lumps]\nwatch_min = 4")).word == "pass"


def test_the_reasons_say_the_rule_of_decision_in_words() -> None:
    # Guarded acceptance and rejection (JCGM 106:2012): 1.645 sigmas of 0.2 % and 2 % beside the limits.
    def says(value: float, sigma: float) -> str:
        verdict = judge_photo(reading(settled_fraction=value, settled_sigma_fraction=sigma), LIMITS)
        return next(r.says for r in verdict.reasons if r.rule == "settled")

    assert says(0.015, 0.002) == (
        "Settled solids: 1.5 % ± 0.2 %, within 2.0 % even with 1.6 times that doubt added."
    )
    assert "not clearly within 2.0 %" in says(0.015, 0.02)
    assert says(0.2, 0.02).endswith("at or over 10.0 % even with 1.6 times that doubt taken off.")


def test_every_reason_names_rule_value_sigma_and_limit() -> None:
    verdict = judge_photo(reading(settled_fraction=0.2, settled_sigma_fraction=0.01), LIMITS)
    reason = verdict.reasons[0]
    assert (reason.rule, reason.value, reason.sigma, reason.limit) == ("settled", 0.2, 0.01, 0.10)
    assert "20.0 %" in reason.says
    assert "10.0 %" in reason.says
    assert {r.rule for r in verdict.reasons} == set(PHOTO_RULES)


def test_a_photo_without_a_jar_gives_no_verdict_and_says_what_to_do() -> None:
    verdict = judge_photo(reading(jar_found=False), LIMITS)
    assert verdict.word is None
    assert "take it again" in verdict.reasons[0].says


@pytest.mark.parametrize("definition", [d for d in REGISTER if d.blocks_pass], ids=lambda d: d.name)
def test_a_poor_photo_gives_no_verdict_whatever_it_seems_to_show(definition: object) -> None:
    name = definition.name  # type: ignore[attr-defined]
    for figures in ({}, {"settled_fraction": 0.5}):
        verdict = judge_photo(reading(flags=(name,), **figures), LIMITS)
        assert verdict.word is None
        assert any(r.rule == "photo" and definition.do in r.says for r in verdict.reasons)  # type: ignore[attr-defined]


def test_some_flags_block_a_pass_and_some_do_not() -> None:
    assert {d.blocks_pass for d in REGISTER} == {True, False}


FIGURES = st.fixed_dictionaries(
    {k: st.floats(0, 1) | st.just(math.nan) for k in GOOD if not k.endswith("sigma_fraction")},
    optional={k: st.floats(0, 0.2) for k in GOOD if k.endswith("sigma_fraction")},
)


@given(figures=FIGURES, flags=st.sets(st.sampled_from([d.name for d in REGISTER])))
def test_a_pass_is_only_ever_given_with_everything_measured_inside_its_guarded_limit(
    figures: dict[str, float], flags: set[str]
) -> None:
    r = reading(flags=tuple(flags), **figures)
    if judge_photo(r, LIMITS).word != "pass":
        return
    assert not any(d.blocks_pass and d.name in flags for d in REGISTER)
    for rule in PHOTO_RULES:
        name = rule if rule == "floc_index" else f"{rule}_fraction"
        if rule == "floc_area" and math.isnan(r.floc_area_fraction):
            continue
        sigma = 0.0 if rule.startswith("floc") else getattr(r, f"{rule}_sigma_fraction")
        assert getattr(r, name) + LIMITS.guard_sigmas * sigma <= LIMITS.photo[rule].pass_max


@given(value=st.floats(0, 1), sigma=st.floats(0, 0.2))
def test_more_settled_is_never_judged_better(value: float, sigma: float) -> None:
    rank = {"pass": 0, "watch": 1, "fail": 2}
    words = [
        judge_photo(reading(settled_fraction=v, settled_sigma_fraction=sigma), LIMITS).word
        for v in (value, min(1.0, value + 0.05))
    ]
    assert rank[words[0]] <= rank[words[1]]  # type: ignore[index]


SMOOTH = reading()
SETTLED = reading(settled_fraction=0.4)
LUMPY = reading(floc_index=0.9)
POOR = reading(flags=(next(d.name for d in REGISTER if d.blocks_pass),))


@pytest.mark.parametrize(
    ("readings", "seen", "word"),
    [
        pytest.param([SMOOTH], Seen(), "pass", id="smooth at 30 min"),
        pytest.param([], Seen(), None, id="no look, no verdict"),
        pytest.param([POOR], Seen(), None, id="a poor photo is no pass"),
        pytest.param([SMOOTH, POOR], Seen(), None, id="a poor last photo is no pass after a good one"),
        pytest.param(
            [SETTLED, POOR], Seen(remix="not at all"), "fail", id="what is written fails without a photo"
        ),
        pytest.param([SETTLED], Seen(), "fail", id="settled and not inverted"),
        pytest.param([SETTLED], Seen(remix="fully"), "watch", id="settled but re-mixing is a watch"),
        pytest.param([SETTLED], Seen(remix="partly"), "fail", id="re-mixing partly fails"),
        pytest.param([LUMPY, SMOOTH], Seen(), "watch", id="an earlier fault that is gone is a watch"),
        pytest.param([SMOOTH, LUMPY], Seen(), "fail", id="a fault that stands fails"),
        pytest.param([SMOOTH], Seen(signs=("gel",)), "fail", id="gel fails whatever the photo says"),
        pytest.param(
            [SMOOTH], Seen(signs=("curds",), remix="fully"), "fail", id="curds fail even when re-mixed"
        ),
        pytest.param([SMOOTH], Seen(signs=("heat",)), "fail", id="heat"),
        pytest.param([SMOOTH], Seen(signs=("gas",)), "fail", id="gas"),
        pytest.param([SMOOTH], Seen(signs=("lumps",)), "watch", id="lumps not yet inverted"),
        pytest.param([SMOOTH], Seen(signs=("lumps",), remix="fully"), "watch", id="lumps that re-mix"),
        pytest.param(
            [SMOOTH], Seen(signs=("lumps",), remix="not at all"), "fail", id="a lump that will not re-mix"
        ),
        pytest.param([SMOOTH], Seen(signs=("foam",)), "watch", id="foam that stays"),
        pytest.param([SMOOTH], Seen(signs=("smooth",), remix="fully"), "pass", id="seen smooth"),
        pytest.param(
            [SMOOTH], Seen(screen_pour="clean", screen_mesh=50), "pass", id="the screen stays clean"
        ),
        pytest.param([SMOOTH], Seen(screen_pour="rinses off"), "watch", id="residue that rinses off"),
        pytest.param([marked(SMOOTH)], Seen(), "watch", id="a marked lump is no pass"),
        pytest.param([marked(SMOOTH), SMOOTH], Seen(), "watch", id="a lump marked in an earlier look stays"),
        pytest.param(
            [marked(SMOOTH)], Seen(remix="fully"), "watch", id="a marked lump that re-mixes stays a watch"
        ),
        pytest.param(
            [marked(SMOOTH)], Seen(remix="not at all"), "fail", id="a marked lump that will not re-mix"
        ),
        pytest.param(
            [LUMPY, SMOOTH], Seen(remix="fully"), "watch", id="a fault that is gone, and it re-mixed"
        ),
        pytest.param(
            [SETTLED, SMOOTH], Seen(signs=("settled",)), "watch", id="gone in the photo, but written"
        ),
        pytest.param([SETTLED], Seen(remix="fully", signs=("gel",)), "fail", id="re-mixes, but is gel"),
        # ASTM E1518, as summarised by a test laboratory: compatible leaves no non-rinsable residue on 50 mesh.
        pytest.param([SMOOTH], Seen(screen_pour="stays on", screen_mesh=50), "fail", id="residue that stays"),
    ],
)
def test_looks_and_writing_combine_by_written_rules(
    readings: list[Reading], seen: Seen, word: str | None
) -> None:
    # Looks half an hour apart: the jar may have changed between them.
    looks = [look(r, age_s=1800.0 * (i + 1)) for i, r in enumerate(readings)]
    assert judge_test(looks, seen, LIMITS).word == word


SOME = reading(settled_fraction=0.05)


@pytest.mark.parametrize(
    ("first", "second", "seen", "word"),
    [
        pytest.param(LUMPY, SMOOTH, Seen(), "fail", id="fail, then pass"),
        pytest.param(SMOOTH, LUMPY, Seen(), "fail", id="pass, then fail"),
        pytest.param(SOME, SMOOTH, Seen(), "watch", id="watch, then pass"),
        pytest.param(SMOOTH, SOME, Seen(), "watch", id="pass, then watch"),
        pytest.param(SETTLED, SOME, Seen(), "fail", id="fail, then watch"),
        pytest.param(SETTLED, SMOOTH, Seen(remix="fully"), "watch", id="fail, then pass, and it re-mixes"),
        pytest.param(SMOOTH, SMOOTH, Seen(), "pass", id="both pass"),
        pytest.param(POOR, SMOOTH, Seen(), "pass", id="a poor photo taken again"),
        pytest.param(
            replace(SETTLED, flags=POOR.flags), SMOOTH, Seen(), "watch", id="a poor one that showed a fault"
        ),
    ],
)
def test_of_two_looks_of_the_same_time_that_disagree_the_worse_one_stands(
    first: Reading, second: Reading, seen: Seen, word: str
) -> None:
    looks = [look(first, age_s=1800.0, says="30 min"), look(second, age_s=1900.0, says="extra look")]
    assert judge_test(looks, seen, LIMITS).word == word


def test_two_looks_that_disagree_say_so_and_what_to_do() -> None:
    looks = [look(LUMPY, age_s=1800.0, says="30 min"), look(SMOOTH, age_s=1900.0, says="extra look")]
    reason = judge_test(looks, Seen(), LIMITS).reasons[0]
    assert reason.rule == "floc_index"
    assert "two looks of the same time disagree" in reason.says
    assert "by hand" in reason.says


@pytest.mark.parametrize("age_s", [None, -60.0, 0.0, 1799.0])
def test_a_look_that_is_too_early_gives_no_pass(age_s: float | None) -> None:
    verdict = judge_test([look(SMOOTH, age_s=age_s)], Seen(), LIMITS)
    assert verdict.word is None
    assert any(r.rule == "time" for r in verdict.reasons)


def test_a_fail_needs_no_waiting() -> None:
    assert judge_test([look(LUMPY, age_s=60.0)], Seen(), LIMITS).word == "fail"


WORDS = {"pass": 0, "watch": 1, None: 2, "fail": 3}


@given(
    signs=st.sets(st.sampled_from([s.name for s in SIGNS])),
    more=st.sampled_from([s.name for s in SIGNS]),
    remix=st.sampled_from(["not tried", "fully", "partly", "not at all"]),
    r=st.sampled_from([SMOOTH, SETTLED, LUMPY, POOR]),
)
def test_seeing_one_more_sign_never_makes_the_verdict_better(
    signs: set[str], more: str, remix: str, r: Reading
) -> None:
    less = judge_test([look(r)], Seen(signs=tuple(signs), remix=remix), LIMITS).word
    greater = judge_test([look(r)], Seen(signs=(*signs, more), remix=remix), LIMITS).word
    assert WORDS[less] <= WORDS[greater]


def test_reasons_come_worst_first() -> None:
    verdict = judge_test([look(SETTLED)], Seen(signs=("foam", "gel")), LIMITS)
    ranks = [WORDS[r.leads_to] for r in verdict.reasons]
    assert ranks == sorted(ranks, reverse=True)


@given(words=st.lists(st.sampled_from(["pass", "watch", "fail", None]), min_size=1))
def test_the_worst_word_is_at_least_as_bad_as_each(words: list[str | None]) -> None:
    assert all(WORDS[w] <= WORDS[worst(words)] for w in words)  # type: ignore[arg-type]


def test_a_verdict_comes_back_from_json_as_it_went() -> None:
    verdict = judge_test([look(SETTLED)], Seen(signs=("gel",)), LIMITS)
    assert Verdict.from_json(verdict.to_json()).to_json() == verdict.to_json()
