"""How long each service lasted, as far as the checks after it can tell."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fleet.domain.code import VisitPurpose
from fleet.domain.found import AgedFinding
from fleet.domain.watch import NOTICED_WITHIN_DAYS


@dataclass(frozen=True, slots=True)
class Spell:
    """A gauge after a service: known to be fit after some days, and to be unfit after others.

    ``unfit_days`` is None where no check found it unfit before the next service.
    """

    fit_days: int
    unfit_days: int | None


def spells_of(findings: Iterable[AgedFinding]) -> list[Spell]:
    """Join the checks of a gauge to spells, each from one service to the next.

    Parameters
    ----------
    findings : iterable of AgedFinding
        Of one gauge, in order of day.

    Returns
    -------
    list of Spell
        One for each service of which a later check tells something. A gauge found unfit failed
        at some time since the last check that found it fit (at a repair: not longer ago than
        `NOTICED_WITHIN_DAYS`); a gauge found fit had not failed yet. A check without a verdict
        tells nothing; where it was serviced all the same, the spell ends with what was known
        before.
    """
    spells: list[Spell] = []
    fit_days, over = 0, True
    for finding in findings:
        age_days = finding.age_days or 0
        if age_days > 0 and not over:
            if finding.found.unfit:
                spells.append(Spell(max(fit_days, _fit_till(finding, age_days)), age_days))
                over = True
            elif finding.found.unfit is False:
                fit_days = age_days
        if finding.serviced:
            spells += _still_fit(fit_days, over=over)
            fit_days, over = 0, False
    return [*spells, *_still_fit(fit_days, over=over)]


def _fit_till(finding: AgedFinding, age_days: int) -> int:
    called_out = finding.record.purpose is VisitPurpose.REPAIR
    return age_days - NOTICED_WITHIN_DAYS if called_out else 0


def _still_fit(fit_days: int, *, over: bool) -> list[Spell]:
    return [Spell(fit_days, None)] if fit_days > 0 and not over else []
