"""A large SQLite store of invented tests, written fast: the rows go in by plain SQL, the summaries by the store.

Every name is invented.  About one pair of products in sixty does not go together.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import UTC, datetime, timedelta
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import Table

from jartest.plan.schedule import default_schedule
from jartest.records import tables as t
from jartest.records.queries import fold
from jartest.records.store import Store

PRODUCTS = 120
MAKERS = (
    "Nordhof",
    "Karst & Sons",
    "Bluewell",
    "Ostra Works",
    "Tallgrass",
    "Ferrow",
    "Quillon",
    "Madder Lane",
)
PEOPLE = ("Ada", "Ben", "Cleo", "Dora", "Emil", "Finn", "Greta", "Hugo")
WATERS = (
    ("yard well", 320.0),
    ("rain tank", 15.0),
    ("river", 140.0),
    ("town main", 210.0),
    ("north well", 480.0),
)
SYLLABLES = (
    "ba",
    "co",
    "dri",
    "fen",
    "gal",
    "hop",
    "kel",
    "lum",
    "mor",
    "nis",
    "pra",
    "qui",
    "ros",
    "ter",
    "vol",
    "zin",
)
START = datetime(2021, 3, 1, 6, 0, tzinfo=UTC)
LIMITS_TEXT = "{}"
LIMITS = hashlib.sha256(LIMITS_TEXT.encode()).hexdigest()
_BATCH = 2_000


def fill(path: Path, count: int, seed: int, *, products: int = PRODUCTS, apart_min: int = 18) -> None:
    """A new store at this path with so many signed tests of two to seven products and six looks each.

    They are of so many `products`, and each was opened `apart_min` minutes after the one before.
    """
    with Store.open(f"sqlite:///{path}") as store:
        store.keep_limits(LIMITS, LIMITS_TEXT)
        with closing(sqlite3.connect(path)) as raw:
            raw.execute("PRAGMA synchronous=OFF")
            raw.execute("PRAGMA cache_size=-400000")
            made = _tests(count, np.random.default_rng(seed), products, apart_min)
            while some := list(islice(made, _BATCH)):
                _insert(raw, some)
            raw.execute("UPDATE counters SET value = ?", (count,))
            raw.commit()
        store.summarise_again()


def _insert(raw: sqlite3.Connection, some: Sequence[dict[Table, list[dict[str, Any]]]]) -> None:
    for table in (t.tests, t.revisions, t.search_texts, t.products, t.events, t.photos, t.looks, t.readings,
                  t.observations, t.verdicts, t.opinions, t.signatures):  # fmt: skip
        rows = [row for test in some for row in test[table]]
        if rows:
            names = list(rows[0])
            marks = ", ".join(f":{n}" for n in names)
            columns = ", ".join(f'"{n}"' for n in names)
            raw.executemany(f"INSERT INTO {table.name} ({columns}) VALUES ({marks})", rows)
    raw.commit()


def _name(i: int) -> str:
    a, b, c = SYLLABLES[i % 16], SYLLABLES[(i // 16 * 5 + i) % 16], SYLLABLES[(i * 7 + 3) % 16]
    return f"{a}{b}{c} {10 + i}".capitalize()


def _tests(
    count: int, rng: np.random.Generator, products: int, apart_min: int
) -> Iterator[dict[Table, list[dict[str, Any]]]]:
    shelf = [(_name(i), MAKERS[i % len(MAKERS)], ("SC", "WG", "SL", "EC")[i % 4]) for i in range(products)]
    share = 1 / (np.arange(products) + 8.0)  # a few products stand in many tanks, most in few
    share /= share.sum()
    every = products * (products - 1) // 2
    pairs = min(products, max(every // 60, 1))
    bad = {tuple(sorted(rng.choice(products, 2, replace=False).tolist())) for _ in range(pairs)}
    words = ["".join(rng.choice(SYLLABLES, 2)) for _ in range(400)]
    readings = [_reading(rng) for _ in range(64)]
    for n in range(1, count + 1):
        size = int(rng.integers(2, 8))
        picked = [int(i) for i in rng.choice(products, size, replace=False, p=share)]
        guilty = any(a < b and (a, b) in bad for a in picked for b in picked)
        word = "fail" if guilty != (rng.random() < 0.03) else "watch" if rng.random() < 0.08 else "pass"
        opened = START + timedelta(minutes=apart_min * n)
        yield _one(n, opened, [shelf[i] for i in picked], word, words, readings, rng)


def _at(moment: datetime) -> str:
    return moment.replace(tzinfo=None).isoformat(" ", "microseconds")


def _one(
    n: int,
    opened: datetime,
    picked: Sequence[tuple[str, str, str]],
    word: str,
    words: Sequence[str],
    readings: Sequence[dict[str, Any]],
    rng: np.random.Generator,
) -> dict[Table, list[dict[str, Any]]]:
    """The rows of one test."""
    test_id = f"{n:032x}"
    by, other = (PEOPLE[int(i)] for i in rng.integers(0, len(PEOPLE), 2))
    water, hardness = WATERS[int(rng.integers(len(WATERS)))]
    said = " ".join(words[int(i)] for i in rng.integers(0, len(words), 8))
    title = f"{picked[0][0]} and {len(picked) - 1} more"
    disagrees = rng.random() < 0.1
    slots = default_schedule(len(picked))
    ages = [s for s in slots if s.age_s is not None][:6]
    rows: dict[Table, list[dict[str, Any]]] = {
        t.tests: [
            {"id": test_id, "number": n, "opened_at": _at(opened), "opened_by": by, "utc_offset_min": 60, "sample": 0}
        ],
        t.revisions: [
            {
                "test_id": test_id, "revision": 1, "revised_at": _at(opened), "revised_by": by, "title": title,
                "notes": said[:30], "water_source": water, "water_hardness_mg_l": hardness, "water_ph": 7.4,
                "water_temperature_c": 12.0, "jar_name": "quart jar", "jar_volume_ml": 946.352946,
                "jar_inner_diameter_mm": 88.0, "schedule": json.dumps([s.to_json() for s in slots]),
            }
        ],
    }  # fmt: skip
    doses = rng.uniform(1.0, 20.0, len(picked)).round(1).tolist()
    rows[t.products] = [
        {"test_id": test_id, "revision": 1, "position": i, "name": name, "maker": maker, "formulation": code,
         "lot": f"L{(n * 7 + i) % 900:03d}", "amount_text": f"{dose} mL", "amount_ml": dose, "amount_g": None}
        for i, ((name, maker, code), dose) in enumerate(zip(picked, doses, strict=True), 1)
    ]  # fmt: skip
    mixed = opened + timedelta(minutes=2 * len(picked) + 2)
    rows[t.events] = [
        {"id": f"e{n:020x}{i:011x}", "test_id": test_id, "at": _at(opened + timedelta(minutes=2 * i)), "by": by,
         "kind": "added", "position": i, "note": ""}
        for i in range(1, len(picked) + 1)
    ] + [{"id": f"e{n:020x}{0:011x}", "test_id": test_id, "at": _at(mixed), "by": by, "kind": "mixed",
          "position": None, "note": ""}]  # fmt: skip
    rows[t.photos], rows[t.looks], rows[t.readings] = [], [], []
    for i, slot in enumerate(ages):
        sha256 = f"{n:040x}{i:024x}"
        when = _at(mixed + timedelta(seconds=slot.age_s or 0.0))
        look_id = f"a{n:020x}{i:011x}"
        rows[t.photos].append({"sha256": sha256, "size_bytes": 3_000_000, "media_type": "image/jpeg",
                               "width_px": 4000, "height_px": 3000})  # fmt: skip
        rows[t.looks].append(
            {"id": look_id, "test_id": test_id, "slot": slot.key, "taken_at": when, "received_at": when, "by": by,
             "photo_sha256": sha256, "original_name": f"IMG_{n % 9999:04d}.jpg",
             "exif_taken_at": None, "photo_received_at": when, "photo_received_by": by, "note": ""}
        )  # fmt: skip
        reading = readings[(n * 6 + i) % len(readings)]
        rows[t.readings].append(
            reading
            | {"id": f"b{n:020x}{i:011x}", "look_id": look_id, "at": when, "by": by, "photo_sha256": sha256}
        )
    signed = _at(mixed + timedelta(hours=2))
    noted = ["lumps"] if word == "fail" else ["smooth"]
    rows[t.observations] = [
        {"id": f"c{n:031x}", "test_id": test_id, "look_id": None, "at": signed, "by": by, "signs": json.dumps(noted),
         "remix": "fully" if word != "fail" else "not at all", "screen_pour": "not tried", "screen_mesh": None,
         "text": said, "replaces": None}
    ]  # fmt: skip
    machine = "watch" if disagrees and word != "watch" else word
    rows[t.verdicts] = [
        {
            "id": f"d{n:031x}",
            "test_id": test_id,
            "at": signed,
            "verdict": machine,
            "reasons": "[]",
            "limits_sha256": LIMITS,
        }
    ]
    rows[t.opinions] = [
        {"id": f"f{n:031x}", "test_id": test_id, "at": signed, "by": other, "word": word, "reason": said[-20:],
         "saw_machine": int(n % 2)}
    ]  # fmt: skip
    rows[t.signatures] = [
        {"id": f"9{n:031x}", "test_id": test_id, "at": signed, "by": other, "word": word, "reason": said[-20:], "set_aside": "", "revision": 1,
         "verdict_id": f"d{n:031x}", "opinion_id": f"f{n:031x}"}
    ]  # fmt: skip
    plan = fold(
        title,
        said[:30],
        water,
        "quart jar",
        *(x for p in picked for x in p),
        *(r["lot"] for r in rows[t.products]),
    )
    rows[t.search_texts] = [
        {"test_id": test_id, "number": n, "plan": plan, "said": fold(by, other, said, *noted, f"{opened:%Y-%m-%d}"), "machine_word": machine,
         "person_word": word}
    ]  # fmt: skip
    return rows


def _reading(rng: np.random.Generator) -> dict[str, Any]:
    """The columns of a plausible reading, those that name its look aside."""
    figures = {name: round(float(rng.uniform(0, 0.2)), 4) for name in t.FIGURES}
    frame = {name: round(float(rng.uniform(100, 2000)), 1) for name in t.FRAME}
    layers = [
        {"kind": kind, "bottom_fraction": a, "top_fraction": b, "top_sigma_fraction": 0.004, "lightness": 61.2,
         "a": 1.5, "b": 12.25, "clarity": 0.1}
        for kind, a, b in (("settled", 0.0, 0.05), ("body", 0.05, 1.0))
    ]  # fmt: skip
    return {
        "origin": "found", "found": None, "marks": None, "method": f"reading-{1 + int(rng.integers(2))}",
        "width_px": 4000, "height_px": 3000, "jar_found": 1, "flags": "[]", "jar_framed": 1, **frame,
        "jar_proposed": None, "reading_marks": None, **figures, "layers": json.dumps(layers), "lumps": "[]",
        "texture": json.dumps({"contrast": 1.5, "correlation": 0.9}), "verdict": "pass", "reasons": "[]",
        "limits_sha256": LIMITS,
    }  # fmt: skip
