"""Everything that only sums up the records, made again from them."""

from __future__ import annotations

from sqlalchemy import Connection, delete, select

from jartest.records import queries, summaries
from jartest.records.summary_tables import outcome_products, outcomes, pair_counts, shelf
from jartest.records.tables import signatures

__all__ = ["summarise_again"]

_BATCH = 500  # tests whose records are held in memory at once


def summarise_again(c: Connection) -> None:
    """Make every summary table again from the records."""
    for table in (pair_counts, outcome_products, outcomes, shelf):
        c.execute(delete(table))
    signed = c.execute(select(signatures.c.test_id).distinct()).scalars().all()
    for some in (signed[i : i + _BATCH] for i in range(0, len(signed), _BATCH)):
        cases = queries.load_cases(c, some, with_readings=False)
        found = (summaries.outcome_of(case) for case in cases)
        summaries.add_outcomes(c, [o for o in found if o is not None], count_pairs=False)
    summaries.recount_pairs(c)
    summaries.index_again(c)
