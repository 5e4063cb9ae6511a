"""The sample network: made again byte for byte, whole, on land, in the right hours.

The columns are those of the loading contract. Offsets follow the rule of the European summer time
directive 2000/84/EC (last Sunday of March to last Sunday of October, 01:00 UTC; from memory),
worked out here without a time zone library. On land or not: crossing number
(first principles).
"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
import unicodedata
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[2] / "sample_network"
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
Row = dict[str, str]


def read(name: str, folder: Path = FOLDER) -> list[Row]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def made_files(folder: Path) -> dict[str, bytes]:
    paths = [*folder.glob("*.csv"), *folder.glob("corrections/*.csv"), folder / "outline.geojson"]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


def make(into: Path, *more: str) -> None:
    command = [sys.executable, "-B", str(FOLDER / "make.py"), "--into", str(into), *more]
    subprocess.run(command, check=True)


def test_script_makes_the_same_bytes_again(tmp_path: Path) -> None:
    make(tmp_path)

    made, kept = made_files(tmp_path), made_files(FOLDER)
    assert sorted(made) == sorted(kept)
    assert [name for name in kept if made[name] != kept[name]] == []
    assert sum(len(text) for text in kept.values()) < 3_000_000


def test_another_seed_tells_another_history(tmp_path: Path) -> None:
    make(tmp_path, "--seed", "7")

    assert made_files(tmp_path)["tip_runs.csv"] != made_files(FOLDER)["tip_runs.csv"]
    assert len(read("sites", tmp_path)) == 89


HEADERS = {
    "depots": "depot_code,name,latitude_deg,longitude_deg,time_zone,holiday_region",
    "closures": "depot_code,day,name",
    "absences": "technician_code,first_day,last_day,reason",
    "skills": "technician_code,skill,valid_from,valid_until",
    "installations": "site_code,position,installed_on,serial,removed_on,loop_ohm",
    "instruments": "serial,type_code,status,orifice_area_cm2,area_basis,note",
    "gauge_checks": "visit_ref,serial,isolated_at,restored_at,restoration_proven,level_found,"
    "level_left,cleaned,adjusted,parts",
    "tip_runs": "visit_ref,serial,phase,run_number,volume_ml,duration_s,tips,start_state,"
    "device_code",
    "switch_readings": "visit_ref,serial,phase,kind,value,over_range,measured_at,device_code",
    "daily_totals": "site_code,position,day,total_mm,flag",
    "holds": "site_code,kind,first_day,last_day,technician_code,reason",
}


@pytest.mark.parametrize("name", sorted(HEADERS))
def test_header_is_the_contract(name: str) -> None:
    assert (FOLDER / f"{name}.csv").read_text("utf-8").splitlines()[0] == HEADERS[name]


def test_network_is_large_enough() -> None:
    standing = [row for row in read("installations") if not row["removed_on"]]
    at_work = [row for row in read("technicians") if not row["active_until"]]

    assert len(read("sites")) == 89
    assert len(standing) == 106
    assert sorted(row["depot_code"] for row in at_work) == ["QOR", "QOR", "TJA", "TJA"]
    assert {row["status"] for row in read("instruments")} == {
        "in_service",
        "spare",
        "workshop",
        "retired",
    }
    assert len(read("visits")) > 500
    assert len({row["valid_from"] for row in read("policies") if row["scope"] == "network"}) == 2
    assert sum(row["persons_required"] == "2" for row in read("sites")) >= 4
    assert {row["kind"] for row in read("holds")} == {"must_visit", "not_this_week", "technician"}


def test_days_are_those_of_the_story() -> None:
    days = {row["day"] for row in read("daily_totals")}

    assert date(2026, 11, 20).strftime("%a") == "Fri"
    assert (min(days), max(days), len(days)) == ("2025-11-21", "2026-11-20", 365)
    assert max(row["arrived_at"] for row in read("visits"))[:10] <= "2026-11-20"
    assert min(row["arrived_at"] for row in read("visits"))[:7] == "2023-11"


def test_every_gauge_has_a_total_for_every_day_it_stood() -> None:
    first: dict[tuple[str, str], str] = {}
    for row in read("installations"):
        key = (row["site_code"], row["position"])
        first[key] = min(first.get(key, "9999"), row["installed_on"])
    standing = {
        (r["site_code"], r["position"]) for r in read("installations") if not r["removed_on"]
    }
    days: dict[tuple[str, str], list[str]] = {}
    for row in read("daily_totals"):
        days.setdefault((row["site_code"], row["position"]), []).append(row["day"])

    for key in standing:
        start = max(date.fromisoformat(first[key]), date(2025, 11, 21))
        assert len(days[key]) == (date(2026, 11, 20) - start).days + 1
    assert all(len(found) == len(set(found)) for found in days.values())


def test_totals_are_whole_tips() -> None:
    kinds = {row["type_code"]: float(row["bucket_mm"]) for row in read("gauge_types")}
    types = {row["serial"]: kinds[row["type_code"]] for row in read("instruments")}
    stays = read("installations")
    once = [r for r in stays if sum(s["site_code"] == r["site_code"] for s in stays) == 1]
    bucket = {(r["site_code"], r["position"]): types[r["serial"]] for r in once}
    for row in read("daily_totals"):
        tip_mm = bucket.get((row["site_code"], row["position"]))
        if tip_mm and row["total_mm"]:
            tips = float(row["total_mm"]) / tip_mm
            assert tips == pytest.approx(round(tips), abs=1e-6)


def scripts(text: str) -> set[str]:
    return {unicodedata.name(letter).split()[0] for letter in text if letter.isalpha()}


def test_texts_are_clean_and_in_several_scripts() -> None:
    names = " ".join(row["name"] for row in read("sites"))
    everything = "".join(text.decode("utf-8") for text in made_files(FOLDER).values())

    assert scripts(names) == {"LATIN", "GREEK", "CYRILLIC", "ARABIC", "DEVANAGARI", "THAI"}
    assert scripts(" ".join(r["name"] for r in read("technicians"))) == {"LATIN", "CYRILLIC"}
    assert unicodedata.is_normalized("NFC", everything)
    assert {c for c in everything if unicodedata.category(c) in ("Cc", "Cf", "Co", "Cs")} == {"\n"}


def coast() -> list[tuple[float, float]]:
    features = json.loads((FOLDER / "outline.geojson").read_text("utf-8"))["features"]
    rings = [f["geometry"]["coordinates"] for f in features if f["properties"]["kind"] == "coast"]
    return [(x, y) for x, y in rings[0][0]]


def on_land(x: float, y: float) -> bool:
    """Count how often a ray to the east crosses the coast."""
    crossings = 0
    for (x1, y1), (x2, y2) in pairwise(coast()):
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) / (y2 - y1) * (x2 - x1):
            crossings += 1
    return crossings % 2 == 1


def test_sites_and_depots_lie_on_land() -> None:
    places = read("sites") + read("depots")
    wet = [
        row["name"]
        for row in places
        if not on_land(float(row["longitude_deg"]), float(row["latitude_deg"]))
    ]

    assert wet == []
    assert not on_land(-36.0, 44.0)


def test_outline_is_valid_geojson_in_open_water() -> None:
    whole = json.loads((FOLDER / "outline.geojson").read_text("utf-8"))
    kinds = [feature["properties"]["kind"] for feature in whole["features"]]

    assert whole["type"] == "FeatureCollection"
    assert set(kinds) == {"coast", "road", "river"}
    assert coast()[0] == coast()[-1]
    for feature in whole["features"]:
        points = feature["geometry"]["coordinates"]
        for x, y in points[0] if feature["geometry"]["type"] == "Polygon" else points:
            assert -36.0 < x < -33.5
            assert 44.0 < y < 45.5


def last_sunday(year: int, month: int) -> datetime:
    day = datetime(year, month, 31, 1, tzinfo=UTC)
    return day - timedelta(days=(day.weekday() + 1) % 7)


def test_offsets_follow_summer_time() -> None:
    told = [row[name] for row in read("visits") for name in ("arrived_at", "departed_at")]
    told += [r[name] for r in read("gauge_checks") for name in ("isolated_at", "restored_at")]
    offsets = set()
    for text in filter(None, told):
        instant = datetime.fromisoformat(text)
        summer = last_sunday(instant.year, 3) <= instant < last_sunday(instant.year, 10)
        assert instant.utcoffset() == timedelta(hours=0 if summer else -1)
        offsets.add(text[-6:])

    assert offsets == {"+00:00", "-01:00"}


def test_crews_visit_on_their_working_days_only() -> None:
    people = {row["technician_code"]: row for row in read("technicians")}
    shut = {(row["depot_code"], row["day"]) for row in read("closures")}
    away = [(r["technician_code"], r["first_day"], r["last_day"]) for r in read("absences")]
    for visit in read("visits"):
        day = visit["arrived_at"][:10]
        for code in visit["technician_codes"].split():
            person = people[code]
            assert WEEKDAYS[date.fromisoformat(day).weekday()] in person["weekdays"].split()
            assert person["active_from"] <= day <= (person["active_until"] or day)
            assert (person["depot_code"], day) not in shut
            assert not [a for a in away if a[0] == code and a[1] <= day <= a[2]]


def test_nobody_is_at_two_places_at_once() -> None:
    spans: dict[str, list[tuple[datetime, datetime, str]]] = {}
    for visit in read("visits"):
        arrived, departed = (
            datetime.fromisoformat(visit[name]) for name in ("arrived_at", "departed_at")
        )
        assert timedelta(minutes=5) <= departed - arrived < timedelta(hours=6)
        for code in visit["technician_codes"].split():
            spans.setdefault(code, []).append((arrived, departed, visit["site_code"]))
    for mine in spans.values():
        mine.sort()
        assert all(a[1] < b[0] or a[2] == b[2] for a, b in pairwise(mine))


def test_checks_lie_within_their_visits() -> None:
    visits = {row["visit_ref"]: row for row in read("visits")}
    for check in read("gauge_checks"):
        visit = visits[check["visit_ref"]]
        inside = [check["isolated_at"], check["restored_at"]]
        instants = [visit["arrived_at"], *filter(None, inside), visit["departed_at"]]
        assert instants == sorted(instants)
        assert visit["outcome"] != "not_done"


def test_two_persons_go_where_two_are_needed() -> None:
    needed = {row["site_code"]: int(row["persons_required"]) for row in read("sites")}

    for visit in read("visits"):
        assert len(visit["technician_codes"].split()) == needed[visit["site_code"]]


def open_minutes(rule: Row, arrived: str) -> bool:
    day, clock = arrived[:10], arrived[11:16]
    return (
        (rule["first_day"] or day) <= day <= (rule["last_day"] or day)
        and (
            not rule["weekdays"] or WEEKDAYS[date.fromisoformat(day).weekday()] in rule["weekdays"]
        )
        and (rule["opens"] or clock) <= clock <= (rule["closes"] or clock)
    )


def test_visits_keep_to_the_access_rules() -> None:
    rules: dict[str, list[Row]] = {}
    for rule in read("access_rules"):
        rules.setdefault(rule["site_code"], []).append(rule)
    kept = 0
    for visit in read("visits"):
        mine = rules.get(visit["site_code"], [])
        kept += bool(mine)
        assert not mine or any(open_minutes(rule, visit["arrived_at"]) for rule in mine)

    assert kept > 80


@pytest.mark.parametrize("key", ["serial", "site_code position"])
def test_installations_never_overlap(key: str) -> None:
    stays: dict[tuple[str, ...], list[tuple[str, str]]] = {}
    for row in read("installations"):
        thing = tuple(row[name] for name in key.split())
        stays.setdefault(thing, []).append((row["installed_on"], row["removed_on"] or "9999"))
    for mine in stays.values():
        mine.sort()
        assert all(first < last for first, last in mine)
        assert all(a[1] <= b[0] for a, b in pairwise(mine))


def test_status_agrees_with_the_installations() -> None:
    standing = {row["serial"] for row in read("installations") if not row["removed_on"]}

    assert {r["serial"] for r in read("instruments") if r["status"] == "in_service"} == standing


def test_runs_of_a_phase_are_numbered_from_one() -> None:
    runs: dict[tuple[str, str, str], list[int]] = {}
    for row in read("tip_runs"):
        key = (row["visit_ref"], row["serial"], row["phase"])
        runs.setdefault(key, []).append(int(row["run_number"]))
        assert row["start_state"] == ("emptied" if row["phase"] == "as_left" else "unknown")

    assert all(found == list(range(1, len(found) + 1)) for found in runs.values())
    assert {len(found) for found in runs.values()} == {1, 2, 3, 4}


def test_next_week_has_its_absence_its_closure_and_a_skill_that_nobody_holds() -> None:
    away = [r for r in read("absences") if "2026-11-23" <= r["first_day"] <= "2026-11-27"]
    shut = [r for r in read("closures") if "2026-11-23" <= r["day"] <= "2026-11-27"]
    held = {r["skill"] for r in read("skills") if r["valid_until"] >= "2026-11-23"}
    asked = {row["required_skill"] for row in read("sites")} - {""}

    assert [(r["technician_code"], r["first_day"]) for r in away] == [("T02", "2026-11-25")]
    assert [(r["depot_code"], r["day"]) for r in shut] == [("QOR", "2026-11-26")]
    assert asked - held == {"confined entry"}


def test_follow_ups_are_open_and_closed() -> None:
    rows = read("follow_ups")

    assert sum(not row["closed_on"] for row in rows) >= 10
    assert sum(bool(row["closed_on"]) for row in rows) >= 10
    assert {row["severity"] for row in rows} == {"urgent", "soon", "next_visit"}
    assert all(row["closed_on"] >= row["raised_on"] for row in rows if row["closed_on"])


def test_readme_promises_only_troubles_that_are_looked_for(promised: dict[str, set[str]]) -> None:
    assert sorted(promised) == [
        "always adjusted",
        "blocked",
        "corrected",
        "dead switch",
        "double count",
        "drifting",
        "expired skill",
        "failed attempt",
        "left disconnected",
        "left out of tolerance",
        "missing as-found",
        "missing as-left",
        "moved",
        "never serviced",
        "out as found and mended",
        "overdue",
        "rejected",
        "silent",
        "sinking",
        "swapped",
        "test equipment out of date",
        "test tips in the record",
        "too perfect",
        "weak switch",
        "workshop and elsewhere",
    ]
