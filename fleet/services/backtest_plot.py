"""The reliability diagram of a backtest, written to a file."""

from __future__ import annotations

from pathlib import Path

from fleet.reports.reliability_plot import PlotPoint, PlotWords, reliability_plot, write_plot
from fleet.services.backtest import Backtest


def write_reliability(tested: Backtest, path: Path) -> None:
    """Draw how often forecasts of being unfit for any cause came true.

    Parameters
    ----------
    tested : Backtest
        Whose first card is drawn.
    path : Path
        Ends in .svg, .png or .pdf; replaced when it exists.

    Raises
    ------
    FleetError
        Any other ending.
    """
    card = tested.cards[0]
    points = [
        PlotPoint(one.mean_forecast, one.seen.share, one.seen.low, one.seen.high, one.seen.trials)
        for one in card.bins
    ]
    words = PlotWords(
        "Forecast of being unfit, and what was found",
        f"{card.checks} checks from {tested.since} to {tested.as_of}: {card.expected:.1f} "
        f"forecast unfit, {card.found} found so",
    )
    write_plot(path, reliability_plot(points, words), words)
