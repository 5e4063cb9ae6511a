"""Where the database is, who writes and how drives are timed, from options and environment."""

from __future__ import annotations

import getpass
import os
from dataclasses import dataclass, field
from pathlib import Path

DEFAULT_DATABASE = "fleet.sqlite"
DEFAULT_TRAVEL = "great-circle"


def _cache_folder() -> Path:
    """Give FLEET_CACHE, else fleet in the user's cache folder (XDG base directories)."""
    named = os.environ.get("FLEET_CACHE")
    if named:
        return Path(named).expanduser()
    base = os.environ.get("XDG_CACHE_HOME")
    return (Path(base) if base else Path.home() / ".cache") / "fleet"


@dataclass(frozen=True, slots=True)
class Settings:
    """What a run of the tool needs to know before it opens anything.

    ``database_url`` is an SQLAlchemy URL; ``actor`` is the name that ledger entries carry;
    ``travel`` says where driving times come from; ``cache`` is a folder for what may be computed
    again.
    """

    database_url: str
    actor: str
    travel: str = DEFAULT_TRAVEL
    cache: Path = field(default_factory=_cache_folder)


def read_settings(database: str | None, actor: str | None) -> Settings:
    """Settle what a run needs: option first, then the environment, then the default.

    FLEET_DB, FLEET_ACTOR, FLEET_TRAVEL and FLEET_CACHE are the variables.

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
        database_url=url,
        actor=actor or os.environ.get("FLEET_ACTOR") or getpass.getuser(),
        travel=os.environ.get("FLEET_TRAVEL") or DEFAULT_TRAVEL,
    )
