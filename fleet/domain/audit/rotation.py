"""Instruments that are due on the bench, and whether there are spares to take their places."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from fleet.domain.audit.evidence import Ask, AuditedGauge, Evidence
from fleet.domain.audit.kept import InstrumentKept
from fleet.domain.audit.row import GaugePlace, place_of
from fleet.domain.audit.spare import ready_by_type, stands, stays_by_serial
from fleet.domain.code import InstrumentStatus

FIELD_DAYS = 730
"""How long an instrument stays in the field before it is due on the bench, unless told
otherwise: two years, common practice, no published source."""

SHORT_STOP_DAYS = 30
"""An instrument that is put up again within so many days was moved, not overhauled: a choice of
this program, no published source."""


@dataclass(frozen=True, slots=True)
class RotationRow:
    """A gauge that has been in the field for longer than it should without the bench.

    ``in_field_since`` reaches back over moves from site to site. ``spares_ready`` are
    instruments of its type that could take its place.
    """

    place: GaugePlace
    in_field_since: date
    days_in_field: int
    due_on: date
    days_over: int
    spares_ready: int
    sentence: str


@dataclass(frozen=True, slots=True)
class PoolRow:
    """How many instruments of a type there are, where, and how many are wanted next.

    ``short`` is what rotation asks for beyond the spares that are ready.
    """

    type_code: str
    standing: int
    spare: int
    ready: int
    workshop: int
    retired: int
    rotation_due: int
    short: int
    sentence: str


def rotation(evidence: Evidence, ask: Ask) -> list[RotationRow]:
    """List the gauges that are due on the bench.

    Parameters
    ----------
    evidence : Evidence
        With the register of instruments.
    ask : Ask
        ``days`` is how long an instrument may stay in the field (default 730).

    Returns
    -------
    list of RotationRow
        The longest in the field first, then by site and position.
    """
    limit = FIELD_DAYS if ask.days is None else ask.days
    stays = stays_by_serial(evidence)
    ready = ready_by_type(evidence, stays)
    rows = [
        _rotation_row(audited, since, ready[audited.gauge.type_code], limit=limit, as_of=ask.as_of)
        for audited in evidence.standing()
        for since in (_in_field_since(stays[audited.gauge.serial]),)
        if (ask.as_of - since).days >= limit
    ]
    return sorted(
        rows, key=lambda row: (-row.days_in_field, row.place.site_code, row.place.position)
    )


def _in_field_since(stays: Sequence[AuditedGauge]) -> date:
    """Go back from the present stay over stays that followed one another closely."""
    since = stays[-1].gauge.installed_on
    for audited in reversed(stays[:-1]):
        left = audited.removed_on
        if left is None or (since - left).days > SHORT_STOP_DAYS:
            break
        since = audited.gauge.installed_on
    return since


def _rotation_row(
    audited: AuditedGauge, since: date, ready: int, *, limit: int, as_of: date
) -> RotationRow:
    days = (as_of - since).days
    return RotationRow(
        place=place_of(audited),
        in_field_since=since,
        days_in_field=days,
        due_on=since + timedelta(days=limit),
        days_over=days - limit,
        spares_ready=ready,
        sentence=(
            f"In the field since {since}, {days} days, where {limit} are asked for; spares of its "
            f"type ready: {ready}."
        ),
    )


def pool(evidence: Evidence, ask: Ask) -> list[PoolRow]:
    """Count the instruments of each type by where they are, and those due on the bench.

    Parameters
    ----------
    evidence : Evidence
        With the register of instruments.
    ask : Ask
        ``days`` as in `rotation`.

    Returns
    -------
    list of PoolRow
        In order of type.
    """
    stays = stays_by_serial(evidence)
    due = Counter(row.place.type_code for row in rotation(evidence, ask))
    ready = ready_by_type(evidence, stays)
    types = sorted({kept.type_code for kept in evidence.instruments})
    return [
        _pool_row(evidence.instruments, stays, (code, ready[code], due[code])) for code in types
    ]


def _pool_row(
    kept: Iterable[InstrumentKept],
    stays: dict[str, list[AuditedGauge]],
    counted: tuple[str, int, int],
) -> PoolRow:
    code, ready, due = counted
    own = [one for one in kept if one.type_code == code]
    standing = sum(stands(stays[one.serial]) for one in own)
    away = Counter(one.status for one in own if not stands(stays[one.serial]))
    short = max(0, due - ready)
    words = f"{due} due on the bench, {ready} ready to take their place"
    return PoolRow(
        type_code=code,
        standing=standing,
        spare=away[InstrumentStatus.SPARE],
        ready=ready,
        workshop=away[InstrumentStatus.WORKSHOP],
        retired=away[InstrumentStatus.RETIRED],
        rotation_due=due,
        short=short,
        sentence=f"{words}: {short} short." if short else f"{words}.",
    )
