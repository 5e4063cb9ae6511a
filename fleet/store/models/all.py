"""Every table, imported so that the metadata is whole."""

from __future__ import annotations

from fleet.store.base import Base
from fleet.store.models import duty, instrument, ledger, night, people, round, site, state, visit

AREAS = (ledger, people, duty, site, instrument, visit, state, round, night)
METADATA = Base.metadata
