"""sort by bytes.

PostgreSQL sorts texts by the rules of a language unless told otherwise, SQLite by their bytes; the
same records must give the same rows in the same order on both. Every text column gets collation C.
Views stand in the way of that: they are taken down and put back as they were, rights granted on
them are lost (run `fleet database roles` again). Nothing to do on SQLite.
Way down: puts the database's own collation back, loses no rows.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    _collate('"C"')


def downgrade() -> None:
    _collate('"default"')


def _collate(collation: str) -> None:
    if op.get_bind().dialect.name != "postgresql":
        return
    views = _take_down_views()
    for table, column, kind in _text_columns():
        op.execute(f'ALTER TABLE "{table}" ALTER COLUMN "{column}" TYPE {kind} COLLATE {collation}')
    for name, body in views:
        op.execute(f'CREATE VIEW "{name}" AS {body}')


def _text_columns() -> list[tuple[str, str, str]]:
    rows = op.get_bind().execute(
        sa.text(
            "SELECT c.relname, a.attname, format_type(a.atttypid, a.atttypmod) "
            "FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid "
            "WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind = 'r' "
            "AND a.attnum > 0 AND NOT a.attisdropped "
            "AND a.atttypid IN ('varchar'::regtype, 'text'::regtype) "
            "AND c.relname <> 'alembic_version' ORDER BY c.relname, a.attnum"
        )
    )
    return [(table, column, kind) for table, column, kind in rows]


def _take_down_views() -> list[tuple[str, str]]:
    """Drop the views, the newest first, and give them in the order in which to make them again."""
    rows = op.get_bind().execute(
        sa.text(
            "SELECT c.relname, pg_get_viewdef(c.oid) FROM pg_class c "
            "WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind = 'v' "
            "ORDER BY c.oid"
        )
    )
    views = [(name, body) for name, body in rows]
    for name, _ in reversed(views):
        op.execute(f'DROP VIEW "{name}"')
    return views
