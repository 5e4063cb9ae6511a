"""The interval review from the records of the small network.

Expected figures by hand from tests/small_network.py, as of 2025-06-02: every 180 days, 90 % fit;
TB05 passes at 37 to 43 of 40 tips, TB02 within 5 % of 100. Ages of 90 to 270 days count.
"""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
import pytest

from fleet.errors import NotFoundError
from fleet.services.interval_frame import REVIEW_COLUMNS, review_frame
from fleet.services.interval_review import ReviewOrder, review_intervals
from fleet.services.interval_words import advice_of, review_sentence
from tests.factories import NOW, TODAY, InputFolder


def reviewed(sessions, **order):
    return review_intervals(sessions, ReviewOrder(TODAY, **order))


def by_code(sessions, **order):
    return {review.code: review for review in reviewed(sessions, **order)}


def row(sessions, code, **order):
    frame = review_frame(reviewed(sessions, **order), "code")
    return frame.set_index("code").loc[code]


def test_review_gives_each_type_with_its_policy(loaded):
    assert [(r.code, r.gauges, r.interval_days, r.target) for r in reviewed(loaded)] == [
        ("TB02", 3, 180, 0.9),
        ("TB05", 4, 180, 0.9),
    ]


def test_checks_of_a_type_are_counted_around_the_end_of_the_interval(loaded):
    tb05 = by_code(loaded)["TB05"]

    # 00417: 182 and 224 days (39 39, 38 38: fit); 00418: 182 days (36 36: unfit); 00419: 182 days
    # (33 34: unfit, long removed); 00420: 182 days (40 39: fit); none before a service on record
    assert tb05.end is not None
    assert (tb05.end.seen.hits, tb05.end.seen.trials) == (3, 5)
    assert (tb05.end.youngest_days, tb05.end.oldest_days) == (182, 224)
    assert tb05.end.mean_age_days == pytest.approx((4 * 182 + 224) / 5)


def test_row_shows_each_method_on_those_checks(loaded):
    tb05 = row(loaded, "TB05")

    assert (tb05["checks"], tb05["fit"], tb05["fit_percent"]) == (5, 3, 60.0)
    # 3 of 5: 0.1466 to 0.9473 (Clopper-Pearson, worked with scipy.stats.binomtest)
    assert (tb05["fit_low_percent"], tb05["fit_high_percent"]) == pytest.approx(
        (14.66, 94.73), abs=0.005
    )
    # 190.4 ln 0.9 / ln 0.6 (first principles)
    assert tb05["exponential_days"] == pytest.approx(39.27, abs=0.005)
    assert not tb05["exponential_capped"]  # at 94.73 % it is 370 days, under twice 190.4
    assert tb05["a1_reduction_percent"] == pytest.approx(57.59, abs=0.005)  # NCSLI RP-1 A1
    # 180 x 1.1^0.6 x 0.4241^0.4
    assert tb05["a1_days"] == pytest.approx(135.2, abs=0.05)
    # newest: 00417 38 38 (-5 of -7.5 %), 00418 36 36, 00419 33 34, 00420 40 39
    assert [tb05[f"staircase_{step}"] for step in ("extend", "keep", "reduce")] == [2, 0, 2]
    assert (tb05["services"], tb05["services_ended_unfit"]) == (5, 2)
    assert pd.isna(tb05["weibull_days"])
    assert tb05["weibull_note"] == (
        "not enough evidence: 2 of 5 services ended unfit; at least 5 of 20 are needed"
    )
    assert tb05["advice"] == "not enough evidence"


def test_sentence_says_policy_forecast_findings_and_what_is_lacking(loaded):
    words = review_sentence(by_code(loaded)["TB05"])

    assert words.startswith("Policy: every 180 days, 90 % fit at the end. Forecast: ")
    assert "Found: 3 of 5 fit at 182 to 224 days, 60.0 % (95 % interval 14.7 to 94.7 %)." in words
    assert "Staircase, newest results: extend 2, keep 0, reduce 2." in words
    assert words.endswith(
        "Not enough evidence to judge the interval: 5 checks, and 29 passes without a failure "
        "would be needed to show 90 %."
    )


def test_forecast_age_is_where_the_forecast_meets_the_target(loaded):
    tb05 = by_code(loaded)["TB05"].forecast

    assert 0.0 <= tb05.shortest_days <= tb05.days <= tb05.longest_days
    # unfit at the interval is above the tenth allowed exactly where that age is shorter
    assert (tb05.unfit_at_interval > 0.1) == (tb05.days < 180)


