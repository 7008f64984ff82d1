"""Tapes hold only hubs that sightlines join: elsewhere a hub gives way sideways, as a strut does.

Vehicles are built off their file by what a job's network states of that; what heads read of them is
worked out here, by one arc tangent a line.
"""

import math

import numpy as np
import pytest

from calibration.measured import Measured
from ingest.commands.vehicle_source import vehicle_called
from ingest.core.errors import MeasurementRefused
from ingest.core.units import DEG
from ingest.geometry.network.correlated import solve
from ingest.payload.network_live import live_network_of
from ingest.payload.vehicle_network import TRACK_SIGMA_M, WHEELBASE_SIGMA_M, job_networks
from ingest.service.networklines import tapes_of, tapes_that_hold

SIGMA_RAD = 0.003 * DEG
VEHICLES = 40


def heard(network, seed, axles):
    """Return what heads on some axles of a vehicle read, by place."""
    random = np.random.default_rng((seed, *axles))
    off = {
        s.axle: random.normal(0.0, (WHEELBASE_SIGMA_M / 2**0.5, 0.004)) for s in network.wheels()
    }
    wider = {axle: random.normal(0.0, TRACK_SIGMA_M) for axle in off}
    hub, heading = {}, {}
    for station in network.wheels():
        aside = station.side.sign * wider[station.axle] / 2.0
        hub[station.id] = np.array((station.x_m, station.y_m + aside)) + off[station.axle]
        heading[station.id] = random.normal(0.0, 0.3 * DEG)
    read = {}
    for place, reading in enumerate(network.readings):
        at, to = reading.line.at, reading.line.to
        if reading.value is None and {network.station(end).axle for end in (at, to)} <= set(axles):
            x, y = hub[to] - hub[at]
            seen = math.remainder(math.atan2(y, x) - heading[at], math.tau)
            noise = random.normal(0.0, SIGMA_RAD)
            read[place] = Measured.of(seen + noise, SIGMA_RAD, source=f"line {place}")
    return read


def told(network, read):
    """Return what is determined, None where no position fits."""
    try:
        solved = solve(network, read)
    except MeasurementRefused:
        return None
    return {t.result.quantity.label for t in solved.told if t.result.measured is not None}


@pytest.mark.parametrize("axles", [(3, 4), (1, 2, 3)])
def test_an_axle_that_nobody_reads_does_not_give_way(axles):
    (file,) = job_networks(vehicle_called("rigid-8x4", None), {})
    network = live_network_of(file).network
    tapes, lost = tapes_of(network.readings), 0
    for seed in range(VEHICLES):
        read = heard(network, seed, axles)
        held = tapes_that_hold(tapes, network, set(read))
        for place in held:
            line = network.readings[place].line
            assert {network.station(end).axle for end in (line.at, line.to)} <= set(axles)
        known = told(network, held | read)
        assert known is not None
        assert {f"total_toe_deg axle {axle}" for axle in axles} <= known
        lost += told(network, tapes | read) != known
    # Else this would not show that anything is mended.
    assert lost > 0
