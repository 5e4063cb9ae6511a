"""An explanation holds every number that led to a rank: the worth can be worked out from it alone.

The re-computation below uses the printed figures and `math`, nothing of the package (first
principles: normal law by erf, Gamma-Poisson, trapezoid rule).
"""

from __future__ import annotations

import json
import math
from datetime import date
from itertools import pairwise

import pytest

from fleet.errors import NotFoundError
from fleet.reports.table import render_text
from fleet.services.explain import EXPLAIN_COLUMNS, explain_gauge
from tests.factories import TODAY

SERIALS = ("00417", "00418", "00420", "00523", "A-031", "A-032", "A-033")


def explained(sessions, serial, as_of=TODAY):
    _, _, frame = explain_gauge(sessions, serial, as_of=as_of)
    values = {}
    for part, name, value, _ in frame.itertuples(index=False):
        values[part, name] = value
    return values


def phi(x):
    return 0.5 * (1.0 + math.erf(x / math.sqrt(2.0)))


def outside(values, part, day, *, start="start", sd="start_sd", base=None):
    """Give the probability of being out of limits so many days after the start."""
    mean0, sd0 = base or (values[part, start], values[part, sd])
    years = day / 365.25
    mean = mean0 + values[part, "rate_per_year"] * years
    variance = (
        sd0**2
        + (values[part, "rate_sd"] ** 2 * years + values[part, "type_random_walk"] ** 2) * years
    )
    spread = math.sqrt(max(variance, 1e-18))
    p = 1.0 - phi((values[part, "high"] - mean) / spread)
    low = values[part, "low"]
    return p if low is None else p + phi((low - mean) / spread)


def running_worst(values, part, days, **how):
    worst, found = 0.0, []
    for day in range(days + 1):
        worst = max(worst, outside(values, part, day, **how))
        found.append(worst)
    return found


def event(values, part, days, new=0):
    """Give the probability of an event so many days from now; no fit here has seasons or calls."""
    a, b = values[part, "gamma_shape"], values[part, "gamma_scale_years"]
    k = values[part, "wear"]
    spent = ((new + days) / 365.25) ** k - (new / 365.25) ** k
    return 1.0 - (b / (b + spent)) ** a


def by_now(values, part):
    a, b = values[part, "gamma_shape"], values[part, "gamma_scale_years"]
    p = 1.0 - (b / (b + values[part, "exposure"])) ** a
    odds = p / (1.0 - p) * values[part, "unnoticed"]
    return odds / (1.0 + odds)


def out_if_knocked(values, level, sd):
    spread = math.hypot(sd, values["sudden change", "size_sd_of_type"])
    high = 1.0 - phi((values["drift", "high"] - level) / spread)
    return high + phi((values["drift", "low"] - level) / spread)


def joined(*probabilities):
    return 1.0 - math.prod(1.0 - p for p in probabilities)


def unfit_after_service(values, horizon):
    """Give the probability for each day after a service: new level, old or new switch."""
    fresh = (values["drift", "as_left_mean_of_type"], values["drift", "as_left_sd_of_type"])
    drift = running_worst(values, "drift", horizon, base=fresh)
    age = values["switch", "start_age_days"]
    kept = running_worst(values, "switch", age + horizon)[age:]
    new = (values["switch", "new_mean_of_type"], values["switch", "new_sd_of_type"])
    replaced = running_worst(values, "switch", horizon, base=new)
    failing = joined(values["switch", "p"], values["switch failure", "p"])
    for day in range(horizon + 1):
        wears = max(kept[day] - kept[0], 0.0) / max(1.0 - kept[0], 1e-9)
        worn = (1.0 - failing) * wears + failing * replaced[day]
        part = "switch failure"
        dead = values[part, "p"]
        older = event(values, part, day, values[part, "new_days"])
        yield joined(
            drift[day],
            event(values, "sudden change", day) * out_if_knocked(values, *fresh),
            event(values, "blockage", day),
            worn,
            (1.0 - dead) * older + dead * event(values, part, day),
        )


@pytest.mark.parametrize("serial", SERIALS)
def test_probabilities_combine_from_the_printed_ones(loaded, serial):
    values = explained(loaded, serial)

    causes = [values["worth", f"p_{c}"] for c in ("drift", "blockage", "switch", "disconnection")]
    assert values["worth", "p"] == pytest.approx(joined(*causes), abs=1e-8)
    assert values["worth", "p_drift"] == pytest.approx(
        joined(values["drift", "p"], values["sudden change", "p"]), abs=1e-8
    )
    assert values["worth", "p_blockage"] == values["blockage", "p"]
    assert values["worth", "p_switch"] == pytest.approx(
        joined(values["switch", "p"], values["switch failure", "p"]), abs=1e-8
    )


