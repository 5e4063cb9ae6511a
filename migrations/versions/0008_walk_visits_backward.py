"""walk visits backward.

What was true on a past day is found by the newest visits to a site up to that day, in order of day,
arrival and id; the index over site and day becomes one over site and that whole order.
Way down: puts the shorter index back, loses no rows.
"""

from __future__ import annotations

from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

LONG = ("site_id", "visited_on", "arrived_at", "id")
SHORT = ("site_id", "visited_on")


def upgrade() -> None:
    _change(SHORT, LONG)


def downgrade() -> None:
    _change(LONG, SHORT)


def _change(old: tuple[str, ...], new: tuple[str, ...]) -> None:
    op.create_index(_name(new), "visit_version", list(new), unique=False)
    op.drop_index(_name(old), table_name="visit_version")


def _name(columns: tuple[str, ...]) -> str:
    return op.f(f"ix_visit_version_{'_'.join(columns)}")
