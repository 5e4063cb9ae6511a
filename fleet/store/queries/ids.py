"""Many ids in one statement."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from sqlalchemy import bindparam

IDS_A_STATEMENT = 50_000
"""So many ids of ten digits fit into the longest text that SQLite takes (1,000,000 bytes)."""


def written(ids: Collection[int]) -> Any:
    """Give ids for ``IN``, written into the statement: more fit into its text than parameters."""
    return bindparam("ids", list(ids), expanding=True, literal_execute=True, unique=True)
