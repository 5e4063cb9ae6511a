"""The share of gauges in date over time, with its exact interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from xml.etree import ElementTree as ET

from fleet.reports.time_axes import RIGHT_MM, TimeAxes, area, drawing, frame, legend, path, text


@dataclass(frozen=True, slots=True)
class SharePoint:
    """A day: the share in date and its interval, in percent, and of how many gauges."""

    day: date
    share: float
    low: float
    high: float
    gauges: int


def in_date_plot(points: Sequence[SharePoint], alt: str) -> ET.Element:
    """Draw the share in date.

    Parameters
    ----------
    points : sequence of SharePoint
        At least one, in order of day.
    alt : str
        The drawing in words.

    Returns
    -------
    xml.etree.ElementTree.Element
        An ``svg`` in black and greys: the share as a line, its interval as a grey band.
    """
    axes = TimeAxes(points[0].day, points[-1].day, 0.0, 100.0)
    band = [
        *(axes.place(point.day, point.high) for point in points),
        *(axes.place(point.day, point.low) for point in reversed(points)),
    ]
    last = points[-1]
    return drawing(
        alt,
        area(band, "#e0e0e0"),
        *frame(axes, "gauges in date, %"),
        path([axes.place(point.day, point.share) for point in points], width=0.6),
        text(f"{last.share:.0f} % of", (RIGHT_MM + 1.2, axes.y(last.share))),
        text(f"{last.gauges} gauges", (RIGHT_MM + 1.2, axes.y(last.share) + 3.6)),
        *legend(
            "line: share of the gauges that stood there on the day and were within their service "
            "interval;",
            "grey: exact 95 % interval of Clopper and Pearson, which reads the count as a sample "
            "of how the work is done.",
        ),
    )
