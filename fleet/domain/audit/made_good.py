"""Whether a fault was made good, when, and what shows it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from fleet.domain.audit.evidence import AuditedCheck, AuditedGauge
from fleet.domain.code import Phase
from fleet.domain.history import CheckRecord

REMOVAL = "removal"


@dataclass(frozen=True, slots=True)
class MadeGood:
    """When and by what a fault was made good: a visit, or the gauge's removal; else missing."""

    made_good_on: date | None = None
    made_good_by: str | None = None

    @property
    def words(self) -> str:
        """Say it in a sentence."""
        if self.made_good_on is None:
            return "Not made good since."
        how = "by the gauge's removal"
        if self.made_good_by != REMOVAL:
            how = f"as shown by visit {self.made_good_by}"
        return f"Made good on {self.made_good_on} {how}."


def first_record(
    audited: AuditedGauge, later: tuple[CheckRecord, ...], proves: Callable[[CheckRecord], bool]
) -> MadeGood:
    """Give the first later record that proves a mend, else the gauge's removal, else nothing."""
    for record in later:
        if proves(record):
            return MadeGood(record.visited_on, record.visit_ref)
    return MadeGood(audited.removed_on, None if audited.removed_on is None else REMOVAL)


def first_pass(check: AuditedCheck, passed: Callable[[CheckRecord, Phase], bool]) -> MadeGood:
    """Give the first phase after a failed one that passed.

    Parameters
    ----------
    check : AuditedCheck
        The check that failed, as found or as left; as left of the same visit may have passed.
    passed : callable
        Whether a phase of a record passed; one that was not measured did not.

    Returns
    -------
    MadeGood
        The gauge's removal counts too, where no phase passed before it.
    """
    if passed(check.record, Phase.AS_LEFT):
        return MadeGood(check.record.visited_on, check.record.visit_ref)
    return first_record(
        check.audited, check.later, lambda record: any(passed(record, step) for step in Phase)
    )
