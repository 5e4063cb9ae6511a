"""The two dates of every question: as of a day, and as known on an instant."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, and_, or_

from fleet.store.base import Versioned


def known(model: type[Versioned], known_on: datetime | None) -> ColumnElement[bool]:
    """Give the condition that keeps the version of each row that was known at an instant.

    Parameters
    ----------
    model : type[Versioned]
        A versioned table, or an alias of one.
    known_on : datetime or None
        Aware instant; None means now: rows not yet superseded.
    """
    if known_on is None:
        return model.known_until.is_(None)
    still: Any = or_(model.known_until.is_(None), model.known_until > known_on)
    return and_(model.known_from <= known_on, still)
