"""Rows made of values, and values made of rows; the only place that knows both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any, TypeVar

from sqlalchemy import RowMapping

from jartest.imaging.values import Frame, Marks, Reading
from jartest.plan.schedule import Slot
from jartest.records.model import (
    AnswerSignature,
    Event,
    JarTest,
    JarUsed,
    KeptReading,
    KeptVerdict,
    KnownKey,
    Look,
    Observation,
    Opinion,
    ParcelRow,
    PhotoInfo,
    PhotoMark,
    Product,
    SecondOpinion,
    Signature,
    TestPlan,
    Water,
    age_at,
)
from jartest.records.tables import FRAME
from jartest.records.tank_rows import recipe_of, recipe_to_json
from jartest.verdict.values import Verdict

__all__ = [
    "flat_of",
    "flat_row",
    "jar_test_of",
    "look_of",
    "look_row",
    "observation_of",
    "photo_row",
    "reading_of",
    "reading_row",
    "revision_row",
    "second_opinion_of",
    "second_opinion_row",
    "verdict_of",
    "verdict_row",
]

_Values = dict[str, Any]
_Flat = TypeVar("_Flat", Product, Event, Opinion, ParcelRow, Signature, KnownKey)

_PHOTO = ("sha256", "size_bytes", "media_type", "width_px", "height_px")
# The columns of a reading that are a field of `Reading` under the same name.
_READING = tuple(f.name for f in fields(Reading) if f.name not in ("jar", "marks"))

# The columns of the verdict on one photo, whose age is that of its look.
_VERDICT = ("verdict", "score", "reasons", "limits_sha256")


def flat_row(
    value: Product | Event | Observation | Opinion | ParcelRow | Signature | KnownKey | AnswerSignature,
) -> _Values:
    """The columns of a value whose fields are columns under the same names."""
    return {f.name: getattr(value, f.name) for f in fields(value)}


def flat_of(kind: type[_Flat], row: RowMapping) -> _Flat:
    """The value whose fields are columns under the same names."""
    return kind(**{f.name: row[f.name] for f in fields(kind)})


def revision_row(plan: TestPlan) -> _Values:
    """The columns of a revision that come from its plan, its products aside."""
    return {
        "title": plan.title,
        "notes": plan.notes,
        "water_source": plan.water.source,
        "water_hardness_mg_l": plan.water.hardness_mg_l,
        "water_ph": plan.water.ph,
        "water_temperature_c": plan.water.temperature_c,
        "water_mix_ph": plan.water.mix_ph,
        "jar_name": plan.jar.name,
        "jar_volume_ml": plan.jar.volume_ml,
        "jar_inner_diameter_mm": plan.jar.inner_diameter_mm,
        "schedule": [slot.to_json() for slot in plan.schedule],
        "recipe": recipe_to_json(plan.recipe),
    }


def jar_test_of(row: RowMapping, products: Sequence[Product]) -> JarTest:
    """The test at one revision, from a row of tests joined to revisions."""
    water = Water(
        source=row["water_source"],
        hardness_mg_l=row["water_hardness_mg_l"],
        ph=row["water_ph"],
        temperature_c=row["water_temperature_c"],
        mix_ph=row["water_mix_ph"],
    )
    jar = JarUsed(
        name=row["jar_name"],
        volume_ml=row["jar_volume_ml"],
        inner_diameter_mm=row["jar_inner_diameter_mm"],
    )
    plan = TestPlan(
        title=row["title"],
        products=tuple(products),
        water=water,
        jar=jar,
        schedule=tuple(Slot.from_json(d) for d in row["schedule"]),
        notes=row["notes"],
        recipe=recipe_of(row["recipe"]),
    )
    return JarTest(
        id=row["test_id"],
        number=row["number"],
        opened_at=row["opened_at"],
        opened_by=row["opened_by"],
        utc_offset_min=row["utc_offset_min"],
        sample=row["sample"],
        revision=row["revision"],
        revised_at=row["revised_at"],
        revised_by=row["revised_by"],
        plan=plan,
    )


def photo_row(photo: PhotoInfo) -> _Values:
    """The columns of a photo file: what its bytes alone say."""
    return {name: getattr(photo, name) for name in _PHOTO}


def look_row(look: Look) -> _Values:
    """The columns of a look, with how its photo came in (the same file may come in twice)."""
    return {
        "id": look.id,
        "test_id": look.test_id,
        "slot": look.slot,
        "taken_at": look.taken_at,
        "received_at": look.received_at,
        "by": look.by,
        "photo_sha256": look.photo.sha256,
        "original_name": look.photo.original_name,
        "exif_taken_at": look.photo.exif_taken_at,
        "photo_received_at": look.photo.received_at,
        "photo_received_by": look.photo.received_by,
        "note": look.note,
    }


def look_of(row: RowMapping) -> Look:
    """The look of a row of looks joined to photos, with when mixing was done as `mixed_at`."""
    photo = PhotoInfo(
        **{name: row[name] for name in _PHOTO},
        original_name=row["original_name"],
        exif_taken_at=row["exif_taken_at"],
        received_at=row["photo_received_at"],
        received_by=row["photo_received_by"],
    )
    return Look(
        id=row["id"],
        test_id=row["test_id"],
        slot=row["slot"],
        taken_at=row["taken_at"],
        received_at=row["received_at"],
        by=row["by"],
        age_s=age_at(row["taken_at"], row["mixed_at"]),
        photo=photo,
        note=row["note"],
    )


def reading_row(kept: KeptReading) -> _Values:
    """The columns of a reading and of the verdict on its photo."""
    said = kept.reading.to_json()
    jar = said["jar"]
    return {
        "id": kept.id,
        "look_id": kept.look_id,
        "at": kept.at,
        "by": kept.by,
        "origin": kept.origin,
        "found": None if kept.found is None else kept.found.to_json(),
        "marks": None if kept.marks is None else kept.marks.to_json(),
        **{name: said[name] for name in _READING},
        "jar_framed": jar is not None,
        **{name: jar and jar[name] for name in FRAME},
        "reading_marks": said["marks"],
        **{name: kept.verdict.to_json()[name] for name in _VERDICT},
    }


def reading_of(row: RowMapping) -> KeptReading:
    """The reading of a row."""
    said = {name: row[name] for name in _READING}
    said["jar"] = {name: row[name] for name in FRAME} if row["jar_framed"] else None
    said["marks"] = row["reading_marks"]
    return KeptReading(
        id=row["id"],
        look_id=row["look_id"],
        at=row["at"],
        by=row["by"],
        origin=row["origin"],
        found=None if row["found"] is None else Frame.from_json(row["found"]),
        marks=None if row["marks"] is None else Marks.from_json(row["marks"]),
        reading=Reading.from_json(said),
        verdict=Verdict.from_json({name: row[name] for name in _VERDICT}),
    )


def observation_of(row: RowMapping) -> Observation:
    """The observation of a row."""
    said = {f.name: row[f.name] for f in fields(Observation)}
    return Observation(**said | {"signs": tuple(row["signs"])})


def verdict_row(kept: KeptVerdict) -> _Values:
    """The columns of a verdict on a whole test."""
    return {"id": kept.id, "test_id": kept.test_id, "at": kept.at, **kept.verdict.to_json()}


def verdict_of(row: RowMapping) -> KeptVerdict:
    """The verdict of a row."""
    return KeptVerdict(
        id=row["id"], test_id=row["test_id"], at=row["at"], verdict=Verdict.from_json(dict(row))
    )


# What stands in the tables of signatures and keys.
_OF_KEY = {"signed_with", "key_name", "key_of_shop"}


def second_opinion_row(said: SecondOpinion) -> _Values:
    """The columns of a second opinion."""
    values = {f.name: getattr(said, f.name) for f in fields(said) if f.name not in _OF_KEY}
    return values | {"marks": [{f.name: getattr(m, f.name) for f in fields(m)} for m in said.marks]}


def second_opinion_of(row: RowMapping) -> SecondOpinion:
    """The second opinion of a row, without what its signature tells."""
    said = {f.name: row[f.name] for f in fields(SecondOpinion) if f.name not in _OF_KEY}
    return SecondOpinion(**said | {"marks": tuple(PhotoMark(**m) for m in row["marks"])})
