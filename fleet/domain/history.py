"""What the records say of one gauge, visit by visit: the input of every forecast and audit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from fleet.domain.code import MeasuredAt, NotDoneReason, Phase, VisitOutcome, VisitPurpose
from fleet.units import bucket_volume_ml


@dataclass(frozen=True, slots=True)
class PhaseRuns:
    """The runs of one phase of one check, pooled.

    ``volume_u_ml`` is the standard uncertainty of one poured volume (k = 1), 0 when no
    certificate is known. ``emptied_runs`` counts the runs that began with emptied buckets.
    ``run_tips``, ``run_volumes_ml`` and ``run_durations_s`` list the runs in their order; a
    duration that was not taken is None.
    """

    phase: Phase
    runs: int
    emptied_runs: int
    volume_ml: float
    tips: int
    volume_u_ml: float
    run_tips: tuple[int, ...] = ()
    run_volumes_ml: tuple[float, ...] = ()
    run_durations_s: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class SwitchReadings:
    """What was read at the switch in one phase; None is not measured.

    ``closed_ohm`` is at the gauge's own terminals: a reading at the logger has the cable's
    loop resistance taken off. ``no_closure`` tells an over-range reading while closed.
    ``manual_tips`` is the count logged for ten slow manual tips.
    """

    phase: Phase
    closed_ohm: float | None = None
    no_closure: bool = False
    measured_at: MeasuredAt | None = None
    open_ohm: float | None = None
    manual_tips: int | None = None

    @property
    def dead(self) -> bool:
        """Tell whether the switch plainly does not count: no closure, or manual tips lost."""
        return self.no_closure or (self.manual_tips is not None and self.manual_tips != 10)

    @property
    def tells_closure(self) -> bool:
        """Tell whether the readings show that the switch closes, or that it does not.

        A resistance read at the logger shows it also where the cable's share is not known.
        """
        read = self.closed_ohm is not None or self.measured_at is not None
        return read or self.no_closure or self.manual_tips is not None

    @property
    def cable_unknown(self) -> bool:
        """Tell whether closed resistance was read through a cable of unknown resistance."""
        through_cable = self.measured_at is MeasuredAt.LOGGER
        return through_cable and self.closed_ohm is None and not self.no_closure


def proof_missing(*, off: bool, proven: bool | None) -> bool:
    """Tell whether nothing proves that a gauge was put back on its logger.

    Parameters
    ----------
    off : bool
        Whether it was isolated, or test tips were made on it.
    proven : bool or None
        What the record says of the proof; None is nothing.

    Notes
    -----
    Common practice, no published source: only a gauge that was off needs the proof; where the
    proof is denied it is missing in any case.
    """
    return proven is False or (off and proven is None)


@dataclass(frozen=True, slots=True)
class CheckRecord:
    """One instrument, or one failed attempt at it, in one visit.

    ``same_instrument`` and ``same_site`` say which of the gauge's two histories the record
    belongs to: the instrument's own (drift, switch) and the site's (blockage). ``partly_found``
    tells of a way of the water that was partly blocked, and not wholly.
    """

    visit_ref: str
    visited_on: date
    outcome: VisitOutcome
    purpose: VisitPurpose
    site_code: str
    serial: str
    same_instrument: bool = True
    same_site: bool = True
    not_done_reason: NotDoneReason | None = None
    checked: bool = True
    cleaned: bool = False
    adjusted: bool = False
    isolated: bool = False
    restoration_proven: bool | None = None
    blocked_found: bool = False
    blocked_left: bool = False
    partly_found: bool = False
    as_found: PhaseRuns | None = None
    as_left: PhaseRuns | None = None
    switch_found: SwitchReadings | None = None
    switch_left: SwitchReadings | None = None
    technicians: tuple[str, ...] = ()

    @property
    def serviced(self) -> bool:
        """Tell whether the gauge itself was serviced: cleaned, adjusted, or tested as left."""
        return (
            self.checked
            and self.outcome is not VisitOutcome.NOT_DONE
            and (self.cleaned or self.adjusted or self.as_left is not None)
        )

    @property
    def left_disconnected(self) -> bool:
        """Tell whether nothing proves that the gauge was put back on its logger."""
        off = self.as_found is not None or self.as_left is not None or self.isolated
        return self.checked and proof_missing(off=off, proven=self.restoration_proven)

    @property
    def tells_connection(self) -> bool:
        """Tell whether the record says anything of the connection: left open, or proven."""
        return self.left_disconnected or (self.checked and self.restoration_proven is True)


@dataclass(frozen=True, slots=True)
class Gauge:
    """One instrument installed at one site's position: what a visit services.

    ``importance`` is the site's weight (1 = ordinary). ``orifice_area_cm2`` is the
    instrument's own measured area where there is one, else its type's.
    """

    installation_id: int
    site_code: str
    position: str
    serial: str
    type_code: str
    installed_on: date
    bucket_mm: float
    orifice_area_cm2: float
    test_volume_ml: float
    siphon: bool
    depot_code: str
    importance: float
    loop_ohm: float | None = None

    @property
    def tip_ml(self) -> float:
        """Give the water volume of one tip in mL."""
        return bucket_volume_ml(self.bucket_mm, self.orifice_area_cm2)


@dataclass(frozen=True, slots=True)
class GaugeHistory:
    """A gauge and its records in order of date, up to the day asked about."""

    gauge: Gauge
    records: tuple[CheckRecord, ...] = field(default=())
