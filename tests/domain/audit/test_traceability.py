"""Certificates and skills on the day, on hand-made records; days counted by hand [CALC]."""

from __future__ import annotations

from datetime import date

import pytest

from fleet.domain.audit.evidence import (
    Ask,
)
from fleet.domain.audit.kept import (
    CertificateSpan,
    DeviceUse,
    SkillSpan,
)
from fleet.domain.audit.traceability import device_out_of_date, unqualified
from tests.domain.audit.ground import audited, evidence
from tests.factories import make_check

AS_OF = date(2025, 6, 2)
DAY = date(2025, 3, 25)
OLD = CertificateSpan("D03", "D03/1", date(2023, 1, 1), date(2024, 12, 31))
NEW = CertificateSpan("D03", "D03/2", date(2025, 4, 1), date(2027, 3, 31))


def use(device: str | None = "D03", *, runs: int = 4, readings: int = 0) -> DeviceUse:
    return DeviceUse("V20250325", "00417", device, "volumetric", "K-D03", runs, readings)


def asked(*certificates: CertificateSpan, used: DeviceUse | None = None):  # type: ignore[no-untyped-def]
    ground = evidence(
        audited(make_check(DAY, left=(40, 40))),
        device_uses=(used or use(),),
        certificates=certificates,
    )
    return device_out_of_date(ground, Ask(AS_OF))


def test_device_out_of_date_names_the_certificate_that_had_ended() -> None:
    [row] = asked(OLD, NEW)

    assert (row.device_code, row.device_kind, row.device_serial) == ("D03", "volumetric", "K-D03")
    assert (row.certificate_number, row.certificate_until) == ("D03/1", date(2024, 12, 31))
    assert (row.days_out_of_date, row.next_certificate_from) == (84, date(2025, 4, 1))
    assert row.sentence == (
        "D03 was used on 2025-03-25 (runs 4, switch readings 0), 84 days after its certificate "
        "D03/1 ended on 2024-12-31."
    )


@pytest.mark.parametrize(
    ("first", "last", "found"),
    [
        (date(2025, 3, 25), date(2025, 12, 31), 0),
        (date(2025, 3, 26), date(2025, 12, 31), 1),
        (date(2024, 1, 1), date(2025, 3, 25), 0),
        (date(2024, 1, 1), date(2025, 3, 24), 1),
    ],
)
def test_device_out_of_date_counts_both_days_of_a_certificate_as_in_force(
    first: date, last: date, found: int
) -> None:
    assert len(asked(CertificateSpan("D03", "D03/1", first, last))) == found


def test_device_out_of_date_is_not_covered_by_another_device() -> None:
    other = CertificateSpan("D01", "D01/1", date(2023, 1, 1), date(2026, 12, 31))

    [row] = asked(other)

    assert (row.certificate_number, row.days_out_of_date) == (None, None)
    assert "no certificate on record" in row.sentence


def test_device_out_of_date_lists_runs_that_name_no_device() -> None:
    [row] = asked(OLD, used=use(None, runs=3))

    assert (row.device_code, row.device_kind, row.runs) == (None, None, 3)
    assert "without any test equipment named (3)" in row.sentence
    assert asked(OLD, used=use(None, runs=0, readings=2)) == []


def test_device_out_of_date_without_since_looks_at_the_latest_check_with_equipment() -> None:
    later = make_check(date(2025, 5, 1), cleaned=True)
    ground = evidence(
        audited(make_check(DAY, left=(40, 40)), later), device_uses=(use(),), certificates=(OLD,)
    )

    assert len(device_out_of_date(ground, Ask(AS_OF))) == 1
    assert device_out_of_date(ground, Ask(AS_OF, since=date(2025, 3, 26))) == []


def skilled(*spans: SkillSpan, technicians: tuple[str, ...] = ("T01", "T02")):  # type: ignore[no-untyped-def]
    gauge = audited(make_check(DAY, left=(40, 40), technicians=technicians), required_skill="mast")
    return unqualified(evidence(gauge, skills=spans), Ask(AS_OF))


def test_unqualified_lists_a_visit_on_which_nobody_held_the_skill() -> None:
    [row] = skilled(
        SkillSpan("T02", "mast", date(2023, 1, 1), date(2024, 12, 31)),
        SkillSpan("T03", "mast", date(2023, 1, 1), None),
        SkillSpan("T01", "first aid", date(2023, 1, 1), None),
    )

    assert (row.required_skill, row.held_until) == ("mast", date(2024, 12, 31))
    assert row.sentence == (
        "The site asks for 'mast'; on 2025-03-25 nobody there held it (T01 T02); it was last "
        "held until 2024-12-31."
    )


@pytest.mark.parametrize(
    ("first", "last", "found"),
    [
        (date(2025, 3, 25), None, 0),
        (date(2025, 3, 26), None, 1),
        (date(2024, 1, 1), date(2025, 3, 25), 0),
        (date(2024, 1, 1), date(2025, 3, 24), 1),
    ],
)
def test_unqualified_counts_both_days_of_a_skill_as_held(
    first: date, last: date | None, found: int
) -> None:
    assert len(skilled(SkillSpan("T02", "mast", first, last))) == found


def test_unqualified_lists_a_visit_that_names_nobody() -> None:
    [row] = skilled(SkillSpan("T02", "mast", date(2023, 1, 1), None), technicians=())

    assert "names nobody" in row.sentence


def test_unqualified_asks_nothing_of_a_site_that_asks_for_no_skill() -> None:
    ground = evidence(audited(make_check(DAY, left=(40, 40))))

    assert unqualified(ground, Ask(AS_OF)) == []
