"""SQLite databases for tests: copied from a template, on engines that are used again."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, event

from fleet.store.session import make_engine


class Engines:
    """One engine for each template, so that no query is compiled twice.

    Every test has a copy of its own in its own place, to which the engine is led; the engine's
    URL goes on naming its first place.
    """

    def __init__(self) -> None:
        self._engines: dict[str, Engine] = {}
        self._places: dict[str, Path] = {}

    def lend(self, template: Path, place: Path) -> Iterator[Engine]:
        """Copy a template to a place and give an engine on it; close it after use."""
        name = template.name
        self._places[name] = Path(shutil.copyfile(template, place))
        if name not in self._engines:
            self._engines[name] = make_engine(f"sqlite:///{place}")
            event.listen(self._engines[name], "do_connect", self._lead(name))
        yield self._engines[name]
        self._engines[name].dispose()

    def _lead(self, name: str) -> Any:
        def lead(dialect: object, record: object, arguments: list[Any], more: object) -> None:
            arguments[0] = str(self._places[name])

        return lead


def settle(engine: Engine) -> None:
    """Put everything into the one file, so that it can be copied."""
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
