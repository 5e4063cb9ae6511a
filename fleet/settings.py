"""Where the database is and who writes, from options and environment."""

from __future__ import annotations

import getpass
import os
from dataclasses import dataclass
from pathlib import Path

DEFAULT_DATABASE = "fleet.sqlite"


@dataclass(frozen=True, slots=True)
class Settings:
    """What a run of the tool needs to know before it opens anything.

    ``database_url`` is an SQLAlchemy URL; ``actor`` is the name that ledger entries carry.
    """

    database_url: str
    actor: str


def read_settings(database: str | None, actor: str | None) -> Settings:
    """Settle database and actor: option first, then FLEET_DB / FLEET_ACTOR, then the default.

    Parameters
    ----------
    database : str or None
        A file path or an SQLAlchemy URL.
    actor : str or None
        Name for the ledger; None takes FLEET_ACTOR or the login name.

    Returns
    -------
    Settings
        With a complete URL.
    """
    named = database or os.environ.get("FLEET_DB") or DEFAULT_DATABASE
    url = named if "://" in named else f"sqlite:///{Path(named).expanduser().absolute()}"
    return Settings(
        database_url=url, actor=actor or os.environ.get("FLEET_ACTOR") or getpass.getuser()
    )
