"""The use cases around the shop's jars: written, taken off the list, and found again for a test."""

from __future__ import annotations

from jartest.errors import BadEntry
from jartest.plan.jars import JarShape
from jartest.recorder import Recorder, checked_name
from jartest.records.jars import JarEntry
from jartest.records.model import JarUsed

__all__ = ["bring_back_jar", "offered_jars", "retire_jar", "save_jar", "shape_of"]


def offered_jars(recorder: Recorder) -> tuple[JarShape, ...]:
    """The jars on the list that a plan may pick from."""
    return tuple(e.jar for e in recorder.store.jars() if not e.retired)


def save_jar(recorder: Recorder, jar: JarShape, *, by: str, before: JarEntry | None = None) -> JarEntry:
    """The jar as kept, a new one or the next revision of `before`.

    Raises
    ------
    BadEntry
        If its name changed: tests find their jar by it.
    Conflict
        If somebody else changed it meanwhile, or another jar has that name.
    """
    if before is not None and jar.key != before.jar.key:
        msg = f"Tests know this jar as {before.jar.name}: take it off the list and write {jar.name} as a new one."
        raise BadEntry(msg)
    return _put(recorder, jar, by=by, before=before)


def retire_jar(recorder: Recorder, entry: JarEntry, *, by: str) -> str:
    """That a jar is off the list, in words; tests that used it keep their readings."""
    _put(recorder, entry.jar, by=by, before=entry, retired=True)
    return f"{entry.jar.name} is off the list and no longer offered; tests that used it keep their readings."


def bring_back_jar(recorder: Recorder, entry: JarEntry, *, by: str) -> JarEntry:
    """A jar that was taken off the list, on it again."""
    return _put(recorder, entry.jar, by=by, before=entry)


def _put(
    recorder: Recorder, jar: JarShape, *, by: str, before: JarEntry | None, retired: bool = False
) -> JarEntry:
    entry = JarEntry(
        id=before.id if before else recorder.fresh_id(),
        revision=before.revision + 1 if before else 1,
        at=recorder.now(),
        by=checked_name(by),
        jar=jar,
        retired=retired,
    )
    recorder.store.put_jar(entry)
    return entry


def shape_of(recorder: Recorder, used: JarUsed) -> JarShape | None:
    """The jar of a plan as the list has it, else a straight one of its diameter; None where that is not known."""
    listed = recorder.listed_jar(used)
    if listed is not None or used.inner_diameter_mm is None:
        return listed
    return JarShape(name=used.name, inner_diameter_mm=used.inner_diameter_mm, volume_ml=used.volume_ml)
