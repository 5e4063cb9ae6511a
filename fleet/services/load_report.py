"""What a load did, as a table and as sentences."""

from __future__ import annotations

from dataclasses import astuple
from typing import TYPE_CHECKING

from fleet.services.load_network import LoadResult
from fleet.services.reconnection import Reconnection

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = {
    "table": "str",
    "rows_read": "int64",
    "added": "int64",
    "changed": "int64",
    "unchanged": "int64",
}


def count_frame(result: LoadResult) -> pd.DataFrame:
    """Give the counts of each table that was read, in the order in which they were written.

    Returns
    -------
    DataFrame
        With the columns of `COLUMNS`; an empty input gives no rows.
    """
    import pandas as pd

    rows = [astuple(count) for count in result.counts]
    return pd.DataFrame(rows, columns=list(COLUMNS)).astype(COLUMNS)


def load_sentences(result: LoadResult) -> tuple[str, ...]:
    """Give every difference, every follow-up and settled stop, and at last what was written."""
    return (
        *(str(difference) for difference in result.differences),
        *(_about(reconnection) for reconnection in result.reconnections),
        *result.stops,
        _outcome(result),
    )


def _about(reconnection: Reconnection) -> str:
    gauge = f"gauge {reconnection.serial} at {reconnection.site_code}"
    ref, visit = reconnection.follow_up_ref, reconnection.visit_ref
    if reconnection.closed:
        return f"Closed follow-up {ref}: visit {visit}, {gauge}"
    return (
        f"URGENT follow-up {ref}: visit {visit} does not prove that {gauge} was put back on its "
        "logger"
    )


def _outcome(result: LoadResult) -> str:
    added = sum(count.added for count in result.counts)
    changed = sum(count.changed for count in result.counts)
    if not (added or changed):
        return "Nothing differs from the records; nothing was written."
    rows = f"{added} row(s) added, {changed} changed"
    return f"Dry run: {rows}, all taken back." if result.dry_run else f"Written: {rows}."
