"""Copy a PostgreSQL database by the server's own programs, pg_dump and pg_restore."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

from sqlalchemy import URL, Engine

from fleet.errors import ConflictError

_MARK = b"PGDMP"
"""First bytes of a dump in pg_dump's custom format."""

_SERVER_PROGRAMS = Path("/usr/lib/postgresql")


def is_dump_file(path: Path) -> bool:
    """Tell whether a file begins as pg_dump's custom format does."""
    with path.open("rb") as file:
        return file.read(len(_MARK)) == _MARK


def dump(engine: Engine, target: Path, *, snapshot: str) -> None:
    """Write the moment of an exported snapshot into a file, in pg_dump's custom format.

    Raises
    ------
    ConflictError
        The program is missing or refuses; its own words are told.
    """
    options = ("--format=custom", f"--snapshot={snapshot}", f"--file={target}")
    _run(engine, "pg_dump", *options, f"--dbname={_address(engine)}")


def load_dump(engine: Engine, source: Path, *, replace: bool) -> None:
    """Load a dump into a database in one transaction, all of it or nothing.

    Parameters
    ----------
    engine : Engine
        Of an existing database.
    source : Path
        From `dump`.
    replace : bool
        Drop the objects of the dump first, where they are there.

    Raises
    ------
    ConflictError
        The program is missing or refuses; its own words are told.
    """
    options = ["--single-transaction", "--exit-on-error", "--no-owner", "--no-privileges"]
    if replace:
        options += ["--clean", "--if-exists"]
    _run(engine, "pg_restore", *options, f"--dbname={_address(engine)}", str(source))


def require_readable(engine: Engine, source: Path) -> None:
    """Refuse a dump whose list of contents cannot be read."""
    _run(engine, "pg_restore", "--list", str(source))


def _run(engine: Engine, program: str, *arguments: str) -> None:
    environment = dict(os.environ)
    if engine.url.password is not None:  # never on the command line, where others see it
        environment["PGPASSWORD"] = str(engine.url.password)
    done = subprocess.run(
        [_find(program), *arguments], capture_output=True, text=True, check=False, env=environment
    )
    if done.returncode != 0:
        words = done.stderr.strip() or f"it left with {done.returncode}"
        raise ConflictError(f"{program} refused, nothing was changed: {words}")


def _find(program: str) -> str:
    found = shutil.which(program)
    if found is not None:
        return found
    newest = sorted(_SERVER_PROGRAMS.glob(f"*/bin/{program}"), key=_version)
    if not newest:
        raise ConflictError(
            f"{program} was not found. Install PostgreSQL's client programs of the server's "
            "version here, or make the backup on the server by its own means."
        )
    return str(newest[-1])


def _version(path: Path) -> float:
    try:
        return float(path.parents[1].name)
    except ValueError:
        return 0.0


def _address(engine: Engine) -> str:
    """Give the address without its password: setting that to None would keep it."""
    url = engine.url
    bare = URL.create("postgresql", url.username, None, url.host, url.port, url.database, url.query)
    return bare.render_as_string(hide_password=False)
