"""Who may do what on a shared PostgreSQL database: auditors read, coordinators add.

The owner of the tables, who runs migrations, could drop the guards. Day-to-day work needs neither
that nor any way to change or delete what is kept.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import Engine, Table, text
from sqlalchemy.exc import DBAPIError

from fleet.errors import ConflictError
from fleet.settings import Settings
from fleet.store.base import MUTABLE_COLUMNS
from fleet.store.guard import kept_tables
from fleet.store.migrate import require_head
from fleet.store.models.all import METADATA
from fleet.store.session import engine_on

AUDITOR, COORDINATOR = "fleet_auditor", "fleet_coordinator"
_NAME = re.compile(r"[a-z_][a-z0-9_]{0,62}")


@dataclass(frozen=True, slots=True)
class Roles:
    """Names of the two roles: lower-case letters, digits and underscores.

    Raises
    ------
    ConflictError
        Another kind of name, or one name for both.
    """

    auditor: str = AUDITOR
    coordinator: str = COORDINATOR

    def __post_init__(self) -> None:
        for name in (self.auditor, self.coordinator):
            if _NAME.fullmatch(name) is None or name.startswith("pg_"):
                raise ConflictError(
                    f"{name!r} is no name for a role: lower-case letters, digits and _ are "
                    "expected, a letter first, at most 63 characters, not beginning with pg_."
                )
        if self.auditor == self.coordinator:
            raise ConflictError("Auditor and coordinator need different roles.")


def role_statements(roles: Roles) -> tuple[str, ...]:
    """Give the SQL that makes both roles and grants what each needs; may be run again.

    Returns
    -------
    tuple of str
        Statements in order, without semicolons. The auditor may read every table. The
        coordinator may also add rows, close versions (the two columns that a guard lets change
        once) and keep up tables that are derived from the records. Neither may delete or change
        kept rows, nor touch tables, guards and functions.
    """
    return tuple(_statements(roles))


def grant_roles(settings: Settings, roles: Roles) -> int:
    """Run the statements in one transaction as the user that the settings name; count them.

    Raises
    ------
    ConflictError
        The database is SQLite, or the user may not do it.
    """
    statements = role_statements(roles)
    with engine_on(settings.database_url) as engine:
        require_postgresql(engine)
        require_head(engine)
        try:
            with engine.begin() as connection:
                for statement in statements:
                    connection.execute(text(statement))
        except DBAPIError as error:
            raise ConflictError(
                f"The roles could not be granted, nothing was changed: {error.orig}. Run it as "
                "the owner of the tables with the right to make roles."
            ) from error
    return len(statements)


def require_postgresql(engine: Engine) -> None:
    """Refuse a database that knows no roles, and say what to do instead."""
    if engine.dialect.name != "postgresql":
        raise ConflictError(
            "An SQLite database knows no roles: who may write to the file may write to the "
            "records. Give an auditor a backup (fleet database backup) with a checkpoint, or "
            "let the file system allow reading only."
        )


def _statements(roles: Roles) -> Iterator[str]:
    for name in (roles.auditor, roles.coordinator):
        yield (
            "DO $$ BEGIN IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = "
            f"'{name}') THEN CREATE ROLE {name} NOLOGIN; END IF; END $$"
        )
        yield (
            "DO $$ BEGIN EXECUTE format('GRANT CONNECT ON DATABASE %I TO "
            f"{name}', current_database()); "
            f"EXECUTE format('GRANT USAGE ON SCHEMA %I TO {name}', current_schema()); "
            f"EXECUTE format('REVOKE ALL ON ALL TABLES IN SCHEMA %I FROM {name}', "
            "current_schema()); "
            f"EXECUTE format('GRANT SELECT ON ALL TABLES IN SCHEMA %I TO {name}', "
            "current_schema()); END $$"
        )
    kept = set(kept_tables())
    for name, table in sorted(METADATA.tables.items()):
        yield f"GRANT {_rights(table, kept=name in kept)} ON {name} TO {roles.coordinator}"


def _rights(table: Table, *, kept: bool) -> str:
    if not kept:
        return "INSERT, UPDATE, DELETE"
    if set(table.c.keys()) >= MUTABLE_COLUMNS:
        return f"INSERT, UPDATE ({', '.join(sorted(MUTABLE_COLUMNS))})"
    return "INSERT"
