"""Equipment out of date on a planned day: who is warned, and who is said to have the like.

In the small network D03 (400 mL) is out of date since 2024-12-31 and T01, T02 and T03 used it.
"""

from __future__ import annotations

from tests.factories import InputFolder
from tests.week_plan import plan


def notes(planned):
    return [text for text in planned.notes if " device " in text]


def test_device_out_of_date_is_told_with_holder_days_and_who_has_none(loaded, clock):
    assert notes(plan(loaded, clock, "SOUTH")) == [
        "T03, Mon 2025-06-02: volumetric device D03 (400 mL) is out of date since 2024-12-31; "
        "nobody has the like in date then."
    ]


def test_device_in_date_of_another_is_named_with_its_last_user(loaded, clock, amend):
    more = InputFolder().add(
        "devices", device_code="D09", kind="volumetric", description="bottle", serial="9"
    )
    more.add(
        "certificates",
        device_code="D09",
        certificate_number="D09/1",
        valid_from="2025-01-01",
        valid_until="2025-12-31",
        volume_ml=401.2,
    )
    more.visit("V090", "S02", "2025-05-20", technicians="T02")
    more.check("V090", "00523", found=(100, 100), left=(100, 100), volume_ml=400.0, device="D09")
    amend(more)

    (told,) = notes(plan(loaded, clock, "SOUTH"))

    assert told.endswith(
        "is out of date since 2024-12-31; in date then: D09, last used by T02 on 2025-05-20."
    )


def test_crew_that_holds_another_in_date_is_not_warned(loaded, clock, amend):
    more = InputFolder().add(
        "devices", device_code="D09", kind="volumetric", description="bottle", serial="9"
    )
    more.add(
        "certificates",
        device_code="D09",
        certificate_number="D09/1",
        valid_from="2025-01-01",
        valid_until="2025-12-31",
        volume_ml=401.2,
    )
    more.visit("V090", "S05", "2025-05-20", technicians="T03")
    more.check("V090", "A-032", found=(100, 100), left=(100, 100), volume_ml=400.0, device="D09")
    amend(more)

    assert notes(plan(loaded, clock, "SOUTH")) == []


def test_notes_are_kept_with_the_version(loaded, clock):
    from fleet.services.round_view import show_round

    planned = plan(loaded, clock, "SOUTH")

    assert show_round(loaded, planned.round_ref)[0].notes == planned.notes
    assert planned.notes
