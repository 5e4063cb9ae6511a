"""Write visits: new ones added, changed ones superseded as a whole, reconnections watched."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from fleet.services.record_map import Codes
from fleet.services.record_write import Difference, Writing, add_codes
from fleet.services.visit_aggregate import PARTS, VisitAggregate, add_visits, read_visits
from fleet.store.journal import Work
from fleet.store.models.visit import Visit, VisitVersion


def write_visits(
    work: Work,
    incoming: Mapping[str, VisitAggregate],
    *,
    codes: Codes,
    whole: Collection[str] = (),
) -> tuple[Writing, tuple[str, ...]]:
    """Write the visits of one batch.

    Parameters
    ----------
    work : Work
        The open transaction.
    incoming : mapping
        Visit reference to what the input says of it; for a visit that exists, only the rows
        that are given replace the known ones.
    codes : Codes
        Of this transaction.
    whole : collection of str
        References of visits that are given whole: known parts that they lack are gone.

    Returns
    -------
    tuple of Writing and tuple of str
        Counts and differences, and the references that were added or changed.
    """
    result = Writing()
    known = read_visits(work, incoming, codes)
    add_codes(work, Visit, list(incoming), codes)
    fresh: dict[str, VisitAggregate] = {}
    for ref, visit in incoming.items():
        if ref not in known:
            fresh[ref] = visit
            _count(result, visit, VisitAggregate())
            continue
        version_id, old = known[ref]
        merged = old.replaced(visit) if ref in whole else old.merged(visit)
        fields = old.differences(merged)
        _count(result, visit, old)
        if ref in whole:
            _count_gone(result, visit, old)
        if fields:
            result.differences.append(Difference("visits", ref, fields))
            work.supersede(VisitVersion, version_id, key=ref, fields=fields)
            fresh[ref] = merged
    add_visits(work, fresh, codes)
    return result, tuple(fresh)


def _count(result: Writing, visit: VisitAggregate, old: VisitAggregate) -> None:
    if visit.row:
        _count_row(result, "visits", old.row, visit.row)
    for part in PARTS:
        for key, row in visit.parts[part.table].items():
            _count_row(result, part.table, old.parts[part.table].get(key, {}), row)


def _count_gone(result: Writing, visit: VisitAggregate, old: VisitAggregate) -> None:
    for part in PARTS:
        gone = set(old.parts[part.table]) - set(visit.parts[part.table])
        if gone:
            result.count(part.table).changed += len(gone)
            result.count(part.table).read += len(gone)


def _count_row(
    result: Writing, table: str, old: Mapping[str, object], new: Mapping[str, object]
) -> None:
    count = result.count(table)
    count.read += 1
    if not old:
        count.added += 1
    elif any(old.get(name) != value for name, value in new.items()):
        count.changed += 1
    else:
        count.unchanged += 1
