"""The plan angle of a shaft alone is what a sighted wheel tells, and is refused where that is."""

import numpy as np
import pytest

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.core.units import DEG
from ingest.geometry.carry import ShaftReading, plan_from, sighted_wheel


def of(value: float) -> Measured:
    return Measured.exact(value)


@pytest.mark.parametrize("seed", range(5))
def test_the_plan_of_a_shaft_is_that_of_a_sighted_wheel(seed: int) -> None:
    draw = np.random.default_rng(seed)
    tilts = draw.uniform(-3.0, 3.0, 2) * DEG
    shaft = ShaftReading(*map(of, tilts), of(draw.uniform(-np.pi, np.pi)), None, of(0.0))
    clamp = of(draw.uniform(0.0, 2.0) * DEG), of(draw.uniform(-np.pi, np.pi))
    assert plan_from(shaft, *clamp) == sighted_wheel(shaft, of(0.0), *clamp).plan_rad


def test_a_shaft_that_no_axis_could_carry_is_refused() -> None:
    shaft = ShaftReading(of(0.0), of(89.0 * DEG), of(0.3), None, of(0.0))
    with pytest.raises(MeasurementRefused):
        plan_from(shaft, of(40.0 * DEG), of(0.0))
