"""Make every text of a route sheet harmless before it is laid out."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any, cast

from fleet.domain.sheet import RouteSheet
from fleet.reports.wording import plain_text

LONGEST_TEXT = 4000
"""Characters of one text that a sheet prints, twice what a record may hold."""

CUT = " [cut here: the whole text stands in the records]"


def plain_sheet(sheet: RouteSheet) -> RouteSheet:
    """Give the same sheet with every text as one printable line (`plain_text`).

    Parameters
    ----------
    sheet : RouteSheet
        With texts as they stand in the records.

    Returns
    -------
    RouteSheet
        Equal to `sheet` where its texts are plain already. A text beyond 4,000 characters is
        cut, and says so.
    """
    return cast(RouteSheet, _plain(sheet))


def _plain(value: Any) -> Any:
    if isinstance(value, str):
        text = plain_text(value)
        return text if len(text) <= LONGEST_TEXT else text[:LONGEST_TEXT] + CUT
    if isinstance(value, tuple):
        return tuple(_plain(inner) for inner in value)
    if is_dataclass(value) and not isinstance(value, type):
        changed = {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
        return replace(value, **changed)
    return value
