"""The sentences of the three drivers: probabilities without false digits, evidence, its weight."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.reports.wording import chance_words
from fleet.services.driver_words import drivers_of
from fleet.services.ranking import rank_network
from tests.factories import TODAY


def forecast_of(sessions, serial):
    return next(
        ranked.forecast
        for ranked in rank_network(sessions, as_of=TODAY)
        if ranked.state.gauge.serial == serial
    )


def sentence(forecast, name):
    return next(driver.sentence for driver in drivers_of(forecast) if driver.name == name)


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (1.0, "over 99 %"),
        (0.995, "over 99 %"),
        (0.994, "99 %"),
        (0.5, "50 %"),
        (0.0051, "1 %"),
        (0.005, "under 1 %"),
        (0.0049, "under 1 %"),
        (0.0, "under 1 %"),
    ],
)
def test_probability_is_told_without_false_digits(probability, words):
    assert chance_words(probability) == words


def test_drivers_come_by_falling_share_and_equals_as_age_drift_switch(loaded):
    forecast = forecast_of(loaded, "00417")
    even = replace(forecast, age_share=0.25, drift_share=0.5, switch_share=0.25)

    assert [(d.name, d.share_percent) for d in drivers_of(even)] == [
        ("drift", 50.0),
        ("age", 25.0),
        ("switch", 25.0),
    ]


def test_changes_out_of_line_are_counted(loaded):
    forecast = forecast_of(loaded, "00417")
    one, two = (replace(forecast, drift=replace(forecast.drift, doubted=count)) for count in (1, 2))

    assert "out of line" not in sentence(forecast, "drift")
    assert sentence(one, "drift").endswith("1 change out of line was given less weight.")
    assert sentence(two, "drift").endswith("2 changes out of line were given less weight.")


def test_level_known_from_another_place_says_so(loaded, amend, network):
    network.change("installations", {"serial": "00417"}, removed_on="2025-05-20")
    network.change("installations", {"serial": "A-033"}, removed_on="2025-05-20")
    more = network.only("installations", serial="00417")
    more.tables["installations"] += network.rows("installations", serial="A-033")
    place = {"site_code": "S06", "position": "main", "installed_on": "2025-05-20"}
    amend(more.add("installations", serial="00417", **place), reason="moved")

    words = sentence(forecast_of(loaded, "00417"), "drift")

    # 40 and 40 of 80 tips, and a half for each run with emptied buckets
    assert words.startswith("It read +1.2 % on 2025-01-14, before it came here.")
    assert "judged by 2 changes seen and its type" in words


def test_as_found_while_blocked_is_told_as_such(loaded, amend, network):
    visit = network.only("visits", visit_ref="V009").drop("visits", visit_ref="V009")
    visit.visit("V100", "S01", "2025-05-28")
    visit.check("V100", "00417", found=(12,), left=(40, 40))
    visit.finding("V100", 1, "funnel", "blocked", "cleared", "good", serial="00417")
    amend(visit)

    words = sentence(forecast_of(loaded, "00417"), "drift")

    assert words.endswith(
        "Last as found 12 of 40.0 tips (-70.0 %) on 2025-05-28, visit V100, blocked."
    )


def test_high_resistance_is_told_in_whole_ohm(loaded):
    forecast = forecast_of(loaded, "00420")
    worn = replace(forecast, state=replace(forecast.state, switch_ohm=150.0))

    assert "Closed resistance 150 ohm on" in sentence(worn, "switch")
    assert "Closed resistance 3.50 ohm on" in sentence(forecast, "switch")
