"""What a meter and a hand told of each switch, by the phases of its check."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import String, select, type_coerce
from sqlalchemy.orm import Session

from fleet.domain.code import MeasuredAt, Phase, SwitchReadingKind
from fleet.domain.history import SwitchReadings
from fleet.store.models.visit import GaugeCheck, SwitchReading, VisitVersion
from fleet.store.queries.known import Conditions

_PHASES = {phase.value: phase for phase in Phase}
_CLOSED = SwitchReadingKind.CLOSED_OHM.value
_OPEN = SwitchReadingKind.OPEN_OHM.value
_MANUAL = SwitchReadingKind.MANUAL_TIPS.value
"""Words as the texts that they are kept as: of a million readings not all need become words."""

_NOT_READ = (None, False, None)
"""Value, whether it was over range, and where measured, of a reading that was not taken."""


def readings_by_check(session: Session, seen: Conditions) -> Mapping[int, Sequence[Any]]:
    """Give the readings of each check by its id, for `switch_by_phase`; ``seen`` is on visits."""
    rows = session.connection().execute(
        select(
            SwitchReading.gauge_check_id,
            type_coerce(SwitchReading.phase, String),
            type_coerce(SwitchReading.kind, String),
            SwitchReading.value,
            SwitchReading.over_range,
            type_coerce(SwitchReading.measured_at, String),
        )
        .join(GaugeCheck, GaugeCheck.id == SwitchReading.gauge_check_id)
        .join(VisitVersion, VisitVersion.id == GaugeCheck.visit_version_id)
        .where(*seen)
        .order_by(SwitchReading.gauge_check_id, SwitchReading.phase, SwitchReading.kind)
    )
    grouped: dict[int, list[Any]] = defaultdict(list)
    for check_id, *reading in rows:
        grouped[check_id].append(reading)
    return grouped


def switch_by_phase(rows: Sequence[Any], loop_ohm: float | None) -> dict[str, SwitchReadings]:
    """Give what the readings of one check say of its switch, by the word of the phase.

    Parameters
    ----------
    rows : sequence
        Of one check, as `readings_by_check` gives them.
    loop_ohm : float or None
        Resistance of the loop to the logger, ohm; None where it is not known: a resistance read
        at the logger then says nothing of the terminals.
    """
    by_phase: dict[str, dict[str, Any]] = {}
    for phase, kind, *reading in rows:
        by_phase.setdefault(phase, {})[kind] = reading
    return {phase: _one_phase(phase, kinds, loop_ohm) for phase, kinds in by_phase.items()}


def _one_phase(phase: str, kinds: Mapping[str, Any], loop_ohm: float | None) -> SwitchReadings:
    value, over_range, place = kinds.get(_CLOSED, _NOT_READ)
    measured_at = None if place is None else MeasuredAt(place)
    manual = kinds.get(_MANUAL, _NOT_READ)[0]
    return SwitchReadings(
        phase=_PHASES[phase],
        closed_ohm=None if over_range else _at_terminals(value, measured_at, loop_ohm),
        no_closure=bool(over_range),
        measured_at=measured_at,
        open_ohm=kinds.get(_OPEN, _NOT_READ)[0],
        manual_tips=None if manual is None else round(manual),
    )


def _at_terminals(
    ohm: float | None, measured_at: MeasuredAt | None, loop_ohm: float | None
) -> float | None:
    if ohm is None or measured_at is not MeasuredAt.LOGGER:
        return ohm
    return None if loop_ohm is None else max(0.0, ohm - loop_ohm)
