"""What an evidence pack says of itself: dates, ledger, version, command and hashes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from importlib.metadata import PackageNotFoundError, version

from sqlalchemy.orm import Session, sessionmaker

from fleet.reports.pack_pdf import JSON, PackFile
from fleet.store.queries.ledger import head_entry


@dataclass(frozen=True, slots=True)
class LedgerHead:
    """The newest ledger entry that was known: what the pack rests on. Entry 0 is none yet."""

    entry_id: int
    at: datetime
    hash: str


@dataclass(frozen=True, slots=True)
class PackIdentity:
    """What was asked, of which records, by which version."""

    title: str
    as_of: date
    since: date | None
    known_on: datetime | None
    depot_code: str | None
    command: str
    head: LedgerHead
    version: str


def ledger_head(
    sessions: sessionmaker[Session], *, known_on: datetime | None, as_of: date
) -> LedgerHead:
    """Give the newest entry at an instant; without any, none at the end of the day asked about."""
    with sessions() as session:
        found = head_entry(session, known_on=known_on)
    if found is None:
        return LedgerHead(0, datetime.combine(as_of, time.min, tzinfo=UTC), "")
    return LedgerHead(*found)


def fleet_version() -> str:
    """Give the version that is installed, or say that none is."""
    try:
        return version("fleet")
    except PackageNotFoundError:
        return "run from a checkout that is not installed"


def manifest_file(identity: PackIdentity, files: Sequence[PackFile]) -> PackFile:
    """Give the manifest: who is what, and the hash of every file."""
    known_on = identity.known_on
    data = {
        "title": identity.title,
        "as_of": identity.as_of.isoformat(),
        "since": None if identity.since is None else identity.since.isoformat(),
        "known_on": None if known_on is None else known_on.astimezone(UTC).isoformat(),
        "depot": identity.depot_code,
        "ledger": {
            "entry": identity.head.entry_id,
            "at": identity.head.at.isoformat(),
            "hash": identity.head.hash,
        },
        "version": identity.version,
        "command": identity.command,
        "files": [
            {
                "name": file.name,
                "sha256": file.hash,
                "bytes": len(file.content.encode()),
                "rows": file.rows,
                "what": file.what,
            }
            for file in files
        ],
    }
    text = json.dumps(data, ensure_ascii=False, indent=1) + "\n"
    return PackFile("manifest.json", text, "dates, ledger, version, command, hashes", mime=JSON)
