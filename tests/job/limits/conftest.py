"""Limits to try things on."""

import datetime

import pytest

from ingest.job.limits.limit import Figures, Key, Limit, Load, Origin
from ingest.job.limits.limitset import LimitSet, Version
from ingest.job.limits.quantities import Quantity
from ingest.job.limits.units import EnteredUnit

DAY = datetime.date(2026, 3, 2)


@pytest.fixture
def limit():
    """Return a maker of limits from words."""

    def make(axle, quantity, low, nominal, high, unit="deg", across=None, side=None, load="any"):
        return Limit(
            Key(axle, Quantity(quantity), side, Load(load)),
            Figures(EnteredUnit(unit), low, nominal, high, across),
            Origin("a sheet", DAY, "R. Alder"),
        )

    return make


@pytest.fixture
def limit_set():
    """Return a maker of sets."""

    def make(*limits, number=1, **rest):
        return LimitSet(Version("ash", number), "R. Alder", DAY, limits=limits, **rest)

    return make
