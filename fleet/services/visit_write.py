"""Write visits: new ones added, changed ones superseded as a whole, reconnections watched."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from fleet.services.record_map import Codes
from fleet.services.record_write import Difference, Writing, add_codes
from fleet.services.visit_add import VisitRows, add_visits
from fleet.services.visit_aggregate import (
    PARTS,
    Row,
    VisitAggregate,
    gather_visits,
    read_visits,
    with_local_day,
)
from fleet.store.journal import Work
from fleet.store.models.visit import Visit, VisitVersion

_TABLES = ("visits", *(part.table for part in PARTS))


def write_visits(
    work: Work,
    rows: Mapping[str, Sequence[Row]],
    *,
    codes: Codes,
    whole: Collection[str] = (),
) -> tuple[Writing, tuple[str, ...]]:
    """Write the visits of one batch.

    Parameters
    ----------
    work : Work
        The open transaction.
    rows : mapping
        Table name to checked rows in the words of the input; tables other than visits and their
        parts are passed over. Of a visit that exists, only the rows that are given replace the
        known ones.
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
    given = {table: rows.get(table, ()) for table in _TABLES}
    refs = list(dict.fromkeys(row["visit_ref"] for kept in given.values() for row in kept))
    known = read_visits(work, refs, codes)
    add_codes(work, Visit, refs, codes)
    new = {t: [row for row in kept if row["visit_ref"] not in known] for t, kept in given.items()}
    old = {t: [row for row in kept if row["visit_ref"] in known] for t, kept in given.items()}
    _count_new(result, new)
    amended: dict[str, VisitAggregate] = {}
    for ref, visit in gather_visits(old).items():
        version_id, before = known[ref]
        merged = before.replaced(visit) if ref in whole else before.merged(visit)
        fields = before.differences(merged)
        _count(result, visit, before)
        if ref in whole:
            _count_gone(result, visit, before)
        if fields:
            result.differences.append(Difference("visits", ref, fields))
            work.supersede(VisitVersion, version_id, key=ref, fields=fields)
            amended[ref] = merged
    written = [ref for ref in refs if ref in amended or ref not in known]
    add_visits(work, _fresh(written, new, amended), codes)
    return result, tuple(written)


def _fresh(
    refs: Iterable[str], new: Mapping[str, Sequence[Row]], amended: Mapping[str, VisitAggregate]
) -> VisitRows:
    """Put the rows of new and of amended visits into the order of the visits."""
    heads = [with_local_day(dict(row)) for row in new["visits"]]
    heads += [{"visit_ref": ref, **visit.row} for ref, visit in amended.items()]
    fresh: dict[str, list[Row]] = {"visits": [*heads]}
    for part in PARTS:
        fresh[part.table] = [
            *new[part.table],
            *(
                {"visit_ref": ref, **row}
                for ref, visit in amended.items()
                for row in visit.parts[part.table].values()
            ),
        ]
    places = {ref: place for place, ref in enumerate(refs)}
    for kept in fresh.values():
        kept.sort(key=lambda row: places[row["visit_ref"]])
    return fresh


def _count_new(result: Writing, new: Mapping[str, Sequence[Row]]) -> None:
    for table, kept in new.items():
        if kept:
            count = result.count(table)
            count.read += len(kept)
            count.added += len(kept)


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
