"""Take a checkpoint of the ledger, and later hold the records against it.

A ledger whose end was cut off together with its rows fits by itself; so does one that was
rewritten as a whole. Only something noted outside the database shows either.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.services.checkpoint_file import Checkpoint
from fleet.store.digest import GENESIS
from fleet.store.queries.ledger import hashes_of, ledger_entries, rows_up_to
from fleet.store.snapshot import reading
from fleet.store.verify import Fault

MOST_RUNGS = 32
"""Earlier entries whose hashes a checkpoint notes, evenly spaced."""


def take_checkpoint(sessions: sessionmaker[Session], *, clock: Clock) -> Checkpoint:
    """Note how far the ledger goes.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    clock : Clock
        Gives the instant of making.
    """
    with reading(sessions) as session:
        entries = ledger_entries(session)
        head = entries[-1] if entries else None
        number = 0 if head is None else head.entry_id
        spaced = entries[:: max(1, -(-len(entries) // MOST_RUNGS))]
        return Checkpoint(
            head=number,
            hash=GENESIS if head is None else head.hash,
            at="" if head is None else head.at.isoformat(),
            made_at=clock().isoformat(),
            rows=rows_up_to(session, number),
            rungs={str(entry.entry_id): entry.hash for entry in spaced},
        )


def checkpoint_faults(session: Session, checkpoint: Checkpoint) -> Iterator[Fault]:
    """Tell what does not fit a checkpoint; later entries are not looked at.

    Parameters
    ----------
    session : Session
        Only read from.
    checkpoint : Checkpoint
        Of this database.

    Yields
    ------
    Fault
        The first entry that is missing or rewritten, then tables with too few or too many rows.
    """
    yield from _first_fault(session, checkpoint)
    found = rows_up_to(session, checkpoint.head)
    for table, count in checkpoint.rows.items():
        if found.get(table, 0) != count:
            text = (
                f"{found.get(table, 0)} rows of the entries up to {checkpoint.head} where the "
                f"checkpoint counted {count}"
            )
            yield Fault(None, table, text)


def _first_fault(session: Session, checkpoint: Checkpoint) -> Iterator[Fault]:
    """Walk up the rungs: the last one that fits tells where the trouble begins."""
    noted = {int(number): found for number, found in checkpoint.rungs.items()}
    if checkpoint.head:
        noted[checkpoint.head] = checkpoint.hash
    there = hashes_of(session, noted)
    fitting = 0
    for number in sorted(noted):
        if there.get(number) == noted[number]:
            fitting = number
            continue
        yield Fault(fitting + 1, "ledger_entry", _story(fitting, number, there, checkpoint))
        return


def _story(fitting: int, number: int, there: dict[int, str], checkpoint: Checkpoint) -> str:
    what = "rewritten" if number in there else "missing"
    first = fitting + 1
    where = "" if number == first else f" (the first such entry is one of {first} to {number})"
    return f"{what}{where}; the checkpoint of {checkpoint.made_at} saw {checkpoint.head} entries"
