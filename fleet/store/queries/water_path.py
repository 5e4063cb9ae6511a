"""Where the way of the water was found or left blocked."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.domain.code import WATER_PATH, Condition
from fleet.store.models.visit import Finding, VisitVersion
from fleet.store.queries.known import Conditions

Water = tuple[bool, bool, bool]
"""Whether the way of the water was blocked as found, is blocked as left, was partly so as found."""

CLEAR: Water = (False, False, False)


def blocked_water(session: Session, seen: Conditions) -> dict[tuple[int, int | None], Water]:
    """Give what was found, by visit version and instrument; None is the site as a whole."""
    rows = session.execute(
        select(
            Finding.visit_version_id,
            Finding.instrument_id,
            Finding.condition_found,
            Finding.condition_left,
        )
        .join(VisitVersion, VisitVersion.id == Finding.visit_version_id)
        .where(
            *seen,
            Finding.component.in_(sorted(WATER_PATH)),
        )
        .order_by(Finding.id)
    )
    blocked: dict[tuple[int, int | None], Water] = {}
    for version_id, instrument_id, found, left in rows:
        before = blocked.get((version_id, instrument_id), CLEAR)
        blocked[version_id, instrument_id] = (
            before[0] or found is Condition.BLOCKED,
            before[1] or left is Condition.BLOCKED,
            before[2] or found is Condition.PARTLY_BLOCKED,
        )
    return blocked


def water_at(
    blocked: Mapping[tuple[int, int | None], Water], version_id: int, instrument_id: int | None
) -> Water:
    """Give what was found at an instrument or at its site, of what `blocked_water` gave."""
    own = blocked.get((version_id, instrument_id), CLEAR)
    site = blocked.get((version_id, None), CLEAR)
    return own[0] or site[0], own[1] or site[1], own[2] or site[2]
