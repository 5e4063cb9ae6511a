"""Patterns over many checks. They point where to look; they prove nothing.

Both rules are common practice without a published source.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from fleet.domain.audit.evidence import (
    Ask,
    AuditedCheck,
    AuditedGauge,
    Evidence,
    asked_checks,
    is_check,
)
from fleet.domain.audit.row import GaugePlace, place_of
from fleet.domain.audit.tolerance import runs_of
from fleet.domain.check import phase_error
from fleet.domain.code import Phase
from fleet.domain.history import CheckRecord

LEAST_ADJUSTMENTS = 3
"""Services in a row, each with an adjustment, that are called a pattern: a choice of this
program, no published source."""

LEAST_RUNS = {"technician": 20, "gauge": 8}
"""Runs that are called many, of a technician and of one gauge: a choice of this program, no
published source. A gauge without error, whose buckets hold an unknown rest, comes within half a
tip in three runs of four on average over the fraction of its expected count (triangular error
over two tips, first principles): in 20 of 20 with 0.75^20 = 0.3 %, in 8 of 8 with 10 %."""

NEAREST_TIPS = 0.5
"""A count within half a tip is the whole number nearest to the expected one (first principles)."""

_NOISE_TIPS = 1e-9


@dataclass(frozen=True, slots=True)
class AdjustedRow:
    """An instrument that was adjusted at each of its latest services, wherever it stood.

    ``as_found_errors_percent`` lists the errors of those services in order, ``-`` where nothing
    was measured.
    """

    place: GaugePlace
    adjusted_in_a_row: int
    services: int
    adjusted: int
    first_on: date
    last_on: date
    visit_refs: str
    as_found_errors_percent: str
    sentence: str


@dataclass(frozen=True, slots=True)
class TooPerfectRow:
    """A technician, or a gauge, whose counts as found are all the nearest to the expected ones.

    ``about`` is ``technician`` or ``gauge``; site, position and serial are of the gauge (where
    it was checked last) and missing for a technician. ``others_nearest_percent`` is the share
    of all other runs that come as near, missing where there are none; ``chance`` is the
    probability of such a row at that share, were runs independent and gauges alike, which they
    are not quite.
    """

    about: str
    technicians: str
    depot_code: str
    site_code: str | None
    position: str | None
    serial: str | None
    runs: int
    checks: int
    gauges: int
    first_on: date
    last_on: date
    last_visit_ref: str
    furthest_tips: float
    others_runs: int
    others_nearest_percent: float | None
    chance: float | None
    sentence: str


def adjusted_every_time(evidence: Evidence, ask: Ask) -> list[AdjustedRow]:
    """List the instruments that were adjusted at each of their latest services.

    Parameters
    ----------
    evidence : Evidence
    ask : Ask
        ``least`` is how many in a row (default 3). With ``since`` earlier services do not
        count, and instruments since removed do.

    Returns
    -------
    list of AdjustedRow
        The longest row first, then by site and position. A visit that neither serviced nor
        tested the instrument does not break a row.
    """
    least = LEAST_ADJUSTMENTS if ask.least is None else ask.least
    latest: dict[str, AuditedGauge] = {}
    for audited in sorted(evidence.gauges, key=lambda audited: audited.gauge.installed_on):
        if audited.stands or ask.since is not None:
            latest[audited.gauge.serial] = audited
    rows = [
        _adjusted_row(audited, services, count)
        for audited in latest.values()
        for services in (_services(audited, ask.since),)
        for count in (_adjusted_at_end(services),)
        if count >= least
    ]
    return sorted(
        rows, key=lambda row: (-row.adjusted_in_a_row, row.place.site_code, row.place.position)
    )


def _services(audited: AuditedGauge, since: date | None) -> list[CheckRecord]:
    return [
        record
        for record in audited.history.records
        if record.same_instrument
        and is_check(record)
        and (record.serviced or record.as_found is not None)
        and record.visited_on >= (since or date.min)
    ]


def _adjusted_at_end(services: Sequence[CheckRecord]) -> int:
    count = 0
    for record in reversed(services):
        if not record.adjusted:
            break
        count += 1
    return count


def _adjusted_row(
    audited: AuditedGauge, services: Sequence[CheckRecord], count: int
) -> AdjustedRow:
    row = services[-count:]
    errors = ", ".join(_error_words(record, audited.gauge.tip_ml) for record in row)
    return AdjustedRow(
        place=place_of(audited),
        adjusted_in_a_row=count,
        services=len(services),
        adjusted=sum(record.adjusted for record in services),
        first_on=row[0].visited_on,
        last_on=row[-1].visited_on,
        visit_refs=" ".join(record.visit_ref for record in row),
        as_found_errors_percent=errors,
        sentence=(
            f"Adjusted at each of its last {count} services, {row[0].visited_on} to "
            f"{row[-1].visited_on}; errors as found in percent: {errors}. A gauge that never "
            "holds its adjustment may be unstable (a pointer, not a proof)."
        ),
    )


def _error_words(record: CheckRecord, tip_ml: float) -> str:
    runs = runs_of(record, Phase.AS_FOUND)
    return "-" if runs is None else f"{phase_error(runs, tip_ml).error_percent:+.1f}"


@dataclass(frozen=True, slots=True)
class _Run:
    """One run as found: how far its count lies from the expected one, in tips."""

    check: AuditedCheck
    off_tips: float

    @property
    def nearest(self) -> bool:
        return abs(self.off_tips) <= NEAREST_TIPS + _NOISE_TIPS

    def owners(self, about: str) -> tuple[str, ...]:
        record = self.check.record
        return (record.serial,) if about == "gauge" else record.technicians


def too_perfect(evidence: Evidence, ask: Ask) -> list[TooPerfectRow]:
    """List the technicians, and the gauges, of which every run as found is within half a tip.

    Parameters
    ----------
    evidence : Evidence
        Every gauge counts, also those since removed.
    ask : Ask
        ``least`` is how many runs are many (default 20 of a technician, 8 of a gauge). Without
        ``since`` every run counts.

    Returns
    -------
    list of TooPerfectRow
        Technicians first, in order of code, then gauges in order of serial. A run counts for
        everybody who was there. Where more than one depot is concerned, they are separated by
        a space.
    """
    every = _all_runs(evidence, ask)
    groups: dict[tuple[str, str], list[_Run]] = defaultdict(list)
    for run in every:
        for about in LEAST_RUNS:
            for code in run.owners(about):
                groups[about, code].append(run)
    return [
        _too_perfect_row(about, code, groups[about, code], every=every)
        for about in LEAST_RUNS
        for code in sorted(code for owned, code in groups if owned == about)
        if _is_perfect(groups[about, code], ask.least or LEAST_RUNS[about])
    ]


def perfect_checks(evidence: Evidence, ask: Ask) -> frozenset[tuple[str, str | None]]:
    """Give visit and serial of every check behind the rows of `too_perfect`."""
    owners = {
        (row.about, row.serial if row.about == "gauge" else row.technicians)
        for row in too_perfect(evidence, ask)
    }
    return frozenset(
        (run.check.record.visit_ref, run.check.record.serial)
        for run in _all_runs(evidence, ask)
        for about in LEAST_RUNS
        if any((about, code) in owners for code in run.owners(about))
    )


def _is_perfect(runs: Sequence[_Run], least: int) -> bool:
    return len(runs) >= least and all(run.nearest for run in runs)


def _all_runs(evidence: Evidence, ask: Ask) -> list[_Run]:
    whole = replace(ask, since=ask.since or date.min)
    checks = asked_checks(evidence, whole, lambda _, record: record.as_found is not None)
    return [
        _Run(check, tips - volume / check.gauge.tip_ml)
        for check in sorted(checks, key=lambda check: check.record.visited_on)
        for phase in (check.record.as_found,)
        if phase is not None
        for tips, volume in zip(phase.run_tips, phase.run_volumes_ml, strict=True)
    ]


def _too_perfect_row(
    about: str, code: str, runs: Sequence[_Run], *, every: Sequence[_Run]
) -> TooPerfectRow:
    others = [run for run in every if code not in run.owners(about)]
    share = sum(run.nearest for run in others) / len(others) if others else None
    records = [run.check.record for run in runs]
    gauge = runs[-1].check.gauge if about == "gauge" else None
    crew = {technician for record in records for technician in record.technicians}
    checks = len({(record.visit_ref, record.serial) for record in records})
    return TooPerfectRow(
        about=about,
        technicians=" ".join(sorted(crew)) if gauge else code,
        depot_code=" ".join(sorted({run.check.gauge.depot_code for run in runs})),
        site_code=gauge.site_code if gauge else None,
        position=gauge.position if gauge else None,
        serial=gauge.serial if gauge else None,
        runs=len(runs),
        checks=checks,
        gauges=len({record.serial for record in records}),
        first_on=records[0].visited_on,
        last_on=records[-1].visited_on,
        last_visit_ref=records[-1].visit_ref,
        furthest_tips=max(abs(run.off_tips) for run in runs),
        others_runs=len(others),
        others_nearest_percent=None if share is None else 100.0 * share,
        chance=None if share is None else share ** len(runs),
        sentence=_too_perfect_words(f"{about} {code}", len(runs), checks, share),
    )


def _too_perfect_words(whose: str, runs: int, checks: int, share: float | None) -> str:
    words = (
        f"All {runs} runs as found of {whose}, in {checks} checks, lie within half a tip of the "
        "expected count"
    )
    if share is not None:
        words += f"; of all other runs, {100.0 * share:.0f} % do"
    return f"{words}. A pointer, not a proof: look at the original forms."
