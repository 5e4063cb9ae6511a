"""How soon daily totals tell of a gauge that stopped counting, or counts seven tips of ten.

    python -m pytest tests/benchmarks/test_neighbour_delay.py -m benchmark -s

The rain is the season benchmark's (neighbour_world.py), the network as dense; NEIGHBOURS.md keeps
the figures. They stand behind the delays that the forecast of a watched gauge assumes.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from fleet.stats.neighbour_evidence import neighbour_evidence
from fleet.stats.neighbour_story import Cause
from tests.benchmarks.season.weather import NOISE, REACH_KM
from tests.benchmarks.test_neighbour import FALSE_SHARE, say
from tests.stats.neighbour_world import count_tips, make_rain, make_record, make_services

pytestmark = pytest.mark.benchmark

GAUGES, DAYS, DRAWS = 300, 1096, 3
CATCH = {"fit": 1.0, "silent": 0.0, "counts 7 of 10": 0.7}
SINCE_SPELLS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 5.0, 9.0, 20.0)
MOVED = (Cause.BLOCKAGE, Cause.SWITCH, Cause.DISCONNECTION)


def test_ratios_grow_with_the_spells_since_a_fault(capsys):
    seen = np.concatenate([_judged(seed) for seed in range(DRAWS)])
    kind, spells, since = seen[:, 0], seen[:, 1], seen[:, 2]
    logs, alarm = seen[:, 3:6], seen[:, 6]
    lines = [
        "| gauge | spells since | gauges | blockage | switch | off its logger | alarms |",
        "|---|---|---|---|---|---|---|",
    ]
    for low, high in ((1, 4), (4, 8), (8, 16), (16, 99)):
        lines.append(
            _line("fit", (low, high), logs, alarm, (kind == 0) & _within(spells, low, high))
        )
    for number, name in ((1, "silent"), (2, "counts 7 of 10")):
        for low, high in pairwise(SINCE_SPELLS):
            those = (kind == number) & _within(since, low, high)
            lines.append(_line(name, (low, high), logs, alarm, those))
    say(capsys, *lines)
    assert alarm[(kind == 1) & (since >= 2)].mean() > 0.9
    assert alarm[kind == 0].mean() <= 0.01


def _within(values, low: float, high: float):
    return (values >= low) & (values < high)


def _line(name: str, spells: tuple[float, float], logs, alarm, those) -> str:
    if not those.any():
        return f"| {name} | {spells[0]:g}-{spells[1]:g} | 0 | | | | |"
    middle = " | ".join(f"{value:.1f}" for value in np.median(logs[those], axis=0))
    share = alarm[those].mean()
    return f"| {name} | {spells[0]:g}-{spells[1]:g} | {those.sum()} | {middle} | {share:.2f} |"


def _judged(seed: int):
    """Give kind, spells, spells since the fault, three log ratios and the alarm of each gauge."""
    dice = np.random.default_rng(seed)
    places = (dice.uniform(0, 250, GAUGES), dice.uniform(0, 122, GAUGES))
    rain = make_rain(*places, days=DAYS, seed=seed, noise=NOISE, reach_km=REACH_KM)
    serviced = make_services(GAUGES, DAYS, every=150, seed=seed)
    kind = dice.choice(3, GAUGES, p=[0.5, 0.25, 0.25])
    begins = np.full(GAUGES, DAYS)
    for gauge in np.flatnonzero(kind):
        first = int(np.flatnonzero(serviced[gauge])[-1]) + 1
        if DAYS - first > 7:
            begins[gauge] = dice.integers(first, DAYS)
            rain[gauge, begins[gauge] :] *= list(CATCH.values())[kind[gauge]]
        else:
            kind[gauge] = 0
    tip_mm = dice.choice([0.2, 0.5, 1.0], GAUGES)
    total = np.stack(
        [count_tips(row[None], tip_mm=tip)[0] for row, tip in zip(rain, tip_mm, strict=True)]
    )
    record = replace(
        make_record(total, serviced, places),
        tip_mm=tip_mm,
        level_log=np.zeros(total.shape, dtype=np.float32),
        level_sd=np.full(GAUGES, 0.02),
    )
    return np.array(
        [
            (
                kind[span.gauge],
                span.spells,
                (DAYS - begins[span.gauge]) / span.days_per_spell,
                *(span.cause_log_ratio[cause] for cause in MOVED),
                span.q <= FALSE_SHARE,
            )
            for span in neighbour_evidence(record, days_may_shift=False).spans
        ],
        dtype=np.float64,
    )
