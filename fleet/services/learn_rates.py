"""Learn the network's rates from its records and keep them, so that rankings rest on them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from math import exp
from typing import TYPE_CHECKING

from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.domain.state import derive_state
from fleet.errors import ConflictError
from fleet.services.gauge_state import Rates, Told, readable_rates
from fleet.services.gauge_write import writing
from fleet.stats.fleet_evidence import EvidenceGatherer
from fleet.stats.fleet_model import FleetModel, TypeModel, fit_evidence
from fleet.stats.model_text import FORMAT, model_text
from fleet.store.journal import Wish
from fleet.store.models.state import LearnedRates
from fleet.store.queries.gauge import installed_gauges
from fleet.store.queries.history import history_shares
from fleet.store.queries.rates import rates_in_force
from fleet.store.snapshot import reading
from fleet.store.unmoved import ledger_head

if TYPE_CHECKING:
    import pandas as pd

RATE_COLUMNS = ("type_code", "rate", "unit", "before", "after", "learned_from")
NETWORK = "network"

_SHOWN: Mapping[str, tuple[str, str, Callable[[TypeModel], float]]] = {
    "drift": ("drift", "percent a year", lambda kind: kind.drift.mean),
    "drift between gauges": ("drift", "percent a year", lambda kind: kind.drift.between_sd),
    "sudden changes of level": ("knock", "a year", lambda kind: kind.knock.hazard.per_year),
    "level as left": ("as_left", "percent", lambda kind: kind.as_left.mean),
    "blockages": ("blockage", "in the first year", lambda kind: kind.blockage.per_year),
    "switch resistance": (
        "resistance",
        "percent a year",
        lambda kind: 100.0 * (exp(kind.resistance.mean) - 1.0),
    ),
    "new switch": ("new_switch", "ohm", lambda kind: exp(kind.new_switch.mean)),
    "switch failures": ("deaths", "in the first year", lambda kind: kind.deaths.per_year),
}
"""The main rates by name: the part of a type's model, the unit, and how it is read off."""

_SEASONS: Mapping[str, tuple[str, str, Callable[[TypeModel], float]]] = {
    "season of drift": ("drift", "swing about 1", lambda kind: kind.drift.clock.swing),
    "peak of drift": ("drift", "day of the year", lambda kind: kind.drift.clock.peak_day),
    "season of blockage": ("blockage", "swing about 1", lambda kind: kind.blockage.clock.swing),
    "peak of blockage": ("blockage", "day of the year", lambda kind: kind.blockage.clock.peak_day),
}
"""The same of seasons, told where the records show one."""


@dataclass(frozen=True, slots=True)
class Learning:
    """What was learned: the rates before (None: fitted on the spot) and after, and from how many.

    ``kept`` tells whether they were written: not on a dry run, nor where the very same rates of
    that day are in force.
    """

    as_of: date
    gauges: int
    before: Rates | None
    after: FleetModel
    kept: bool


def learn_rates(
    sessions: sessionmaker[Session],
    wish: Wish,
    *,
    as_of: date,
    clock: Clock,
    told: Told | None = None,
) -> Learning:
    """Fit the network's rates to all records and keep them, with every gauge's state under them.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    wish : Wish
        Who learns and why; a dry run keeps nothing.
    as_of : date
        Records after this day are not seen. Rankings as of this day or later rest on these rates.
    clock : Clock
        Gives the instant of the ledger entry.
    told : callable, optional
        Is told how many gauges' histories are read, and of how many.

    Returns
    -------
    Learning
        Rates before and after; rates that cannot be read count as none before.

    Raises
    ------
    ConflictError
        No gauge stood on that day, or the records changed while the rates were fitted; nothing is
        written.
    """
    with reading(sessions) as session:
        head = ledger_head(session)
        before = readable_rates(rates_in_force(session))
        stood = [g.gauge.installation_id for g in installed_gauges(session, as_of=as_of)]
        gatherer, done = EvidenceGatherer(), 0
        for share in history_shares(session, stood, as_of=as_of):
            gatherer.add([derive_state(history) for history in share])
            done += len(share)
            if told is not None:
                told(done, len(stood))
        model = fit_evidence(gatherer.whole())
    if not stood:
        raise ConflictError(f"No gauge stood on {as_of}: there is nothing to learn from.")
    same = before is not None and (before.as_of, before.model) == (as_of, model)
    if not (same or wish.dry_run):
        with writing(sessions, wish, clock) as work:
            if ledger_head(work.session) != head:
                raise ConflictError(
                    "The records changed while the rates were fitted; nothing was written. "
                    "Learn again."
                )
            row = {"as_of": as_of, "format_number": FORMAT, "rates": model_text(model)}
            work.add(LearnedRates, [row])
    return Learning(as_of, len(stood), before, model, kept=not (same or wish.dry_run))


def rate_frame(learning: Learning) -> pd.DataFrame:
    """Give the main rates of each type, and of the network, before and after.

    Returns
    -------
    DataFrame
        With the columns of `RATE_COLUMNS`, types in order of code, the network last. A
        season is told where there is one, before or after.
        ``learned_from`` says whose records the rate after rests on: the type's own or the
        network's. No rate before is nan.
    """
    import pandas as pd

    after = learning.after
    before = None if learning.before is None else learning.before.model
    types = sorted({*after.types, *(before.types if before else ())})
    pairs = [(code, before.of(code) if before else None, after.of(code)) for code in types]
    pairs.append((NETWORK, before.network if before else None, after.network))
    rows = [
        {
            "type_code": code,
            "rate": rate,
            "unit": unit,
            "before": None if old is None else read(old),
            "after": read(new),
            "learned_from": NETWORK if code == NETWORK or part in new.borrowed else "type",
        }
        for code, old, new in pairs
        for rate, (part, unit, read) in {**_SHOWN, **_SEASONS}.items()
        if rate in _SHOWN or read(new) or (old is not None and read(old))
    ]
    frame = pd.DataFrame(rows, columns=list(RATE_COLUMNS))
    return frame.astype({"before": "float64", "after": "float64"})


def rates_sentence(session: Session, *, as_of: date, known_on: datetime | None = None) -> str:
    """Say which learned rates rank the network on a day; '' where it is fitted on the spot."""
    rates = rates_in_force(session, as_of=as_of, known_on=known_on)
    return "" if rates is None else f"Ranked under the rates learned on {rates.as_of}."
