"""The runs of every check, by its phases, as forecasts and audits read them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from datetime import date, datetime
from itertools import groupby
from operator import itemgetter
from typing import Any

from sqlalchemy import String, select, type_coerce
from sqlalchemy.orm import Session

from fleet.domain.code import Phase, StartState
from fleet.domain.history import PhaseRuns
from fleet.store.models.instrument import Certificate
from fleet.store.models.visit import GaugeCheck, TipRun, VisitVersion
from fleet.store.queries.known import Conditions, known

_PHASES = {phase.value: phase for phase in Phase}
_EMPTIED = StartState.EMPTIED.value
"""Words as the texts that they are kept as: of a million runs they need not all become words."""


def runs_by_phase(
    session: Session, seen: Conditions, days: Mapping[int, date], known_on: datetime | None
) -> dict[int, dict[str, PhaseRuns]]:
    """Give the runs of each check, a phase together.

    Parameters
    ----------
    session : Session
        Only read from.
    seen : conditions
        On the visits.
    days : mapping
        The local day of each check, by its id.
    known_on : datetime or None
        As the certificates of the devices were known then; None is now.

    Returns
    -------
    dict
        By the check's id, then by the word of the phase.
    """
    uncertainty = _volume_uncertainty(session, known_on)
    found = session.connection().execute(
        select(
            TipRun.gauge_check_id,
            type_coerce(TipRun.phase, String),
            TipRun.volume_ml,
            TipRun.tips,
            type_coerce(TipRun.start_state, String),
            TipRun.device_id,
            TipRun.duration_s,
        )
        .join(GaugeCheck, GaugeCheck.id == TipRun.gauge_check_id)
        .join(VisitVersion, VisitVersion.id == GaugeCheck.visit_version_id)
        .where(*seen)
        .order_by(TipRun.gauge_check_id, TipRun.phase, TipRun.run_number)
    )
    rows: Any = found.cursor  # numbers and texts of millions of runs: as the driver gives them
    phases: dict[int, dict[str, PhaseRuns]] = defaultdict(dict)
    for (check_id, phase), group in groupby(rows, key=itemgetter(0, 1)):
        _, _, volumes_ml, tips, starts, devices, durations_s = zip(*group, strict=True)
        day = days[check_id]
        phases[check_id][phase] = PhaseRuns(
            phase=_PHASES[phase],
            runs=len(tips),
            emptied_runs=starts.count(_EMPTIED),
            volume_ml=sum(volumes_ml),
            tips=sum(tips),
            volume_u_ml=max(uncertainty(device, day) for device in set(devices)),
            run_tips=tips,
            run_volumes_ml=volumes_ml,
            run_durations_s=durations_s,
        )
    return phases


def _volume_uncertainty(
    session: Session, known_on: datetime | None
) -> Callable[[int | None, date], float]:
    rows = session.execute(
        select(
            Certificate.device_id,
            Certificate.valid_from,
            Certificate.expanded_uncertainty_ml,
        )
        .where(known(Certificate, known_on), Certificate.expanded_uncertainty_ml.is_not(None))
        .order_by(Certificate.device_id, Certificate.valid_from)
    )
    by_device: dict[int, list[tuple[date, float]]] = defaultdict(list)
    for device_id, valid_from, expanded in rows:
        by_device[device_id].append((valid_from, (expanded or 0.0) / 2.0))

    def uncertainty(device_id: int | None, on: date) -> float:
        """Give the standard uncertainty by the newest certificate of that day, else 0."""
        if device_id is None:
            return 0.0
        seen = [u for start, u in by_device.get(device_id, ()) if start <= on]
        return seen[-1] if seen else 0.0

    return uncertainty
