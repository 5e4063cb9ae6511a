"""The growth of times against linear, by hand, and what is kept of the last measurements."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from tests.benchmarks.growth import HERE, Measured, against_linear, by_work, growth_plot, table

TWO = [
    Measured("ranking", "gauges", 10_000, 2.6),
    Measured("ranking", "gauges", 1_000, 0.2),
    Measured("loading", "visits", 1_000, 1.0),
    Measured("loading", "visits", 100_000, 140.0),
]


def test_ten_times_the_gauges_in_thirteen_times_the_time_is_1_3_times_linear() -> None:
    works = by_work(TWO)

    assert list(works) == ["ranking", "loading"]
    assert against_linear(works["ranking"]) == 1.3
    assert against_linear(works["loading"]) == 1.4
    assert table(works)[2:] == [
        "| ranking | 1,000 to 10,000 gauges | 0.20 to 2.60 | 1.30 | yes |",
        "| loading | 1,000 to 100,000 visits | 1.00 to 140.00 | 1.40 | NO |",
    ]


def test_a_line_a_work_through_all_of_its_sizes() -> None:
    drawn = growth_plot(by_work(TWO))
    dots = [part for part in drawn.iter("circle")]

    assert len(dots) == len(TWO)
    texts = {part.text for part in drawn.iter("text")}
    assert {"ranking", "loading", "1.30 x linear, by gauges"} <= texts


def test_the_drawing_that_is_kept_is_that_of_the_kept_measurements() -> None:
    from tests.benchmarks.growth import read_measured

    works = by_work(read_measured(HERE / "growth.csv"))
    kept = (HERE / "growth.svg").read_text(encoding="utf-8")

    assert kept == ET.tostring(growth_plot(works), encoding="unicode") + "\n"
