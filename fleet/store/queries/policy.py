"""The dated policy rows, as one book that answers for any gauge and day."""

from __future__ import annotations

from dataclasses import fields
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.domain.policy import PolicyBook, PolicyRow, PolicyTerms
from fleet.store.models.instrument import PolicyTerm
from fleet.store.queries.known import known

_TERMS = tuple(field.name for field in fields(PolicyTerms))


def policy_book(session: Session, *, known_on: datetime | None = None) -> PolicyBook:
    """Give every known policy row.

    Parameters
    ----------
    session : Session
        Only read from.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    PolicyBook
        Rows of every date; the book itself chooses by day.
    """
    rows = session.execute(
        select(PolicyTerm)
        .where(known(PolicyTerm, known_on))
        .order_by(PolicyTerm.scope, PolicyTerm.scope_code, PolicyTerm.valid_from)
    ).scalars()
    return PolicyBook(
        PolicyRow(
            scope=row.scope,
            scope_code=row.scope_code,
            valid_from=row.valid_from,
            terms=PolicyTerms(**{name: getattr(row, name) for name in _TERMS}),
            basis=row.basis,
        )
        for row in rows
    )
