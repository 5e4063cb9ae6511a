"""The views of learned rates and kept states: what each shows, and what each column means."""

from __future__ import annotations

from collections.abc import Mapping

_RATE = "under the rates, shrunk to the type's"
_OWN = "the gauge's own, without the type's"

STATE_VIEWS: tuple[tuple[str, str, Mapping[str, str]], ...] = (
    (
        "gauge_state_now",
        "a gauge with where it stands by its records, once rates were learned",
        {
            "site_code": "the site",
            "position": "the spot at the site",
            "serial": "the instrument",
            "last_record_on": "day of the newest visit in its history",
            "last_service_on": "day of the last service",
            "last_visit_on": "day of the last visit or attempt",
            "level_on": "day on which the level was last known",
            "switch_ohm_on": "day of the last closed resistance",
            "site_seen_on": "day on which the way of the water was last seen",
            "way_clean_on": "day from which dirt counts",
            "switch_seen_on": "day on which the switch was last seen",
            "switch_new_on": "day from which the age of the switch counts",
            "attempts_since_service": "failed attempts since the last service",
            "services": "services at this installation",
            "drift_doubted": "changes of level held to be outliers",
            "ohm_doubted": "changes of resistance held to be outliers",
            "left_blocked": "whether it was left blocked",
            "switch_left_dead": "whether the switch was left failing",
            "left_disconnected": "whether nothing proves that it is back on its logger",
            "never_verified": "whether it was never tested here",
            "level_percent": "error at which it was last known to run, in percent",
            "switch_ohm": "last closed resistance at its terminals, in ohm",
            "level_variance": "variance of the level, in percent squared",
            "drift_rate": f"drift in percent a year, {_RATE}",
            "drift_rate_variance": "variance of the drift",
            "ohm_rate": f"growth of log ohm a year, {_RATE}",
            "ohm_rate_variance": "variance of the growth",
            "knock_events": f"sudden changes of level, {_OWN}",
            "knock_exposure": "years in which they could be seen",
            "blockage_events": f"blockages, {_OWN}",
            "blockage_exposure": "years in which they could be seen, as wear counts them",
            "death_events": f"failures of the switch, {_OWN}",
            "death_exposure": "years in which they could be seen, as wear counts them",
            "rates_of": "day of the records that taught the rates",
        },
    ),
    (
        "rates_learned",
        "the network's rates as they were learned",
        {
            "as_of": "day of the records that taught them",
            "at": "when they were learned, UTC",
            "actor": "by whom",
            "reason": "why",
            "format_number": "number of the text's form",
            "rates": "the rates of each type as JSON",
        },
    ),
)
"""Name, what a row is, and the columns in order, of each view."""
