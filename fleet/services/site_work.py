"""The work that waits at each site: its ranked gauges, their jobs, the time on site."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil

from fleet.domain.job import Defect, Job, job_at
from fleet.domain.plan import Load
from fleet.services.ranking import RankedGauge
from fleet.services.reconnection import PREFIX
from fleet.store.queries.place import KeptSite, OpenFollowUp

Subject = tuple[str | None, str | None]
"""What a defect is about: a site as a whole, or an instrument wherever it stands."""


@dataclass(frozen=True, slots=True)
class SiteWork:
    """A site with its ranked gauges, their jobs, the whole time on site and what to carry."""

    site: KeptSite
    gauges: tuple[RankedGauge, ...]
    jobs: tuple[Job, ...]
    worth: float
    service_min: int
    load: Load

    @property
    def record_days(self) -> float:
        """Give the worth of its gauges without what policy adds for days overdue."""
        return sum(gauge.forecast.worth_record_days for gauge in self.gauges)


def site_works(
    ranked: Sequence[RankedGauge],
    places: Mapping[str, KeptSite],
    follow_ups: Sequence[OpenFollowUp],
) -> dict[str, SiteWork]:
    """Gather ranked gauges by site and work out the jobs there.

    Parameters
    ----------
    ranked : sequence of RankedGauge
        In order of rank.
    places : mapping
        Sites by code; gauges of other sites are passed over.
    follow_ups : sequence of OpenFollowUp
        Of any site; each lengthens a job. One about the site as a whole falls to the first
        gauge there; a reconnection to be proven is part of every job.

    Returns
    -------
    dict
        By site code, in order of code. A site's worth is the sum of its gauges'.
    """
    gauges: dict[str, list[RankedGauge]] = defaultdict(list)
    for gauge in ranked:
        gauges[gauge.state.gauge.site_code].append(gauge)
    waiting = _waiting(follow_ups)
    return {
        code: _work(places[code], gauges[code], waiting)
        for code in sorted(gauges.keys() & places.keys())
    }


def _waiting(follow_ups: Sequence[OpenFollowUp]) -> Mapping[Subject, Sequence[Defect]]:
    waiting: dict[Subject, list[Defect]] = defaultdict(list)
    for follow_up in follow_ups:
        if not follow_up.follow_up_ref.startswith(f"{PREFIX}:"):
            about = (None, follow_up.serial) if follow_up.serial else (follow_up.site_code, None)
            waiting[about].append(Defect(follow_up.description, follow_up.needs))
    return waiting


def _work(
    site: KeptSite, ranked: Sequence[RankedGauge], waiting: Mapping[Subject, Sequence[Defect]]
) -> SiteWork:
    gauges = tuple(sorted(ranked, key=lambda gauge: gauge.state.gauge.position))
    own = [waiting.get((None, gauge.state.gauge.serial), ()) for gauge in gauges]
    own[0] = (*waiting.get((site.code, None), ()), *own[0])
    jobs = tuple(_job(gauge, defects) for gauge, defects in zip(gauges, own, strict=True))
    return SiteWork(
        site=site,
        gauges=gauges,
        jobs=jobs,
        worth=sum(gauge.total_record_days for gauge in ranked),
        service_min=site.access_minutes + sum(job.minutes for job in jobs),
        load=Load(
            water_ml=ceil(sum(job.carried_ml for job in jobs)),
            spares=sum(len(job.bring) for job in jobs),
        ),
    )


def _job(gauge: RankedGauge, defects: Sequence[Defect]) -> Job:
    level = gauge.forecast.drift.now
    return job_at(gauge.state, gauge.policy, level_percent=level, defects=defects)
