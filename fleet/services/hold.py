"""What the coordinator decides about a site ahead of the planner: add, list and lift holds."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, timedelta

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.domain.code import HoldKind
from fleet.errors import ConflictError, NotFoundError
from fleet.ingest.tables.office import HOLDS
from fleet.services.gauge_write import writing
from fleet.services.record_map import RECORD_MAPS, Codes, current_rows
from fleet.services.record_write import write_rows
from fleet.store.journal import Wish, Work
from fleet.store.models.people import Technician
from fleet.store.models.site import Hold, Site
from fleet.store.queries.place import KeptHold, holds, sites

COLUMNS = (
    "site_code",
    "site_name",
    "depot_code",
    "kind",
    "first_day",
    "last_day",
    "technician_code",
    "reason",
)
HOLD_MAP = next(record for record in RECORD_MAPS if record.table == HOLDS.name)
_OPPOSED = {HoldKind.MUST_VISIT, HoldKind.NOT_THIS_WEEK}


@dataclass(frozen=True, slots=True)
class LiftedHold:
    """A hold that was ended; ``last_day`` is None for one that never bound."""

    hold: KeptHold
    last_day: date | None


def make_hold(
    site_code: str,
    kind: HoldKind,
    *,
    first_day: date,
    last_day: date,
    technician_code: str | None,
    reason: str,
) -> KeptHold:
    """Put a wish into words; whether it can be is told by `add_hold`."""
    return KeptHold(site_code, kind, first_day, last_day, technician_code, reason)


def list_holds(
    sessions: sessionmaker[Session],
    *,
    today: date,
    depot_code: str | None = None,
    past_too: bool = False,
) -> pd.DataFrame:
    """List the holds that bind today or later.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    today : date
        Holds whose last day lies before it are past.
    depot_code : str, optional
        Only sites of this depot.
    past_too : bool
        Whether past ones are listed as well.

    Returns
    -------
    DataFrame
        Columns as in `COLUMNS`, in order of site, kind and first day.
    """
    with sessions() as session:
        places = sites(session, depot_code=depot_code)
        kept = holds(session, date.min if past_too else today, date.max)
    rows = [
        {
            **asdict(hold),
            "kind": hold.kind.value,
            "site_name": places[hold.site_code].name,
            "depot_code": places[hold.site_code].depot_code,
        }
        for hold in kept
        if hold.site_code in places
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)


def add_hold(sessions: sessionmaker[Session], hold: KeptHold, wish: Wish, *, clock: Clock) -> bool:
    """Add a hold, or amend the one of the same site, kind and first day.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    hold : KeptHold
        What is decided; its reason is kept with it.
    wish : Wish
        Who; a dry run writes nothing.
    clock : Clock
        Gives the instant of the ledger entry.

    Returns
    -------
    bool
        Whether anything changed: the same hold twice changes nothing.

    Raises
    ------
    NotFoundError
        No such site or technician.
    ConflictError
        The days are in the wrong order, the technician is missing or out of place, no reason is
        given, or another hold of the site stands against it.
    """
    _require_sound(hold)
    with writing(sessions, wish, clock) as work:
        codes = Codes(work.session)
        _require_known(hold, codes)
        _require_no_opposite(work.session, hold)
        result = write_rows(work, HOLD_MAP, [asdict(hold)], codes=codes)
        count = result.count(HOLD_MAP.table)
        return bool(count.added or count.changed)


def lift_hold(
    sessions: sessionmaker[Session],
    wanted: tuple[str, HoldKind, date | None],
    wish: Wish,
    *,
    clock: Clock,
    today: date,
) -> LiftedHold:
    """End a hold: it binds no longer from today on.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    wanted : tuple
        Site code, kind and first day; the first day may be None where only one such hold of
        the site binds today or later.
    wish : Wish
        Who and why; the reason is required. A dry run writes nothing.
    clock : Clock
        Gives the instant of the ledger entry.
    today : date
        First day on which it shall not bind.

    Returns
    -------
    LiftedHold
        One that has begun is superseded by the same hold ending yesterday; one that has not is
        closed without a follower. Either way the records still tell what was known before.

    Raises
    ------
    NotFoundError
        No such hold binds today or later.
    ConflictError
        No reason is given, or several holds fit.
    """
    if not wish.reason.strip():
        raise ConflictError("Lifting a hold needs a reason: --reason TEXT.")
    with writing(sessions, wish, clock) as work:
        hold = _find(work.session, wanted, today)
        yesterday = today - timedelta(days=1)
        if hold.first_day > yesterday:
            _withdraw(work, hold)
            return LiftedHold(hold, None)
        row = {**asdict(hold), "last_day": yesterday}
        write_rows(work, HOLD_MAP, [row], codes=Codes(work.session))
        return LiftedHold(hold, yesterday)


def _require_sound(hold: KeptHold) -> None:
    """Hold the wish against the rules of the input table."""
    if not hold.reason.strip():
        raise ConflictError("A hold needs a reason: --reason TEXT.")
    broken = [rule.text for rule in HOLDS.rules if not rule.holds(asdict(hold))]
    if broken:
        raise ConflictError(f"This hold cannot be: {'; '.join(broken)}.")


def _require_known(hold: KeptHold, codes: Codes) -> None:
    if not codes.find(Site, [hold.site_code]):
        raise NotFoundError(f"There is no site {hold.site_code!r}.")
    technician = hold.technician_code
    if technician is not None and not codes.find(Technician, [technician]):
        raise NotFoundError(f"There is no technician {technician!r}.")


def _require_no_opposite(session: Session, hold: KeptHold) -> None:
    for other in holds(session, hold.first_day, hold.last_day):
        if other.site_code != hold.site_code or _same(other, hold):
            continue
        if other.kind is hold.kind or {other.kind, hold.kind} == _OPPOSED:
            raise ConflictError(
                f"Site {hold.site_code} already has the hold {other.kind} from {other.first_day} "
                f"to {other.last_day} ({other.reason}). Lift it first: fleet hold lift "
                f"{hold.site_code} --kind {other.kind} --from {other.first_day}"
            )


def _same(one: KeptHold, other: KeptHold) -> bool:
    return (one.kind, one.first_day) == (other.kind, other.first_day)


def _find(session: Session, wanted: tuple[str, HoldKind, date | None], today: date) -> KeptHold:
    site_code, kind, first_day = wanted
    found = [
        hold
        for hold in holds(session, today, date.max)
        if (hold.site_code, hold.kind) == (site_code, kind) and first_day in (None, hold.first_day)
    ]
    if not found:
        raise NotFoundError(
            f"No hold {kind} of site {site_code!r} binds on {today} or later. "
            "List them with: fleet hold list"
        )
    if len(found) > 1:
        days = ", ".join(hold.first_day.isoformat() for hold in found)
        raise ConflictError(f"Several holds fit; name the first day with --from: {days}.")
    return found[0]


def _withdraw(work: Work, hold: KeptHold) -> None:
    codes = Codes(work.session)
    key = (codes.id_of(Site, hold.site_code), hold.kind, hold.first_day)
    for row_id, row in current_rows(work.session, Hold):
        if (row["site_id"], row["kind"], row["first_day"]) == key:
            ended: dict[str, tuple[object, object]] = {"last_day": (hold.last_day, None)}
            work.supersede(Hold, row_id, key=HOLD_MAP.key_text(asdict(hold)), fields=ended)
