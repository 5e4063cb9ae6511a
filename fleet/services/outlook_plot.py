"""The drawing of an outlook, written to a file."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from fleet.reports.drawing import require_suffix, write_drawing
from fleet.reports.outlook_plot import WIDTH_MM, OutlookPlot, Strip, WeekLine, outlook_drawing
from fleet.services.outlook import Outlook
from fleet.services.outlook_frame import HIGH, LOW, SERIES
from fleet.services.outlook_words import variant_words

STRIPS = {
    "in_date_percent": "In date, % of gauges",
    "unfit_percent": "Unfit, % of gauges",
    "lost_record_days": "Record-days lost a week",
    "crew_hours": "Crew-hours a week, each person counted",
}
TICK_WEEKS = 8
WHOLE_PERCENT = 100.0

require_plot = require_suffix


def write_outlook(outlook: Outlook, path: Path) -> None:
    """Draw the weeks of every variant.

    Parameters
    ----------
    outlook : Outlook
        As simulated.
    path : Path
        Ends in .svg, .png or .pdf; replaced when it exists.

    Raises
    ------
    FleetError
        Any other ending.
    """
    order = outlook.order
    weeks = outlook.weeks
    plot = OutlookPlot(
        title=f"{outlook.gauges} gauges over {order.weeks} weeks to come",
        subtitle=(
            f"As of {order.as_of}, {order.seeds} futures drawn; lines: means, grey: four runs of "
            "five. Mondays below."
        ),
        variants=tuple(variant_words(outcome.variant) for outcome in outlook.outcomes),
        strips=tuple(_strip(outlook, name, words) for name, words in STRIPS.items()),
        ticks=tuple((n, weeks[n].isoformat()) for n in range(0, len(weeks), TICK_WEEKS)),
    )
    size = (WIDTH_MM, plot.height_mm)
    write_drawing(path, outlook_drawing(plot), title=plot.title, size_mm=size)


def _strip(outlook: Outlook, name: str, words: str) -> Strip:
    lines = []
    for outcome in outlook.outcomes:
        weekly = SERIES[name](outcome, outlook.gauges)
        low, high = np.quantile(weekly, (LOW, HIGH), axis=0)
        means = (weekly.mean(axis=0), low, high)
        lines.append(WeekLine(*(tuple(part.tolist()) for part in means)))
    in_date = name == "in_date_percent"
    return Strip(
        words=words,
        lines=tuple(lines),
        whole=WHOLE_PERCENT if in_date else None,
        target=outlook.order.target_percent if in_date else None,
    )
