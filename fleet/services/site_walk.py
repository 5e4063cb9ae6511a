"""The way on foot from the last road to a gauge, counted once: as access, or beyond it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping

from fleet.domain.plan import Travel
from fleet.store.queries.place import KeptSite


def extra_walks(travel: Travel, places: Mapping[str, KeptSite]) -> dict[str, int]:
    """Give the minutes that walking takes beyond a site's access minutes.

    Parameters
    ----------
    travel : Travel
        Its walks are from the road to the gauge and back.
    places : mapping
        Sites by code; their access minutes are in the time on site already.

    Returns
    -------
    dict
        By site code, above 0. The access minutes are taken to hold the same walk, so that only
        what the walk takes longer is added.
    """
    return {
        walk.key: walk.minutes - places[walk.key].access_minutes
        for walk in travel.walks
        if walk.key in places and walk.minutes > places[walk.key].access_minutes
    }


def walk_notes(travel: Travel, places: Mapping[str, KeptSite]) -> Iterator[str]:
    """Say where walking takes longer than the access minutes, for the plan."""
    extra = extra_walks(travel, places)
    for walk in travel.walks:
        if walk.key in extra:
            yield (
                f"{walk.key}: {walk.km:.1f} km on foot beyond the last road, {walk.minutes} min "
                f"there and back; {extra[walk.key]} min added to its access of "
                f"{places[walk.key].access_minutes} min."
            )


def travel_evidence(travel: Travel, site_code: str) -> dict[str, object]:
    """Give what a stop keeps of its drive: a straight-line estimate, and the walk."""
    kept: dict[str, object] = {}
    if site_code in travel.straight:
        kept["straight_line"] = True
    for walk in travel.walks:
        if walk.key == site_code:
            kept["walk"] = {"km": walk.km, "minutes": walk.minutes}
    return kept


def told_travel(evidence: str) -> tuple[bool, str]:
    """Read what a stop has kept of its drive: whether straight, and the walk in words."""
    kept = json.loads(evidence)
    walk = kept.get("walk")
    if not walk:
        return bool(kept.get("straight_line")), ""
    words = f"{walk['km']:.1f} km beyond the road, {walk['minutes']} min there and back"
    return bool(kept.get("straight_line")), words
