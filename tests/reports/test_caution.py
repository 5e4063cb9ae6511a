"""Reminders. At least 30 minutes after the last thunder: OSHA/NOAA fact sheet, read (S54);
lone work: UK HSE INDG73, read in a summary (S50); droppings: NIOSH 2005-109 foreword (S55)."""

from dataclasses import replace

import pytest

from fleet.reports.caution import LEAD, cautions


def with_notes(day, hazards, notes=""):
    stop = replace(day.stops[0], hazards=hazards, access_notes=notes, skill=None)
    return (replace(day, stops=(stop,)),)


def topics(texts):
    return [text.partition(":")[0] for text in texts]


def test_lead_defers_to_local_codes_and_licensed_practice():
    assert "Reminders only" in LEAD
    assert "Local codes" in LEAD
    assert "licensed" in LEAD


def test_cautions_wait_thirty_minutes_after_thunder_osha_noaa(week):
    lightning = next(text for text in cautions(week.days) if text.startswith("Lightning"))

    assert "at least 30 minutes after the last thunder" in lightning


def test_cautions_tell_lone_days_from_pairs(week):
    alone, together = week.days[1:2], week.days[:1]

    assert "Working alone" in topics(cautions(alone))
    assert "Working in pairs" not in topics(cautions(alone))
    assert "Working in pairs" in topics(cautions(together))
    assert "Working alone" not in topics(cautions(together))


@pytest.mark.parametrize(
    ("hazards", "topic"),
    [
        ("Slippery banks", "Water (SK005, see the job cards)"),
        ("Two bulls", "Livestock and dogs (SK005, see the job cards)"),
        ("ladder to the ROOF", "Height (SK005, see the job cards)"),
    ],
)
def test_cautions_name_the_sites_whose_notes_speak_of_it(week, hazards, topic):
    said = topics(cautions(with_notes(week.days[1], hazards)))

    assert topic in said
    assert len([t for t in said if t.startswith(("Water", "Livestock", "Height"))]) == 1


@pytest.mark.parametrize("hazards", ["Осторожно: осы", "Vorsicht, tiefer Graben", "Bull. احذر"])
def test_cautions_print_all_where_a_note_cannot_be_read(week, hazards):
    said = topics(cautions(with_notes(week.days[1], hazards)))

    assert len([t for t in said if t.startswith(("Water", "Livestock", "Height"))]) == 3


def test_cautions_stay_short_where_no_hazard_is_noted(week):
    said = topics(cautions(with_notes(week.days[1], "", "Open the damaged ramp in the season")))

    assert said == ["Driving", "Working alone", "Lightning", "Electricity", "Heat, cold and sun",
                    "Bird and bat droppings", "Insects, snakes, ticks"]  # fmt: skip


def test_cautions_count_sites_beyond_eight(week):
    water = next(text for text in cautions(week.days) if text.startswith("Water"))

    assert water.startswith("Water (20 sites, see the job cards)")
