"""The outlook on hand-made and small networks: who works, what holds a target, what is told."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from fleet.domain.plan import Place, TechnicianDay
from fleet.errors import FleetError, NotFoundError
from fleet.services.outlook import look_ahead
from fleet.services.outlook_depot import changed_roster
from fleet.services.outlook_frame import SERIES, SUMMARY, VARIANT_COLUMNS, summary_frame, week_frame
from fleet.services.outlook_hold import hold_target
from fleet.services.outlook_order import Choices, CrewVariant, OutlookOrder, Variant, VisitBy
from fleet.services.outlook_outcome import simulate
from fleet.services.outlook_plot import write_outlook
from fleet.services.outlook_pool import Runner
from fleet.services.outlook_words import outlook_sentences
from tests.factories import TODAY
from tests.hand_outlook import hand_case

HUB = Place("depot:HUB", 0.0, 0.0)
ORDER = OutlookOrder(date(2026, 11, 20), weeks=60, seeds=2, target_percent=95.0)


def quiet(done: int, of: int) -> None:
    del done, of


def small(sessions, **order):
    given = {"weeks": 8, "seeds": 3, "target_percent": None, **order}
    return look_ahead(sessions, OutlookOrder(TODAY, **given))


def technician_day(code: str, day: date) -> TechnicianDay:
    return TechnicianDay(code, day, 450, 990, 300, HUB, HUB)


@pytest.mark.parametrize(
    ("crew", "codes", "ends_min"),
    [
        (CrewVariant(), ["T1", "T2", "T1"], 990),
        (CrewVariant(technicians=1), ["T1", "T1+1", "T2", "T1", "T1+1"], 990),
        (CrewVariant(technicians=-1), ["T1", "T1"], 990),
        (CrewVariant(technicians=-3), [], 990),
        (CrewVariant(hours=8.5), ["T1", "T2", "T1"], 960),
    ],
)
def test_changed_roster_adds_and_takes_away(
    crew: CrewVariant, codes: list[str], ends_min: int
) -> None:
    roster = [
        technician_day("T1", date(2026, 11, 23)),
        technician_day("T2", date(2026, 11, 23)),
        technician_day("T1", date(2026, 11, 24)),
    ]

    changed = changed_roster(roster, crew)

    assert [day.technician_code for day in changed] == codes
    assert {day.ends_min for day in changed} <= {ends_min}


def test_changed_roster_of_nobody_stays_empty() -> None:
    assert changed_roster([], CrewVariant(technicians=2)) == []


def test_choices_give_every_combination_once() -> None:
    choices = Choices(technicians=(0, 1, 0), interval_days=(None, 270))

    variants = choices.variants()

    assert [(v.crew.technicians, v.interval_days) for v in variants] == [
        (0, None),
        (0, 270),
        (1, None),
        (1, 270),
    ]


@pytest.mark.parametrize(("interval_days", "days"), [(32, 3), (70, 2), (110, 1)])
def test_hold_finds_the_days_that_arithmetic_finds(interval_days: int, days: int) -> None:
    # 60 gauges, 4 a crew-day: k days a week make a queue of 15 / k weeks, with the ages 4, 11, ...
    # at the ends of weeks: up to 102 days for 1 day, 53 for 2, 32 for 3 [CALC]
    case = hand_case(60, interval_days=interval_days, days_a_week=5)
    with Runner(case, 1) as runner:
        found = hold_target(runner, case, ORDER, Variant(visit_by=VisitBy.DUE), quiet)

    depot = found.depots[0]
    assert (depot.depot_code, depot.days, depot.rostered) == ("HUB", days, 5)
    assert (depot.in_date_percent, depot.low_percent, depot.high_percent) == (100.0, 100.0, 100.0)


def test_hold_says_where_the_whole_roster_does_not_suffice() -> None:
    case = hand_case(60, interval_days=70, days_a_week=1)
    with Runner(case, 1) as runner:
        found = hold_target(runner, case, ORDER, Variant(visit_by=VisitBy.DUE), quiet)

    depot = found.depots[0]
    assert (depot.days, depot.rostered) == (None, 1)
    assert depot.in_date_percent == pytest.approx(200 / 3)


def test_hold_of_a_target_of_nothing_needs_no_day() -> None:
    case = hand_case(20, days_a_week=3)
    with Runner(case, 1) as runner:
        found = hold_target(runner, case, replace(ORDER, target_percent=0.0), Variant(), quiet)

    assert found.depots[0].days == 0


def test_two_processes_give_the_same_counts_as_one() -> None:
    case = hand_case(30, days_a_week=1)
    order = replace(ORDER, weeks=12, seeds=3)
    variants = [Variant(), Variant(visit_by=VisitBy.DUE)]
    told: list[tuple[int, int]] = []

    with Runner(case, 1) as one, Runner(case, 2) as two:
        alone = simulate(one, order, variants, quiet)
        spread = simulate(two, order, variants, lambda done, of: told.append((done, of)))

    for first, second in zip(alone, spread, strict=True):
        assert (first.counts == second.counts).all()
    assert told == [(n, 6) for n in range(1, 7)]


def test_outlook_starts_on_the_monday_after_and_covers_every_depot(loaded) -> None:
    seen = small(loaded)

    assert seen.weeks[0] == date(2025, 6, 9)  # TODAY is Monday 2025-06-02
    assert seen.gauges == 7
    assert seen.depot_gauges == (("NORTH", 4), ("SOUTH", 3))
    assert seen.failed_share == pytest.approx(1 / 18, abs=0.02)  # V012 of the attempts on record
    assert [o.variant.crew.technicians for o in seen.outcomes] == [0, 1]
    counts = seen.outcomes[0].counts
    assert counts.shape == (3, 8, 2, 7)
    assert np.isfinite(counts).all()


def test_outlook_of_one_depot_sees_its_gauges_alone(loaded) -> None:
    assert small(loaded, depot_code="SOUTH").depot_gauges == (("SOUTH", 3),)
    with pytest.raises(NotFoundError, match="There is no depot 'EAST'"):
        small(loaded, depot_code="EAST")


def test_outlook_before_any_gauge_is_refused(loaded) -> None:
    with pytest.raises(NotFoundError, match="No gauge is in service on 2001-01-01"):
        look_ahead(loaded, OutlookOrder(date(2001, 1, 1)))


def test_frames_have_a_row_a_variant_and_a_row_a_week(loaded) -> None:
    seen = small(loaded, choices=Choices(technicians=(0,), days_a_week=(0.0, 2.0)))

    variants, weeks = summary_frame(seen), week_frame(seen)

    def bounds(names):
        return [f"{name}{part}" for name in names for part in ("", "_low", "_high")]

    told = [*VARIANT_COLUMNS, "gauges", "weeks", "runs", *bounds(SUMMARY)]
    assert list(variants.columns) == told
    assert list(weeks.columns) == [*VARIANT_COLUMNS, "week_from", *bounds(SERIES)]
    assert variants["days_a_week"].tolist() == ["0", "2"]
    assert variants["visits_a_week"].tolist()[0] == 0.0 < variants["visits_a_week"].tolist()[1]
    assert len(weeks) == 16
    idle = weeks[weeks["days_a_week"] == "0"]
    lost = idle["lost_record_days"].sum()
    assert lost == pytest.approx(variants["lost_record_days"].tolist()[0], abs=0.1)
    later = idle["in_date_percent"].tolist()[4:]
    assert variants["later_in_date_percent"].tolist()[0] == pytest.approx(np.mean(later), abs=0.01)
    assert variants["overdue_at_end"].tolist()[0] == idle["overdue_gauges"].tolist()[-1]
    assert (variants["in_date_percent_low"] <= variants["in_date_percent"]).all()


def test_sentences_answer_the_questions(loaded) -> None:
    choices = Choices(technicians=(0, 1), interval_days=(270,))
    seen = small(loaded, choices=choices, target_percent=50.0)

    told = list(outlook_sentences(seen))

    assert told[0].startswith("7 gauges over 8 weeks from 2025-06-09, 3 futures drawn")
    assert told[1].startswith("Present crews, interval 270 days, by worth: ")
    assert any(text.startswith("Crew-days a week that hold 50 % in date") for text in told)
    assert any("+1 technician a depot" in text and "record-days" in text for text in told[2:])
    assert any("--visit-by due" in text for text in told)
    assert told[-1].startswith("Assumed: ")


@pytest.mark.parametrize(
    ("ending", "start"), [("svg", b"<svg"), ("png", b"\x89PNG"), ("pdf", b"%PDF")]
)
def test_outlook_is_drawn(loaded, tmp_path, ending: str, start: bytes) -> None:
    seen = small(loaded, seeds=2, target_percent=95.0)
    path = tmp_path / f"outlook.{ending}"

    write_outlook(seen, path)

    assert path.read_bytes().startswith(start)
    with pytest.raises(FleetError, match=r"\.svg, \.png or \.pdf"):
        write_outlook(seen, tmp_path / "outlook.gif")