@pytest.mark.parametrize("serial", SERIALS)
def test_each_cause_follows_from_the_printed_law(loaded, serial):
    values = explained(loaded, serial)

    drift = running_worst(values, "drift", values["drift", "start_age_days"])[-1]
    worn = running_worst(values, "switch", values["switch", "start_age_days"])[-1]
    assert values["drift", "p"] == pytest.approx(drift, abs=1e-9)
    assert values["switch", "p"] == pytest.approx(worn, abs=1e-9)
    for part in ("blockage", "switch failure"):
        assert not values[part, "left_so"]
        assert values[part, "p"] == pytest.approx(by_now(values, part), abs=1e-9)
        well, k = values[part, "age_days"], values[part, "wear"]
        new = values[part, "new_days"] / 365.25
        spent = new**k - (new - well / 365.25) ** k
        assert values[part, "exposure"] == pytest.approx(spent)
    knocked = by_now(values, "sudden change") * values["sudden change", "out_share"]
    assert values["sudden change", "p"] == pytest.approx(knocked, abs=1e-9)
    start = (values["drift", "start"], values["drift", "start_sd"])
    assert values["sudden change", "out_share"] == pytest.approx(out_if_knocked(values, *start))


@pytest.mark.parametrize("serial", SERIALS)
def test_worth_follows_from_the_printed_numbers(loaded, serial):
    values = explained(loaded, serial)
    p = values["worth", "p"]

    after = list(unfit_after_service(values, 365))

    gains = [max(0.0, p - later) for later in after]
    worth = values["gauge", "importance"] * sum((a + b) / 2 for a, b in pairwise(gains))
    assert values["worth", "p_after_service"] == pytest.approx(after[0], abs=1e-8)
    assert values["worth", "p_at_horizon"] == pytest.approx(after[-1], abs=1e-8)
    assert values["worth", "worth_record_days"] == pytest.approx(worth, rel=1e-4, abs=2e-3)
    assert values["worth", "total_record_days"] == pytest.approx(
        values["worth", "worth_record_days"] + values["worth", "compliance_record_days"]
    )


@pytest.mark.parametrize("serial", SERIALS)
def test_shares_of_the_drivers_add_up_to_a_hundred(loaded, serial):
    values = explained(loaded, serial)

    shares = [values["driver", name] for name in ("age", "drift", "switch")]
    assert sum(shares) == pytest.approx(100.0, abs=1e-9)
    assert all(share >= 0.0 for share in shares)


def test_gauge_policy_and_evidence_are_those_of_the_records(loaded):
    values = explained(loaded, "00417")

    assert values["gauge", "tip_ml"] == 20.0
    assert values["gauge", "nominal_tips"] == 40.0
    assert values["gauge", "age_days"] == 139  # 2025-01-14 to 2025-06-02
    assert values["policy", "service_interval_days"] == 180
    assert values["policy", "basis"].endswith("common practice, no published source")
    assert values["drift", "start"] == pytest.approx(1.25)
    assert values["drift", "seen at V002"] == pytest.approx(-3.125)
    assert values["drift", "seen at V003"] == pytest.approx(-5.625)
    assert values["switch", "start"] == pytest.approx(math.log(0.4))
    assert values["blockage", "events"] == 0
    assert values["blockage", "years_watched"] == pytest.approx(406 / 365.25)  # from V001


def test_blockage_and_dead_switch_are_counted_where_they_were_found(loaded):
    blocked, dead = explained(loaded, "A-031"), explained(loaded, "A-032")

    assert (blocked["blockage", "events"], dead["switch failure", "events"]) == (1, 1)
    # nobody had read that switch before it was found failing: that tells no rate
    assert dead["switch failure", "gamma_shape"] == pytest.approx(1.0)
    assert blocked["worth", "p_disconnection"] > 0.999999  # V015 proves nothing


def test_explanation_as_of_a_past_day_ranks_that_day(loaded):
    ranked, count, _ = explain_gauge(loaded, "00419", as_of=date(2024, 6, 10))

    assert count == 6
    assert ranked.state.last_service_on == date(2024, 3, 12)


def test_unknown_serial_says_how_to_list_the_known_ones(loaded):
    with pytest.raises(NotFoundError, match=r"serial '0417' was installed on 2025-06-02.*rank"):
        explain_gauge(loaded, "0417", as_of=TODAY)


def test_explanation_is_sound_json_also_where_a_limit_is_missing(loaded):
    _, _, frame = explain_gauge(loaded, "00417", as_of=TODAY)

    def refuse(text):
        raise AssertionError(f"{text} is no JSON number")

    rows = json.loads(render_text(frame, "json"), parse_constant=refuse)
    assert list(frame.columns) == list(EXPLAIN_COLUMNS)
    assert [r["value"] for r in rows if (r["part"], r["name"]) == ("switch", "low")] == [None]
