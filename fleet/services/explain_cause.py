"""What is forecast of each cause of one gauge, number by number."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import exp, isfinite, sqrt

from fleet.domain.intensity import error_slope, intensity_note, timed_runs
from fleet.domain.state import Change
from fleet.services.ranking import RankedGauge
from fleet.stats.clock import Clock
from fleet.stats.gauge_forecast import LevelForecast, SuddenForecast
from fleet.stats.hazard import HazardFit
from fleet.stats.pooled_change import GrowthFit

Line = tuple[str, str, object, str]
"""Part, name, value, and unit or meaning."""


def cause_lines(ranked: RankedGauge) -> Iterator[Line]:
    """Give every number behind the causes: drift, sudden change, blockage, switch.

    Parameters
    ----------
    ranked : RankedGauge
        The gauge explained.

    Yields
    ------
    Line
        In the order of the calculation.
    """
    forecast, model, state = ranked.forecast, ranked.forecast.model, ranked.state
    yield from _growth_lines("drift", forecast.drift, model.drift, "% of expected tips")
    yield from _evidence_lines("drift", state.drift, "% found minus left")
    yield ("drift", "as_left_mean_of_type", model.as_left.mean, "%; where a service starts anew")
    yield (
        "drift",
        "as_left_sd_of_type",
        model.as_left.sd,
        f"%, from {model.as_left.values} values",  # a count, not a frame
    )
    yield from _intensity_lines(ranked)
    yield from _knock_lines(ranked)
    yield from _sudden_lines("blockage", forecast.blockage, model.blockage)
    yield ("blockage", "events", len(state.blockage_refs), "seen here")
    yield ("blockage", "years_watched", state.blockage_years, "years")
    yield from _growth_lines("switch", forecast.resistance, model.resistance, "log ohm")
    yield ("switch", "now_ohm", exp(forecast.resistance.now), "ohm, median prediction")
    yield from _evidence_lines("switch", state.switch_growth, "log ohm found minus left")
    yield ("switch", "new_mean_of_type", model.new_switch.mean, "log ohm; of a switch put in new")
    yield (
        "switch",
        "new_sd_of_type",
        model.new_switch.sd,
        f"log ohm, from {model.new_switch.values} values",  # a count, not a frame
    )
    yield from _sudden_lines("switch failure", forecast.deaths, model.deaths)
    yield ("switch failure", "events", len(state.switch_death_refs), "seen")
    yield ("switch failure", "years_watched", state.switch_years, "years")


def _intensity_lines(ranked: RankedGauge) -> Iterator[Line]:
    """Tell the runs that were timed; the forecast does not take intensity in."""
    gauge, part, told = ranked.state.gauge, "intensity", False
    for phase in (ranked.state.last_as_found, ranked.state.last_as_left):
        timed = () if phase is None else timed_runs(phase.runs, gauge)
        if phase is None or not timed:
            continue
        name, told = phase.runs.phase.value, True
        for run in timed:
            meaning = f"% at {run.mm_per_hour:.0f} mm/h, visit {phase.visit_ref}"
            yield (part, f"{name}_run_{run.number}", run.error_percent, meaning)
        slope = error_slope(timed)
        if slope is not None:
            yield (part, f"{name}_slope", slope, "% for each 100 mm/h, by least squares")
    if told:
        yield (part, "siphon", gauge.siphon, intensity_note(gauge))


def _knock_lines(ranked: RankedGauge) -> Iterator[Line]:
    forecast, part = ranked.forecast, "sudden change"
    fit = forecast.model.knock
    yield from _sudden_lines(part, forecast.knock, fit.hazard)
    yield (part, "size_sd_of_type", fit.size_sd, "%, standard deviation of a sudden change")
    yield (part, "out_share", forecast.knock_out_share, "of them leave it out of tolerance")


def _growth_lines(part: str, level: LevelForecast, fit: GrowthFit, unit: str) -> Iterator[Line]:
    known = "measured" if level.known else "not measured: where its type starts"
    yield (part, "type_mean_rate", fit.mean, f"{unit} a year (m), +-{fit.mean_sd:.3g}")
    yield (part, "type_spread_of_rates", fit.between_sd, f"{unit} a year (tau)")
    yield (part, "type_random_walk", fit.walk_sd, f"{unit} a root year (sigma)")
    yield (part, "type_changes", fit.changes, f"changes of {fit.units} gauges behind the three")
    yield (part, "start", level.start, f"{unit}, {known}")
    yield (part, "start_sd", level.start_sd, unit)
    yield (part, "start_age_days", level.age_days, "days ago")
    if fit.clock.swing > 0.0:
        yield from _season_lines(part, fit.clock)
        yield (part, "start_age_years", level.age_years, "years ago, by season")
    yield (
        part,
        "rate_per_year",
        level.rate_per_year,
        f"{unit} a year, its own, shrunk to the type",
    )
    yield (part, "rate_sd", level.rate_sd, f"{unit} a year")
    yield (part, "doubted_changes", level.doubted, "out of line with the rest, given less weight")
    yield (part, "now", level.now, unit)
    yield (part, "now_sd", level.now_sd, unit)
    yield _limit(part, "low", level.low, unit)
    yield _limit(part, "high", level.high, unit)
    yield (part, "p", level.p, "probability of being out of limits by now")


def _limit(part: str, name: str, limit: float, unit: str) -> Line:
    return (part, name, limit, f"{unit}, limit") if isfinite(limit) else (part, name, None, "none")


def _evidence_lines(part: str, changes: Sequence[Change], unit: str) -> Iterator[Line]:
    for change in changes:
        meaning = f"{unit} over {change.years:.2f} years, measured +-{sqrt(change.variance):.2g}"
        yield (part, f"seen at {change.visit_ref}", change.amount, meaning)


def _sudden_lines(part: str, sudden: SuddenForecast, fit: HazardFit) -> Iterator[Line]:
    yield (part, "type_per_year", fit.per_year, "events of the type in the first year of age")
    yield (part, "rate_per_year", sudden.per_year, "the same of its own, shrunk to the type")
    yield (part, "gamma_shape", sudden.shape, "a, after its own events")
    yield (part, "gamma_scale_years", sudden.scale_years, "b, after its own exposure")
    yield from _clock_lines(part, fit.clock)
    yield (part, "age_days", sudden.age_days, "days since it was last seen to be well")
    yield (part, "new_days", sudden.new_days, "days since its age began to count")
    yield (part, "exposure", sudden.exposure, "u, gathered since it was well")
    yield (part, "unnoticed", sudden.unnoticed, "r, chance that nobody would have told by now")
    yield (part, "left_so", sudden.left, "the last visit left it so: certain")
    p = "probability by now: odds of 1 - (b / (b + u))^a, times r"
    yield (part, "p", sudden.p, p if part != "sudden change" else f"{p}, times out_share")


def _clock_lines(part: str, clock: Clock) -> Iterator[Line]:
    yield (part, "wear", clock.wear, "k: exposure is years^k; 1 strikes at any age alike")
    if clock.begun > 1.0:
        yield (
            part,
            "begun",
            clock.begun,
            "kappa: a beginning (partly blocked) or worse comes so much oftener",
        )
    if clock.swing > 0.0:
        yield from _season_lines(part, clock)
    if clock.noticed > 0.0:
        yield (part, "noticed_per_year", clock.noticed, "how often a year people notice and call")


def _season_lines(part: str, clock: Clock) -> Iterator[Line]:
    yield (part, "season_swing", clock.swing, "a day counts between 1 - swing and 1 + swing")
    yield (part, "season_peak_day", clock.peak_day, "day of the year that counts most")
