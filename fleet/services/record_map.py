"""How a row of an input table becomes a row of the records, and back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from fleet.store.base import MUTABLE_COLUMNS, Anchor, Versioned, table_of
from fleet.store.models.duty import Home, RestRuleTerm, Vehicle
from fleet.store.models.instrument import (
    Certificate,
    Device,
    DeviceVersion,
    GaugeType,
    GaugeTypeVersion,
    Installation,
    Instrument,
    InstrumentVersion,
    PolicyTerm,
)
from fleet.store.models.night import NightBase, NightBaseVersion, NightsOut
from fleet.store.models.people import (
    Absence,
    Closure,
    Depot,
    DepotVersion,
    Skill,
    Technician,
    TechnicianVersion,
)
from fleet.store.models.round import Round
from fleet.store.models.site import AccessRule, AccessWindow, Hold, Site, SiteVersion
from fleet.store.models.visit import DailyTotal, FollowUp, FollowUpVersion, Visit

Reference = tuple[str, type[Anchor]]
"""A foreign key column and the table of identities that it points to."""

_OWN_COLUMNS = MUTABLE_COLUMNS | {"id", "entry_id", "known_from"}

DEPOT: Reference = ("depot_id", Depot)
TECHNICIAN: Reference = ("technician_id", Technician)
BASE: Reference = ("night_base_id", NightBase)
SITE: Reference = ("site_id", Site)
TYPE: Reference = ("gauge_type_id", GaugeType)
SERIAL: Reference = ("instrument_id", Instrument)
DEVICE: Reference = ("device_id", Device)


@dataclass(frozen=True, slots=True)
class RecordMap:
    """One input table and where it is kept.

    ``references`` maps columns of the input that hold a code to the foreign key that keeps it;
    ``own`` is the column that names the row's own identity, where it has one.
    """

    table: str
    model: type[Versioned]
    key: tuple[str, ...]
    references: Mapping[str, Reference] = field(default_factory=dict)
    own: str | None = None

    def key_text(self, row: Mapping[str, object]) -> str:
        """Name a row as a person would."""
        return " ".join(str(row[name]) for name in self.key if row[name] not in (None, ""))


RECORD_MAPS: tuple[RecordMap, ...] = (
    RecordMap("depots", DepotVersion, ("depot_code",), {"depot_code": DEPOT}, "depot_code"),
    RecordMap("closures", Closure, ("depot_code", "day"), {"depot_code": DEPOT}),
    RecordMap(
        "technicians",
        TechnicianVersion,
        ("technician_code",),
        {"technician_code": TECHNICIAN, "depot_code": DEPOT},
        "technician_code",
    ),
    RecordMap(
        "skills",
        Skill,
        ("technician_code", "skill", "valid_from"),
        {"technician_code": TECHNICIAN},
    ),
    RecordMap(
        "absences", Absence, ("technician_code", "first_day"), {"technician_code": TECHNICIAN}
    ),
    RecordMap("bases", NightBaseVersion, ("base_code",), {"base_code": BASE}, "base_code"),
    RecordMap(
        "nights_out",
        NightsOut,
        ("technician_code", "first_evening"),
        {"technician_code": TECHNICIAN},
    ),
    RecordMap("rest_rules", RestRuleTerm, ("scope", "scope_code", "valid_from")),
    RecordMap("homes", Home, ("technician_code", "valid_from"), {"technician_code": TECHNICIAN}),
    RecordMap(
        "vehicles", Vehicle, ("technician_code", "valid_from"), {"technician_code": TECHNICIAN}
    ),
    RecordMap("gauge_types", GaugeTypeVersion, ("type_code",), {"type_code": TYPE}, "type_code"),
    RecordMap(
        "sites",
        SiteVersion,
        ("site_code",),
        {"site_code": SITE, "depot_code": DEPOT},
        "site_code",
    ),
    RecordMap("access_rules", AccessRule, ("site_code", "rule_number"), {"site_code": SITE}),
    RecordMap("access_windows", AccessWindow, ("site_code", "day", "opens"), {"site_code": SITE}),
    RecordMap(
        "instruments",
        InstrumentVersion,
        ("serial",),
        {"serial": SERIAL, "type_code": TYPE},
        "serial",
    ),
    RecordMap(
        "installations",
        Installation,
        ("site_code", "position", "installed_on"),
        {"site_code": SITE, "serial": SERIAL},
    ),
    RecordMap("policies", PolicyTerm, ("scope", "scope_code", "valid_from")),
    RecordMap("devices", DeviceVersion, ("device_code",), {"device_code": DEVICE}, "device_code"),
    RecordMap(
        "certificates", Certificate, ("device_code", "certificate_number"), {"device_code": DEVICE}
    ),
    RecordMap(
        "holds",
        Hold,
        ("site_code", "kind", "first_day"),
        {"site_code": SITE, "technician_code": TECHNICIAN},
    ),
    RecordMap("daily_totals", DailyTotal, ("site_code", "position", "day"), {"site_code": SITE}),
)
"""Every input table that is kept row by row, in an order in which references come first."""

FOLLOW_UP_MAP = RecordMap(
    "follow_ups",
    FollowUpVersion,
    ("follow_up_ref",),
    {
        "follow_up_ref": ("follow_up_id", FollowUp),
        "site_code": SITE,
        "serial": SERIAL,
        "raised_by_visit": ("raised_by_visit_id", Visit),
        "closed_by_visit": ("closed_by_visit_id", Visit),
    },
    "follow_up_ref",
)
"""Follow-ups come after the visits that raise and close them."""


_ENDLESS: frozenset[type[Anchor]] = frozenset({Visit, FollowUp})
"""Kinds that grow with time: read are only the identities that are asked for."""

_NAMED_A_QUERY = 500


class Codes:
    """Codes to ids and back, read once a transaction.

    A kind is read as a whole when first asked for; of those without end only what is named.
    """

    def __init__(self, session: Session) -> None:
        self._session = session
        self._ids: dict[type[Anchor], dict[str, int]] = defaultdict(dict)
        self._codes: dict[type[Anchor], dict[int, str]] = defaultdict(dict)

    def id_of(self, anchor: type[Anchor], code: str) -> int:
        """Give the id of a code that is known to exist."""
        return self._ids[anchor].get(code) or self.find(anchor, (code,))[code]

    def ids_of(self, anchor: type[Anchor], codes: Sequence[str | None]) -> list[int | None]:
        """Give the ids of codes that are known to exist, in order; None for None."""
        ids = self._ids[anchor]
        unread = [code for code in dict.fromkeys(codes) if code is not None and code not in ids]
        for code in unread:
            self.id_of(anchor, code)
        return [None if code is None else ids[code] for code in codes]

    def code_of(self, anchor: type[Anchor], row_id: int) -> str:
        """Give the code of an id."""
        if row_id not in self._codes[anchor]:
            self._read(anchor, anchor.id == row_id)
        return self._codes[anchor][row_id]

    def find(self, anchor: type[Anchor], codes: Iterable[str]) -> dict[str, int]:
        """Give the ids of those codes that exist, in the order given."""
        named = list(dict.fromkeys(codes))
        ids = self._ids[anchor]
        missing = [code for code in named if code not in ids]
        for start in range(0, len(missing), _NAMED_A_QUERY):
            if all(code in ids for code in missing[start:]):
                break
            self._read(anchor, anchor.code.in_(missing[start : start + _NAMED_A_QUERY]))
        return {code: ids[code] for code in named if code in ids}

    def learn(self, anchor: type[Anchor], codes: Iterable[str], ids: Iterable[int]) -> None:
        """Take in identities that were just added."""
        for code, row_id in zip(codes, ids, strict=True):
            self._ids[anchor][code] = row_id
            self._codes[anchor][row_id] = code

    def forget(self) -> None:
        """Let go of the identities without end, so that memory does not grow with a load."""
        for anchor in _ENDLESS:
            self._ids.pop(anchor, None)
            self._codes.pop(anchor, None)

    def _read(self, anchor: type[Anchor], named: ColumnElement[bool]) -> None:
        pairs = select(anchor.code, anchor.id)
        query = pairs.where(named) if anchor in _ENDLESS else pairs
        rows = self._session.execute(query).all()
        self.learn(anchor, (code for code, _ in rows), (row_id for _, row_id in rows))


ANCHORS: Mapping[str, type[Anchor]] = {
    "depots": Depot,
    "technicians": Technician,
    "bases": NightBase,
    "gauge_types": GaugeType,
    "sites": Site,
    "instruments": Instrument,
    "devices": Device,
    "visits": Visit,
    "follow_ups": FollowUp,
    "rounds": Round,
}
"""The input tables whose rows have an identity of their own."""


def to_stored(
    references: Mapping[str, Reference], row: Mapping[str, object], codes: Codes
) -> dict[str, object]:
    """Turn an input row into column values: codes to ids, lists to text."""
    stored: dict[str, object] = {}
    for name, value in row.items():
        if name in references:
            column, anchor = references[name]
            stored[column] = None if value is None else codes.id_of(anchor, str(value))
        else:
            stored[name] = " ".join(value) if isinstance(value, tuple) else value
    if "scope_code" in stored:
        stored["scope_code"] = stored["scope_code"] or ""
    return stored


def from_stored(
    references: Mapping[str, Reference], stored: Mapping[str, Any], codes: Codes
) -> dict[str, object]:
    """Turn column values back into the words of the input."""
    back = {column: (name, anchor) for name, (column, anchor) in references.items()}
    row: dict[str, object] = {}
    for column, value in stored.items():
        if column in back:
            name, anchor = back[column]
            row[name] = None if value is None else codes.code_of(anchor, value)
        else:
            row[column] = value
    return row


def value_columns(model: type[Versioned]) -> list[str]:
    """Name the columns of a table that hold what the input says."""
    table = table_of(model)
    return [column.name for column in table.columns if column.name not in _OWN_COLUMNS]


def current_rows(
    session: Session, model: type[Versioned], *where: ColumnElement[bool]
) -> list[tuple[int, dict[str, Any]]]:
    """Give the id and the values of the rows not yet superseded, in order of id."""
    table = table_of(model)
    names = value_columns(model)
    rows = session.execute(
        select(table.c.id, *(table.c[name] for name in names))
        .where(table.c.known_until.is_(None), *where)
        .order_by(table.c.id)
    )
    return [(row[0], dict(zip(names, row[1:], strict=True))) for row in rows]
