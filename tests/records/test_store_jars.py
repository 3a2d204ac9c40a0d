"""Jars in the store: revisions, one name each, and whatever a jar holds comes back as it was."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import Conflict
from jartest.plan.jars import Filling, JarShape
from jartest.records.jars import JarEntry, jar_of, jar_to_json
from jartest.records.store import Store

TAPER = JarShape(
    name="Old taper",
    inner_diameter_mm=79.5,
    wall_mm=1.2,
    volume_ml=500.0,
    fillings=(Filling(height_mm=40.0, volume_ml=150.0), Filling(height_mm=90.0, volume_ml=400.0)),
)


def entry(bench: Any, jar: JarShape = TAPER, **more: Any) -> JarEntry:
    said = {"id": bench.fresh_id(), "revision": 1, "at": bench.now(), "by": "Wren", "jar": jar} | more
    return JarEntry(**said)


@given(
    st.builds(
        JarShape,
        name=st.text(
            st.characters(min_codepoint=32, blacklist_categories=["Cs", "Cc"]), min_size=1, max_size=40
        ),
        inner_diameter_mm=st.floats(10, 500),
        wall_mm=st.none() | st.floats(0.2, 15),
        volume_ml=st.floats(5, 20000),
        fillings=st.lists(
            st.builds(Filling, height_mm=st.floats(1, 900), volume_ml=st.floats(1, 9000)), max_size=4
        ).map(tuple),
    )
)
def test_a_jar_there_and_back_is_the_same(jar: JarShape) -> None:
    assert jar_of(json.loads(json.dumps(jar_to_json(jar)))) == jar


def test_a_changed_jar_is_a_revision_and_the_old_one_is_kept(store: Store, bench: Any) -> None:
    first = entry(bench)
    store.put_jar(first)
    second = replace(first, revision=2, by="Teal", jar=replace(TAPER, wall_mm=1.4))
    store.put_jar(second)
    third = replace(second, revision=3, retired=True)
    store.put_jar(third)
    other = entry(bench, replace(TAPER, name="A quart", fillings=()))
    store.put_jar(other)
    assert store.jars() == (other, third)  # in order of name
    assert store.jar_history(first.id) == (first, second, third)


def test_the_same_revision_twice_and_the_same_name_twice_are_refused(store: Store, bench: Any) -> None:
    first = entry(bench)
    store.put_jar(first)
    store.put_jar(replace(first, revision=2, by="Teal"))
    with pytest.raises(Conflict, match=r"Teal changed .* while you were editing"):
        store.put_jar(replace(first, revision=2, by="Wren"))
    with pytest.raises(Conflict, match="on the list already"):
        store.put_jar(entry(bench, replace(TAPER, name="OLD  taper")))
    assert len(store.jars()) == 1
