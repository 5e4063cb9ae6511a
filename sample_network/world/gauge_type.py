"""The four invented gauge types: what the register says of them, and how they behave."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class GaugeType:
    """A gauge type.

    ``wear_percent`` is the mean, the spread between gauges and the daily scatter of the drift of
    the tip count, each in percent a year. ``fouling_percent`` is what dirt costs in a year until
    the next cleaning. ``dies_a_year`` is the rate of sudden switch failures. ``pour_ml_s`` is
    how fast the calibrated bottle for this type drips.
    """

    code: str
    description: str
    bucket_mm: float
    area_cm2: float
    area_basis: str
    siphon: bool
    test_volume_ml: float
    wear_percent: tuple[float, float, float]
    fouling_percent: float
    dies_a_year: float
    pour_ml_s: float

    @property
    def tip_ml(self) -> float:
        return self.bucket_mm * self.area_cm2 / 10

    @property
    def expected_tips(self) -> float:
        return self.test_volume_ml / self.tip_ml


TYPES = {
    kind.code: kind
    for kind in (
        GaugeType(
            code="TB02-400",
            description="tipping bucket 0.2 mm, funnel 400 cm2, no siphon",
            bucket_mm=0.2,
            area_cm2=400.0,
            area_basis="nominal",
            siphon=False,
            test_volume_ml=500.0,
            wear_percent=(-1.0, 1.1, 1.0),
            fouling_percent=-1.2,
            dies_a_year=0.035,
            pour_ml_s=0.70,
        ),
        GaugeType(
            code="TB05-400",
            description="tipping bucket 0.5 mm, funnel 400 cm2, no siphon",
            bucket_mm=0.5,
            area_cm2=400.0,
            area_basis="nominal",
            siphon=False,
            test_volume_ml=800.0,
            wear_percent=(-0.6, 0.9, 0.9),
            fouling_percent=-0.8,
            dies_a_year=0.02,
            pour_ml_s=1.05,
        ),
        GaugeType(
            code="TB02-324S",
            description="tipping bucket 0.2 mm, funnel 203.2 mm across, siphon",
            bucket_mm=0.2,
            area_cm2=324.293,
            area_basis="from the nominal diameter 203.2 mm",
            siphon=True,
            test_volume_ml=650.0,
            wear_percent=(-1.6, 1.3, 1.3),
            fouling_percent=-1.6,
            dies_a_year=0.045,
            pour_ml_s=0.85,
        ),
        GaugeType(
            code="TB01-200",
            description="tipping bucket 0.1 mm, funnel 200 cm2, no siphon",
            bucket_mm=0.1,
            area_cm2=200.0,
            area_basis="drawing",
            siphon=False,
            test_volume_ml=300.0,
            wear_percent=(-2.2, 1.5, 1.6),
            fouling_percent=-2.2,
            dies_a_year=0.05,
            pour_ml_s=0.42,
        ),
    )
}
