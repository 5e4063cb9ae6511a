"""What was changed after it had been written down: who, when, why, the old value and the new."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from fleet.domain.audit.evidence import Ask, Evidence
from fleet.domain.audit.kept import KeptAmendment


@dataclass(frozen=True, slots=True)
class AmendmentRow:
    """One field of one record that was changed, by one ledger entry; ``changed_at`` is in UTC."""

    changed_at: datetime
    changed_by: str
    action: str
    reason: str
    ledger_entry: int
    record: str
    key: str
    field: str
    old: str | None
    new: str | None
    sentence: str


def amendments(evidence: Evidence, ask: Ask) -> list[AmendmentRow]:
    """List every change of a record.

    Parameters
    ----------
    evidence : Evidence
        With the changes up to the end, in UTC, of the day asked about.
    ask : Ask
        With ``since`` those from the beginning of that day in UTC on.

    Returns
    -------
    list of AmendmentRow
        In the order in which they were made.
    """
    since = ask.since or date.min
    return [_row(kept) for kept in evidence.amendments if kept.at.date() >= since]


def _row(kept: KeptAmendment) -> AmendmentRow:
    old, new = kept.old or "nothing", kept.new or "nothing"
    why = kept.reason or "no reason given"
    return AmendmentRow(
        changed_at=kept.at,
        changed_by=kept.actor,
        action=kept.action,
        reason=kept.reason,
        ledger_entry=kept.entry_id,
        record=kept.record,
        key=kept.key,
        field=kept.field,
        old=kept.old,
        new=kept.new,
        sentence=f"{kept.actor} changed {kept.field} of {kept.key} from {old} to {new}: {why}.",
    )
