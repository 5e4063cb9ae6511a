"""What must hold between rows: spans, runs, times inside a visit, policies."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from datetime import date, timedelta
from typing import Any

from fleet.domain.code import PolicyScope, RestScope
from fleet.domain.policy import OPTIONAL_TERMS, PolicyTerms
from fleet.ingest.draft import Draft, Row
from fleet.ingest.known import InstallationSpan, Key, KnownCodes
from fleet.ingest.link import Drafts, known_codes_of
from fleet.ingest.nearest import did_you_mean

VISIT_MARGIN = timedelta(hours=12)
"""How far outside the visit a gauge may be isolated or restored: an hour slip is not, a wrong day
is a mistake (common practice, no published source)."""

_Placed = tuple[InstallationSpan, Row | None]
"""A span, with its row where it comes from the batch."""

_SCOPED = {PolicyScope.TYPE: "gauge_types", PolicyScope.SITE: "sites"}
_REST_SCOPED = {RestScope.DEPOT: "depots", RestScope.TECHNICIAN: "technicians"}


def check_crossings(drafts: Drafts, searched: Drafts, known: KnownCodes) -> None:
    """Complain of everything that is wrong only between rows.

    Parameters
    ----------
    drafts : mapping
        The tables to check.
    searched : mapping
        The tables of the batch, those to check among them.
    known : KnownCodes
        What the records hold already.
    """
    checks: Mapping[str, Callable[[Draft, Drafts, KnownCodes], None]] = {
        "installations": _check_overlaps,
        "policies": _check_policies,
        "rest_rules": _check_rest_rules,
        "gauge_checks": _check_times,
        "tip_runs": _check_runs,
    }
    for table, check in checks.items():
        if table in drafts:
            check(drafts[table], searched, known)


def _check_overlaps(draft: Draft, drafts: Drafts, known: KnownCodes) -> None:
    """Compare spans in order of day, a batch row in place of the known one with its key."""
    del drafts
    new = [(span, row) for row in draft.rows if (span := _span(row)) is not None]
    replaced = {span.key for span, _ in new}
    old = [(span, None) for span in known.installations if span.key not in replaced]
    by_serial: dict[str, list[_Placed]] = defaultdict(list)
    by_place: dict[tuple[str, str], list[_Placed]] = defaultdict(list)
    for span, row in (*old, *_first_of_each(new)):
        by_serial[span.serial].append((span, row))
        by_place[span.site_code, span.position].append((span, row))
    for group in by_serial.values():
        _tell_overlaps(draft, group, "serial")
    for group in by_place.values():
        _tell_overlaps(draft, group, "position")


def _first_of_each(
    new: Iterable[tuple[InstallationSpan, Row]],
) -> list[tuple[InstallationSpan, Row]]:
    """Leave out spans whose key stands twice: that is told elsewhere."""
    kept: dict[Key, tuple[InstallationSpan, Row]] = {}
    for span, row in new:
        kept.setdefault(span.key, (span, row))
    return list(kept.values())


def _span(row: Row) -> InstallationSpan | None:
    names = ("site_code", "position", "installed_on", "serial", "removed_on")
    if any(name not in row.values for name in names):
        return None
    span = InstallationSpan(*(row.values[name] for name in names))
    wrong = span.removed_on is not None and span.removed_on <= span.installed_on
    return None if wrong else span


def _tell_overlaps(draft: Draft, group: list[_Placed], column: str) -> None:
    """Hold each span against the one before it that reaches farthest."""
    far: _Placed | None = None
    for placed in sorted(group, key=lambda placed: placed[0].installed_on):
        if far is not None and far[0].overlaps(placed[0]):
            _tell_overlap(draft, far, placed, column)
        if far is None or _end(placed[0]) >= _end(far[0]):
            far = placed


def _tell_overlap(draft: Draft, before: _Placed, after: _Placed, column: str) -> None:
    """Blame the later span, but never one that the records hold."""
    (span, row), (other, _) = (after, before) if after[1] is not None else (before, after)
    if row is None:
        return
    if column == "serial":
        there = f"it stands at {other.site_code} {other.position} {_days(other)}"
    else:
        there = f"{other.serial} stands there {_days(other)}"
    draft.log.add(
        f"{there}, which overlaps this row, {_days(span)}",
        row=row.row_number,
        column=column,
        value=str(row.values[column]),
    )


def _end(span: InstallationSpan) -> date:
    return span.removed_on or date.max


def _days(span: InstallationSpan) -> str:
    until = "" if span.removed_on is None else f" until {span.removed_on}"
    return f"from {span.installed_on}{until}"


def _check_policies(draft: Draft, drafts: Drafts, known: KnownCodes) -> None:
    network = {key for key in known.keys_of("policies") if key[0] == PolicyScope.NETWORK}
    for row in draft.rows:
        scope = row.values.get("scope")
        if scope is PolicyScope.NETWORK and not network - {draft.key_of(row)}:
            _tell_missing_terms(draft, row)
        elif scope in _SCOPED:
            _tell_unknown_scope(draft, row, _SCOPED[scope], drafts=drafts, known=known)


def _check_rest_rules(draft: Draft, drafts: Drafts, known: KnownCodes) -> None:
    for row in draft.rows:
        scope = row.values.get("scope")
        if scope in _REST_SCOPED:
            _tell_unknown_scope(draft, row, _REST_SCOPED[scope], drafts=drafts, known=known)


def _tell_missing_terms(draft: Draft, row: Row) -> None:
    for term in fields(PolicyTerms):
        blank = term.name in row.values and row.values[term.name] is None
        if blank and term.name not in OPTIONAL_TERMS:
            expected = "a value is required: there is nothing wider to inherit it from"
            draft.log.add(expected, row=row.row_number, column=term.name)


def _tell_unknown_scope(
    draft: Draft, row: Row, table: str, *, drafts: Drafts, known: KnownCodes
) -> None:
    code = row.values.get("scope_code")
    if code is None or (table in drafts and not drafts[table].log.complete):
        return
    codes = known_codes_of(table, drafts, known)
    stray = drafts[table].stray_keys if table in drafts else set()
    if code not in codes | stray:
        hint = did_you_mean(code, sorted(codes))
        draft.log.add(
            f"neither the files nor the records have it in {table}{hint}",
            row=row.row_number,
            column="scope_code",
            value=code,
        )


def _check_times(draft: Draft, drafts: Drafts, known: KnownCodes) -> None:
    """Hold isolation and restoration against the visit, where the batch has it."""
    del known
    visits = {row.values.get("visit_ref"): row for row in _rows(drafts, "visits")}
    for row in draft.rows:
        visit = visits.get(row.values.get("visit_ref"))
        arrived = visit.values.get("arrived_at") if visit else None
        departed = visit.values.get("departed_at") if visit else None
        for name in ("isolated_at", "restored_at"):
            at = row.values.get(name)
            if at is None or arrived is None or departed is None:
                continue
            if not arrived - VISIT_MARGIN <= at <= departed + VISIT_MARGIN:
                draft.log.add(
                    "more than 12 hours outside the visit, "
                    f"{arrived.isoformat()} to {departed.isoformat()}",
                    row=row.row_number,
                    column=name,
                    value=at.isoformat(),
                )


def _check_runs(draft: Draft, drafts: Drafts, known: KnownCodes) -> None:
    """Complain once a phase whose runs do not count 1, 2, 3."""
    del drafts
    keys = draft.all_keys()
    if not draft.log.complete or None in keys:
        return
    every: set[Key] = {key for key in keys if key}
    phases = {key[:-1] for key in every}
    every |= {key for key in known.keys_of("tip_runs") if key[:-1] in phases}
    counts = Counter(key[:-1] for key in every)
    if not all(_number(key) <= counts[key[:-1]] for key in every):
        _tell_runs(draft, every)


def _number(key: Key) -> int:
    """Give the number of a run by its key; it is at least 1."""
    number: Any = key[-1]
    return int(number)


def _tell_runs(draft: Draft, every: Iterable[Key]) -> None:
    numbers: dict[Key, set[int]] = defaultdict(set)
    for key in every:
        numbers[key[:-1]].add(_number(key))
    first_rows: dict[Key, int] = {}
    for row, own in zip(draft.rows, draft.all_keys(), strict=True):
        first_rows.setdefault((own or ())[:-1], row.row_number)
    for phase_key, row_number in first_rows.items():
        found = numbers[phase_key]
        if found != set(range(1, len(found) + 1)):
            shown = ", ".join(str(number) for number in sorted(found))
            draft.log.add(
                f"runs {shown} of {' '.join(str(part) for part in phase_key)}; "
                "the runs of a phase count 1, 2, 3 without a gap",
                row=row_number,
                column="run_number",
            )


def _rows(drafts: Drafts, table: str) -> list[Row]:
    return drafts[table].rows if table in drafts else []
