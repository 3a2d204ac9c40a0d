"""A record without what anybody thinks of the jar, so that whoever is asked thinks for themselves."""

from __future__ import annotations

from dataclasses import replace

from jartest.records.model import Case, JarTest, Look

__all__ = ["blind"]


def blind(case: Case) -> Case:
    """The case with mixture, steps and photos alone.

    Left at home are verdicts, opinions, signatures and readings, what was observed, and every free word that
    may tell what the asker thinks: notes of plan, looks and steps, the photos' names, earlier revisions.  The
    title stays, because it is what the question is called.
    """

    def look(of: Look) -> Look:
        return replace(of, note="", photo=replace(of.photo, original_name=""))

    def test(of: JarTest) -> JarTest:
        return replace(of, plan=replace(of.plan, notes=""))

    now = test(case.test)
    return Case(
        test=now,
        revisions=(now,),
        events=tuple(replace(e, note="") for e in case.events if e.kind != "stopped"),
        looks=tuple(look(x) for x in case.looks),
    )