def test_site_with_a_policy_of_its_own_stands_apart(loaded, amend, network):
    network.add(
        "policies",
        scope="site",
        scope_code="S02",
        valid_from="2025-03-01",
        service_interval_days=91,
        target_reliability=0.95,
        basis="invented",
    )

    amend(network.only("policies"))

    assert [(r.code, r.interval_days, r.target, r.gauges) for r in reviewed(loaded)] == [
        ("TB02", 91, 0.95, 1),
        ("TB02", 180, 0.9, 2),
        ("TB05", 91, 0.95, 1),
        ("TB05", 180, 0.9, 3),
    ]


def test_old_results_are_judged_by_the_present_policy(loaded, amend, network):
    # 36 36 of 40 is -10 %, 33 34 is -16.25 %, 38 38 is -5 %: all within 20 %
    network.change(
        "policies", {"scope": "type"}, as_found_low_tips="32", as_found_high_tips="48"
    ).change("policies", {"valid_from": "2025-01-01"}, reject_limit_percent="30")

    amend(network.only("policies"), reason="a test of wider limits")

    end = by_code(loaded)["TB05"].end
    assert end is not None
    assert (end.seen.hits, end.seen.trials) == (5, 5)


def test_review_by_site_gives_a_row_a_site(loaded):
    sites = by_code(loaded, by="site")

    assert list(sites) == ["S01", "S02", "S03", "S04", "S05", "S06"]
    assert sites["S02"].gauges == 2
    never = sites["S06"]
    assert (never.end, never.memoryless, never.reactive) == (None, None, None)
    assert "Found: no check with a verdict" in review_sentence(never)
    frame = review_frame(reviewed(loaded, by="site"), "site_code")
    assert list(frame.columns) == ["site_code", *REVIEW_COLUMNS[1:]]
    assert frame.set_index("site_code").loc["S06", "checks"] == 0


def test_repair_ends_a_service_shortly_before(loaded):
    # V013: dead switch, 231 days after V011; the gauge had been fit at V011
    life = by_code(loaded, by="site")["S05"].life

    assert (life.spells, life.failures) == (1, 1)


def test_depot_shows_its_own_gauges_with_the_forecast_of_the_whole_fleet(loaded):
    whole, south = by_code(loaded, by="site"), by_code(loaded, by="site", depot_code="SOUTH")

    assert list(south) == ["S04", "S05", "S06"]
    assert all(south[code].forecast == whole[code].forecast for code in south)


def test_unknown_depot_says_which_there_are(loaded):
    with pytest.raises(NotFoundError, match=r"no depot 'EAST'\. Depots: NORTH, SOUTH"):
        reviewed(loaded, depot_code="EAST")


def test_review_as_known_before_an_amendment_is_the_review_of_before(loaded, amend, network):
    before = review_frame(reviewed(loaded), "type_code")
    network.change(
        "tip_runs", {"visit_ref": "V005", "serial": "00418", "phase": "as_found"}, tips="40"
    )

    amend(network.only("tip_runs", visit_ref="V005"), reason="typed wrongly")

    pd.testing.assert_frame_equal(review_frame(reviewed(loaded, known_on=NOW), "type_code"), before)
    end = by_code(loaded)["TB05"].end
    assert end is not None
    assert end.seen.hits == 4


def test_review_before_anything_stood_is_empty(loaded):
    frame = review_frame(review_intervals(loaded, ReviewOrder(date(2023, 5, 1))), "type_code")

    assert list(frame.columns) == ["type_code", *REVIEW_COLUMNS[1:]]
    assert len(frame) == 0


@pytest.mark.parametrize(
    ("tips", "advice", "words"),
    [
        (40, "longer", "The records would bear a longer interval"),
        (30, "shorter", "The records speak for a shorter interval"),
    ],
)
def test_plain_evidence_speaks_for_a_change(loaded, amend, tips, advice, words):
    more = InputFolder()
    more.add(
        "installations",
        site_code="S01",
        position="old",
        installed_on="1997-06-01",
        serial="00417",
        removed_on="2023-06-01",
    )
    for number in range(100):
        day = date(1998, 1, 5) + timedelta(90 * number)
        more.visit(f"L{number:03d}", "S01", day.isoformat())
        more.check(f"L{number:03d}", "00417", found=(tips, tips), left=(40, 40))

    amend(more)

    review = by_code(loaded)["TB05"]
    assert advice_of(review) == advice
    assert words in review_sentence(review)
    assert ("against the forecast" in review_sentence(review)) == (
        (review.forecast.days < 180) == (advice == "longer")
    )
