"""What rests on a device that is found to be bad: the checks, and what to check again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from fleet.domain.audit.evidence import Ask, AuditedCheck, Evidence, asked_checks
from fleet.domain.audit.kept import DeviceUse
from fleet.domain.audit.row import GaugePlace, VisitSeen, place_of, row_order, visit_of
from fleet.domain.audit.tolerance import judge_phase, runs_of
from fleet.domain.check import judge
from fleet.domain.code import Phase, Verdict
from fleet.domain.history import CheckRecord, PhaseRuns

_Uses = dict[tuple[str, str], list[DeviceUse]]


@dataclass(frozen=True, slots=True)
class RestedOn:
    """The verdicts that rested on the device; missing for a phase in which it was not used.

    ``*_if_off`` is the verdict had the device poured as is now known; missing where nothing is
    known, or where other devices were used in the phase as well.
    """

    runs: int
    readings: int
    as_found_verdict: str | None
    as_left_verdict: str | None
    as_found_if_off: str | None
    as_left_if_off: str | None


@dataclass(frozen=True, slots=True)
class TaintRow:
    """A check that rests on the device, and whether a later one without it has replaced it.

    ``check_again`` is what is left to be done: ``tip test``, ``switch``, both, or missing where a
    later check without the device stands, or the gauge is gone.
    """

    place: GaugePlace
    visit: VisitSeen
    device_code: str
    rested: RestedOn
    verified_since_on: date | None
    verified_since_by: str | None
    check_again: str | None
    sentence: str


def tainted_checks(evidence: Evidence, ask: Ask) -> list[TaintRow]:
    """List the checks that rest on devices found to be bad.

    Parameters
    ----------
    evidence : Evidence
        Every gauge counts, also those since removed.
    ask : Ask
        ``codes`` are the bad devices, ``since`` the day from which they are not to be trusted
        (missing: ever), ``off_by_percent`` what they are now known to pour beyond what their
        certificate says; for a meter it says nothing.

    Returns
    -------
    list of TaintRow
        In order of site, position, day and device.
    """
    uses: _Uses = defaultdict(list)
    for use in evidence.device_uses:
        uses[use.visit_ref, use.serial].append(use)
    whole = replace(ask, since=ask.since or date.min)
    checks = asked_checks(
        evidence, whole, lambda _, record: (record.visit_ref, record.serial) in uses
    )
    rows = [
        _row(evidence, check, use, uses=uses, ask=ask)
        for check in checks
        for use in uses[check.record.visit_ref, check.record.serial]
        if use.device_code in ask.codes
    ]
    return sorted(rows, key=lambda row: (row_order(row.place, row.visit), row.device_code))


def _row(
    evidence: Evidence, check: AuditedCheck, use: DeviceUse, *, uses: _Uses, ask: Ask
) -> TaintRow:
    since = _verified_since(check, use, uses, ask.codes)
    again = _check_again(check, use, uses, ask.codes)
    rested = _rested(evidence, check, use, uses=uses, ask=ask)
    return TaintRow(
        place=place_of(check.audited),
        visit=visit_of(check.record),
        device_code=use.device_code or "",
        rested=rested,
        verified_since_on=None if since is None else since.visited_on,
        verified_since_by=None if since is None else since.visit_ref,
        check_again=again,
        sentence=_words(use, rested, since, again),
    )


def _rested(
    evidence: Evidence, check: AuditedCheck, use: DeviceUse, *, uses: _Uses, ask: Ask
) -> RestedOn:
    others = [other for other in uses[check.record.visit_ref, check.record.serial] if other != use]
    verdicts: dict[Phase, str | None] = dict.fromkeys(Phase)
    if_off: dict[Phase, str | None] = dict.fromkeys(Phase)
    for phase in use.run_phases:
        judged = judge_phase(evidence, check.gauge, check.record, phase=phase)
        verdicts[phase] = judged.verdict.value
        alone = not any(phase in other.run_phases for other in others)
        if ask.off_by_percent is not None and alone:
            if_off[phase] = _if_off(evidence, check, phase, ask.off_by_percent).value
    return RestedOn(
        runs=use.runs,
        readings=use.readings,
        as_found_verdict=verdicts[Phase.AS_FOUND],
        as_left_verdict=verdicts[Phase.AS_LEFT],
        as_found_if_off=if_off[Phase.AS_FOUND],
        as_left_if_off=if_off[Phase.AS_LEFT],
    )


def _if_off(evidence: Evidence, check: AuditedCheck, phase: Phase, percent: float) -> Verdict:
    """Judge a phase with the volumes that were poured in truth."""
    runs = runs_of(check.record, phase)
    gauge = check.gauge
    return judge(
        None if runs is None else _poured(runs, 1.0 + percent / 100.0),
        gauge.tip_ml,
        policy=evidence.policy(gauge, check.record.visited_on),
        phase=phase,
        test_volume_ml=gauge.test_volume_ml,
    ).verdict


def _poured(runs: PhaseRuns, share: float) -> PhaseRuns:
    volumes = tuple(share * volume for volume in runs.run_volumes_ml)
    return replace(runs, volume_ml=share * runs.volume_ml, run_volumes_ml=volumes)


def _clean(record: CheckRecord, uses: _Uses, codes: Sequence[str], *, kind: str) -> bool:
    """Tell whether a check has runs (or readings) made with equipment, none of it bad."""
    made = [
        use
        for use in uses.get((record.visit_ref, record.serial), ())
        if (use.runs if kind == "runs" else use.readings) > 0
    ]
    return bool(made) and not any(use.device_code in codes for use in made)


def _kinds(use: DeviceUse) -> list[str]:
    return [kind for kind, count in (("runs", use.runs), ("readings", use.readings)) if count]


def _verified_since(
    check: AuditedCheck, use: DeviceUse, uses: _Uses, codes: Sequence[str]
) -> CheckRecord | None:
    """Give the first later check that has all the device was used for, without the device."""
    for record in check.later:
        if all(_clean(record, uses, codes, kind=kind) for kind in _kinds(use)):
            return record
    return None


_WHAT_AGAIN = {"runs": "tip test", "readings": "switch"}


def _check_again(
    check: AuditedCheck, use: DeviceUse, uses: _Uses, codes: Sequence[str]
) -> str | None:
    if not check.audited.stands:
        return None
    left = [
        _WHAT_AGAIN[kind]
        for kind in _kinds(use)
        if not any(_clean(record, uses, codes, kind=kind) for record in check.later)
    ]
    return ", ".join(left) or None


def _words(use: DeviceUse, rested: RestedOn, since: CheckRecord | None, again: str | None) -> str:
    words = [f"Rests on {use.device_code}: runs {rested.runs}, switch readings {rested.readings}."]
    for name, verdict, off in (
        ("as found", rested.as_found_verdict, rested.as_found_if_off),
        ("as left", rested.as_left_verdict, rested.as_left_if_off),
    ):
        if verdict is not None:
            then = f", would be {_plain(off)}" if off not in (None, verdict) else ""
            words.append(f"Was {_plain(verdict)} {name}{then}.")
    if again is not None:
        words.append(f"To be checked again: {again}.")
    elif since is not None:
        words.append(f"Checked without it since, on {since.visited_on} (visit {since.visit_ref}).")
    else:
        words.append("Nothing to check again: the gauge is gone, or parts were checked since.")
    return " ".join(words)


def _plain(verdict: str | None) -> str:
    return (verdict or "").replace("_", " ")
