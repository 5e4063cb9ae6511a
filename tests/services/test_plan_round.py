"""A planned round: limits kept, wishes met or told, versions, the ledger, the same plan twice.

Whether every limit is kept is judged by `fleet.planning.checker`, which shares no code with what
plans; here it is asked again, and plain facts are looked at by hand.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from sqlalchemy import func, select

from fleet.domain.plan import LeftOutReason
from fleet.errors import InfeasibleError, NotFoundError
from fleet.planning.checker import find_violations
from fleet.services.round_request import round_code
from fleet.services.round_view import list_rounds, planned_frames, show_round
from fleet.services.verify import verify_records
from fleet.store.journal import Wish
from fleet.store.models.ledger import LedgerEntry
from fleet.store.models.round import RoundStop, RoundStopGauge, RoundVersion
from tests.factories import InputFolder
from tests.week_plan import FRI, MON, SUNDAY, THU, TUE, WED, plan


def entries(sessions):
    with sessions() as session:
        return session.execute(
            select(LedgerEntry.action, LedgerEntry.reason).order_by(LedgerEntry.id)
        ).all()


def count(sessions, model):
    with sessions() as session:
        return session.execute(select(func.count()).select_from(model)).scalar_one()


def where(planned):
    """Give site -> (day, crew) of the stops."""
    return {
        stop.site_code: (day.day, day.technician_codes)
        for day in planned.plan.days
        for stop in day.stops
    }


def reasons(planned):
    return {left.site_code: left for left in planned.plan.left_out}


def held_to(planned):
    """Put the plan before the checker again, without what holds keep out."""
    held = {left.site_code for left in planned.week.held}
    rest = tuple(left for left in planned.plan.left_out if left.site_code not in held)
    return find_violations(planned.week.problem, replace(planned.plan, left_out=rest))


def spread(amend, **more):
    """Leave the depot few free days: nothing but what is named."""
    folder = InputFolder()
    for code, first, last in more["absent"]:
        folder.add(
            "absences", technician_code=code, first_day=first, last_day=last, reason="course"
        )
    amend(folder)


@pytest.mark.parametrize("depot", ["NORTH", "SOUTH"])
def test_plan_keeps_every_limit_and_names_every_site_once(loaded, clock, depot):
    planned = plan(loaded, clock, depot)

    assert held_to(planned) == []
    named = [*where(planned), *reasons(planned)]
    assert sorted(named) == sorted(planned.week.work)
    assert planned.plan.days


def test_round_is_named_after_its_iso_week():
    assert round_code("NORTH", MON) == "2025-W23-NORTH"
    # ISO 8601: the week of 2024-12-30 is the first of 2025
    assert round_code("NORTH", MON.replace(2024, 12, 30)) == "2025-W01-NORTH"


def test_two_person_site_is_visited_by_a_crew_of_two_with_the_skill(loaded, clock):
    planned = plan(loaded, clock)

    day, crew = where(planned)["S03"]
    assert crew == ("T01", "T02")  # T01 holds the skill
    assert day in (MON, THU)  # T02 is away on Tuesday and Wednesday, Friday is closed


def test_two_person_site_is_left_out_when_the_second_is_away_all_week(loaded, clock, amend):
    spread(amend, absent=[("T02", "2025-06-02", "2025-06-08")])

    planned = plan(loaded, clock)

    assert reasons(planned)["S03"].reason is LeftOutReason.NO_CREW
    assert "needs 2 persons" in reasons(planned)["S03"].detail
    assert {crew for _, crew in where(planned).values()} == {("T01",)}


def test_site_is_left_out_when_the_skill_runs_out_before_the_days_that_are_left(
    loaded, clock, amend, network
):
    network.change("skills", {"technician_code": "T01"}, valid_until="2025-06-04")
    amend(network.only("skills", technician_code="T01"), reason="certificate ends")

    planned = plan(loaded, clock, as_of=MON, week=MON)  # both work on Thursday alone

    assert reasons(planned)["S03"].reason is LeftOutReason.NO_SKILL
    assert "mast" in reasons(planned)["S03"].detail


def test_plan_goes_only_where_and_when_access_is_given(loaded, clock):
    planned = plan(loaded, clock, "SOUTH")

    (day,) = [day for day in planned.plan.days if "S04" in {s.site_code for s in day.stops}]
    (stop,) = [stop for stop in day.stops if stop.site_code == "S04"]
    assert day.day in (MON, WED)
    assert 540 <= stop.start_min < stop.depart_min <= 900


def test_week_without_anybody_at_work_gives_an_empty_plan_with_reasons(loaded, clock, amend):
    spread(
        amend,
        absent=[("T01", "2025-06-02", "2025-06-08"), ("T02", "2025-06-02", "2025-06-08")],
    )

    planned = plan(loaded, clock)

    assert planned.plan.days == ()
    assert planned.plan.worth == 0.0
    assert {left.detail for left in planned.plan.left_out} == {"nobody works this week"}
    assert set(reasons(planned)) == {"S01", "S02", "S03"}
    assert "T01 away 2025-06-02 to 2025-06-08." in planned.week.notes
    _, stops, left_out = show_round(loaded, "2025-W23-NORTH")
    assert (len(stops), len(left_out)) == (0, 3)


def test_depot_with_sites_and_no_technician_gives_an_empty_plan_that_says_so(loaded, clock, amend):
    place = {"latitude_deg": 44, "longitude_deg": -34, "time_zone": "Etc/GMT-1"}
    amend(InputFolder().add("depots", depot_code="WEST", name="Ulvane", **place))

    planned = plan(loaded, clock, "WEST")

    assert (planned.plan.days, planned.plan.left_out) == ((), ())
    assert planned.week.notes == ("No technician belongs to depot WEST.",)


def test_must_visit_site_is_taken_before_one_that_is_worth_more(loaded, clock, amend):
    # one day of 3 h 30 min for one technician: room for S01 or S02 alone, not for both
    spread(amend, absent=[("T02", "2025-06-02", "2025-06-08")])
    more = InputFolder().add(
        "holds",
        site_code="S01",
        kind="must_visit",
        first_day="2025-06-05",
        last_day="2025-06-05",
        reason="flood warning",
    )
    amend(more)
    row = {"technician_code": "T01", "shift_start": "07:30", "shift_end": "11:00"}
    amend(_technician("T01", **row), reason="short days")

    planned = plan(loaded, clock, as_of=WED, week=MON)

    assert set(where(planned)) == {"S01"}
    assert planned.week.must_visit == {"S01"}


def _technician(code, **cells):
    from tests.small_network import small_network

    network = small_network()
    network.change("technicians", {"technician_code": code}, **cells)
    return network.only("technicians", technician_code=code)


def test_must_visit_site_that_cannot_be_is_left_out_first_and_flagged(loaded, clock, amend):
    holds = InputFolder().add(
        "holds",
        site_code="S03",
        kind="must_visit",
        first_day="2025-06-03",
        last_day="2025-06-04",
        reason="flood warning",
    )
    week = {"first_day": "2025-06-02", "last_day": "2025-06-08", "reason": "road closed"}
    for site in ("S01", "S02"):
        holds.add("holds", site_code=site, kind="not_this_week", **week)
    amend(holds)

    planned = plan(loaded, clock)
    _, left_out = planned_frames(planned)

    assert left_out["site_code"].tolist() == ["S03", "S02", "S01"]  # then by falling worth
    assert left_out["worth_record_days"].tolist()[1] > 100.0
    first = left_out.iloc[0]
    assert (first["site_code"], first["must_visit"], first["reason"]) == ("S03", True, "closed")
    assert "when nobody who could do it works" in first["detail"]


def test_fixed_technician_goes_alone_or_with_others(loaded, clock, amend):
    hold = InputFolder().add(
        "holds",
        site_code="S01",
        kind="technician",
        technician_code="T02",
        first_day="2025-06-02",
        last_day="2025-06-08",
        reason="knows the owner",
    )
    amend(hold)

    assert "T02" in where(plan(loaded, clock))["S01"][1]


def test_fixed_technician_who_is_away_leaves_the_site_out(loaded, clock, amend):
    spread(amend, absent=[("T02", "2025-06-05", "2025-06-08")])
    hold = InputFolder().add(
        "holds",
        site_code="S01",
        kind="technician",
        technician_code="T02",
        first_day="2025-06-02",
        last_day="2025-06-08",
        reason="knows the owner",
    )
    amend(hold)

    left = reasons(plan(loaded, clock, as_of=MON, week=MON))["S01"]

    assert left.reason is LeftOutReason.TECHNICIAN_AWAY
    assert left.detail == "fixed to T02, who does not work this week"


def test_held_site_stands_among_the_left_out_with_its_worth(loaded, clock, amend):
    amend(
        InputFolder().add(
            "holds",
            site_code="S02",
            kind="not_this_week",
            first_day="2025-06-02",
            last_day="2025-06-08",
            reason="road closed",
        )
    )

    plan(loaded, clock)

    _, stops, left_out = show_round(loaded, "2025-W23-NORTH")
    assert "S02" not in set(stops["site_code"])
    row = left_out.set_index("site_code").loc["S02"]
    assert (row["reason"], row["site_name"]) == ("held", "Sarrow Weir")
    assert row["worth_record_days"] > 100.0


def test_same_data_seed_and_iterations_give_the_same_plan(loaded, clock):
    first, second = plan(loaded, clock), plan(loaded, clock)

    assert first.plan == second.plan
    assert (first.number, second.number) == (1, 2)


def test_plan_in_a_running_week_leaves_out_the_days_that_are_gone(loaded, clock):
    planned = plan(loaded, clock, "SOUTH", as_of=TUE, week=MON)

    assert planned.round_ref == "2025-W23-SOUTH"
    assert {day.day for day in planned.plan.days} <= {WED, THU, FRI}
    kept, _, _ = show_round(loaded, "2025-W23-SOUTH")
    assert (kept.first_day, kept.evidence_as_of) == (WED, TUE)


def test_plan_is_kept_whole_with_one_ledger_entry(loaded, clock):
    before = len(entries(loaded))

    planned = plan(loaded, clock)

    assert entries(loaded)[before:] == [("round plan", "")]
    kept, stops, left_out = show_round(loaded, planned.round_ref)
    made, made_left_out = planned_frames(planned)
    assert stops[made.columns].equals(made)
    assert left_out.equals(made_left_out)
    assert (kept.number, str(kept.status), kept.planned_by) == (1, "planned", "tester")
    assert (kept.seed, kept.iterations, kept.horizon_days) == (1, 20, 365)
    assert kept.worth_record_days == pytest.approx(planned.plan.worth)
    assert verify_records(loaded).faults == ()


def test_next_version_supersedes_and_the_first_stays_readable(loaded, clock, amend):
    plan(loaded, clock)
    first = show_round(loaded, "2025-W23-NORTH")
    spread(amend, absent=[("T02", "2025-06-05", "2025-06-05")])
    clock.move(hours=1)

    planned = plan(loaded, clock)

    assert planned.number == 2
    assert show_round(loaded, "2025-W23-NORTH")[0].number == 2
    again = show_round(loaded, "2025-W23-NORTH", number=1)
    assert again[1].equals(first[1])
    assert again[0].days == first[0].days


def test_rounds_are_listed_newest_week_first_by_depot(loaded, clock):
    plan(loaded, clock)
    plan(loaded, clock, "SOUTH")
    plan(loaded, clock, "SOUTH", week=MON.replace(day=9))

    every, north = list_rounds(loaded), list_rounds(loaded, depot_code="NORTH")

    assert every["round_ref"].tolist() == ["2025-W24-SOUTH", "2025-W23-NORTH", "2025-W23-SOUTH"]
    assert north["round_ref"].tolist() == ["2025-W23-NORTH"]
    assert every["version_in_the_field"].isna().all()
    with pytest.raises(NotFoundError, match="no depot 'EAST'"):
        list_rounds(loaded, depot_code="EAST")


def test_dry_run_leaves_nothing(loaded, clock):
    before = (len(entries(loaded)), count(loaded, RoundVersion), count(loaded, RoundStop))

    planned = plan(loaded, clock, dry_run=True)

    assert not planned.kept
    assert planned.plan.days
    assert (
        len(entries(loaded)),
        count(loaded, RoundVersion),
        count(loaded, RoundStop),
    ) == before
    with pytest.raises(NotFoundError, match="no round '2025-W23-NORTH'"):
        show_round(loaded, "2025-W23-NORTH")


def test_stop_keeps_the_evidence_of_each_gauge(loaded, clock):
    planned = plan(loaded, clock)

    with loaded() as session:
        rows = session.execute(
            select(RoundStopGauge.evidence, RoundStopGauge.worth_record_days).order_by(
                RoundStopGauge.id
            )
        ).all()
    gauges = [
        gauge
        for day in planned.plan.days
        for stop in day.stops
        for gauge in planned.week.work[stop.site_code].gauges
    ]
    assert len(rows) == len(gauges) == 4
    for row, gauge in zip(rows, gauges, strict=True):
        assert gauge.drivers[0].sentence in row.evidence
        assert row.worth_record_days == pytest.approx(gauge.total_record_days)


def test_unknown_depot_says_which_there_are(loaded, clock):
    with pytest.raises(NotFoundError, match=r"no depot 'EAST'. Depots: NORTH, SOUTH"):
        plan(loaded, clock, "EAST")


def test_plan_that_the_checker_refuses_is_not_kept(loaded, clock, monkeypatch):
    monkeypatch.setattr(
        "fleet.planning.checker.find_violations", lambda problem, made: ["S01 is worked at night"]
    )

    with pytest.raises(InfeasibleError, match="S01 is worked at night"):
        plan(loaded, clock)

    assert count(loaded, RoundVersion) == 0


def test_source_of_the_drives_is_kept_with_the_plan(loaded, clock, tmp_path):
    from fleet.services.travel import TravelChoice, travel_source

    matrix = tmp_path / "drives.csv"
    places = ["depot:SOUTH", "S04", "S05", "S06"]
    legs = [f"{a},{b},25,20" for a in places for b in places if a != b]
    matrix.write_text("\n".join(["from_key,to_key,minutes,km", *legs]) + "\n")

    choice = TravelChoice(str(matrix), tmp_path / "cache")
    travel = travel_source(choice, "SOUTH", sessions=loaded, as_of=SUNDAY)

    plan(loaded, clock, "SOUTH", travel=travel)

    kept, stops, _ = show_round(loaded, "2025-W23-SOUTH")
    assert kept.travel_source.startswith("Matrix drives.csv of 20")
    assert set(stops["drive_min"]) == {25}


def test_wish_with_a_reason_is_told_in_the_ledger(loaded, clock):
    from fleet.services.plan_round import plan_round
    from fleet.services.round_request import request_for

    wish = Wish("tester", "round plan", "after the storm")
    plan_round(loaded, request_for("SOUTH", SUNDAY, iterations=5), wish, clock=clock)

    assert entries(loaded)[-1] == ("round plan", "after the storm")
