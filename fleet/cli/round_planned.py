"""What planning rounds has to say: the stops as a table, the rest as notes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fleet.cli.output import Reading, counted, note, put_frame

if TYPE_CHECKING:
    from fleet.services.plan_round import PlannedRound
    from fleet.services.plan_rounds import FailedRound

STOPS = Reading(
    columns=(
        "day",
        "crew",
        "stop",
        "site_code",
        "site_name",
        "serials",
        "drive_min",
        "drive_km",
        "arrive",
        "start",
        "depart",
        "worth_record_days",
        "extra_min",
        "must_visit",
    )
)


def put_planned(made: Sequence[PlannedRound | FailedRound], form: str | None, output: Path) -> bool:
    """Write the rounds; tell whether a depot has none.

    One round is told with all that it leaves out; of several only the must-visits are.
    """
    from fleet.services.plan_rounds import FailedRound
    from fleet.services.round_view import planned_frames, rounds_frame

    failed = [one for one in made if isinstance(one, FailedRound)]
    rounds = [one for one in made if not isinstance(one, FailedRound)]
    one = len(made) == 1
    frame = planned_frames(rounds[0])[0] if one and rounds else rounds_frame(rounds)
    columns = STOPS.columns if one else ("round_ref", *STOPS.columns)
    put_frame(frame, form, output, title="round", reading=Reading(columns))
    for planned in rounds:
        for sentence in _sentences(planned, every=one):
            note(sentence)
    for without in failed:
        note(f"Depot {without.depot_code} HAS NO ROUND: {without.why}")
    return bool(failed)


def _sentences(planned: PlannedRound, *, every: bool) -> Iterator[str]:
    from fleet.services.round_night import bound_words, kept_bound, night_sentences

    left_out = planned.plan.left_out
    if every:
        yield "Left out:" if left_out else "Nothing was left out."
    for left in left_out:
        if every or left.must_visit:
            must = ", WHICH MUST BE VISITED" if left.must_visit else ""
            yield f"  {left.site_code}{must}: {left.detail}"
    yield from (*planned.along, *planned.notes, *night_sentences(planned.plan))
    yield f"Driving: {planned.week.problem.travel.source}."
    yield bound_words(kept_bound(planned.plan.bound))
    kept = f"kept as version {planned.number}" if planned.kept else "dry run, not kept"
    stops = sum(len(day.stops) for day in planned.plan.days)
    yield (
        f"{planned.round_ref}: {counted(len(planned.plan.days), 'crew-day')}, "
        f"{counted(stops, 'stop')}, {planned.plan.worth:.1f} record-days, {kept}."
    )
