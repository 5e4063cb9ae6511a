"""What questions have in common: the instant of knowledge, and whose rows are asked for."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, and_, or_, true

from fleet.store.base import Versioned
from fleet.store.models.people import Technician

Conditions = tuple[ColumnElement[bool], ...]
"""Conditions that hold together; none keeps every row."""


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


def named(technician_codes: Collection[str] | None) -> ColumnElement[bool]:
    """Give the condition that keeps the rows of these technicians; None keeps all."""
    return true() if technician_codes is None else Technician.code.in_(technician_codes)
