"""What recording some visits did, as a table and as sentences."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields

import pandas as pd

from fleet.services.load_network import LoadResult
from fleet.services.visit_verdict import VisitLine

COLUMNS = tuple(field.name for field in fields(VisitLine))


@dataclass(frozen=True, slots=True)
class RecordedVisits:
    """What was recorded, or with a dry run would have been.

    ``lines`` hold each visit with its outcome, its verdicts and the follow-ups that were raised
    or closed; ``notes`` what was passed over, amended and settled, in sentences.
    """

    result: LoadResult
    lines: tuple[VisitLine, ...]
    notes: tuple[str, ...]

    @property
    def frame(self) -> pd.DataFrame:
        """Give the lines as a table with the columns of `COLUMNS`."""
        rows = [asdict(line) for line in self.lines]
        return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)

    @property
    def sentences(self) -> tuple[str, ...]:
        """Give the lines as sentences."""
        return tuple(_sentence(line) for line in self.lines)


def _sentence(line: VisitLine) -> str:
    gauge = f" gauge {line.serial}" if line.serial else ""
    subject, result = line.subject.replace("_", " "), line.result.replace("_", " ")
    reason = f": {line.reason}" if line.reason else "."
    return f"{line.visit_ref}{gauge}, {subject} {result}{reason}"
