"""Do 95 % intervals cover? 500 drawn vehicles (seeds 0 to 499), sigmas as the file states them.

The truth is that of the generator in ``conftest.py``, which shares no code with the program. The
band 91.6 to 97.8 % holds the count of a true 95 % of 500 with a chance of some 99.9 % (binomial);
one wheel and one axle are taken of each vehicle, so that the trials are independent.
"""

import json
import math
from collections import Counter

import numpy as np
import pytest
from scipy.stats import binom

from ingest.geometry.network.adjusting import adjust
from ingest.geometry.network.judging import judge
from ingest.geometry.network.proving import prove
from ingest.geometry.network.results import results
from ingest.payload.network_file import parse_network_file
from ingest.payload.network_read import network_of

RUNS = 500
Z_95 = 1.959963984540054


@pytest.fixture(scope="module")
def told(drawn_vehicle):
    """For each seed: the results by label, the truth, the judgement, the proof."""
    found = []
    for seed in range(RUNS):
        rig = drawn_vehicle(seed)
        rig.distance("R1", f"R{rig.document['reference_axle']}", 0.004, into="checks")
        adjusted = adjust(network_of(parse_network_file(json.dumps(rig.document))))
        mine = results(adjusted)
        truth = rig.truth.results(rig.document["centre_line"], rig.document["reference_axle"])
        by_label = {r.quantity.label: r.measured for r in mine}
        found.append((by_label, truth, judge(adjusted, mine), prove(adjusted)))
    return found


def test_every_quantity_of_the_truth_is_told(told):
    for by_label, truth, _, _ in told:
        assert set(by_label) == set(truth)


def test_intervals_cover_as_they_say(told):
    hits, trials = Counter(), Counter()
    rng = np.random.default_rng(77)
    for by_label, truth, _, _ in told:
        taken = {}
        for label in rng.permutation(sorted(by_label)):
            value = by_label[label]
            if value is not None and value.parts:
                taken.setdefault(str(label).split()[0], str(label))
        for name, label in taken.items():
            value = by_label[label]
            trials[name] += 1
            off = math.remainder(value.value - truth[label], math.tau)
            hits[name] += abs(off) <= Z_95 * value.u
    assert min(trials.values()) > 0.45 * RUNS, trials
    for name, count in trials.items():
        low, high = binom.ppf((0.0005, 0.9995), count, 0.95) / count
        assert low <= hits[name] / count <= high, (name, hits[name], count)


def test_what_is_told_by_definition_is_exactly_so(told):
    for by_label, truth, _, _ in told:
        for label, value in by_label.items():
            if value is not None and not value.parts:
                assert value.value == 0.0
                assert truth[label] == pytest.approx(0.0, abs=1e-12)


def test_chi_square_rejects_good_networks_as_often_as_it_says(told):
    rejected = sum(not judgement.fits for *_, judgement, _ in told)
    assert 0.022 <= rejected / RUNS <= 0.084, "5 % of 500, 99.9 % band"


def test_tapes_that_were_kept_out_agree_as_often_as_they_should(told):
    # Within U = 2 u of the difference: 95.45 % of a normal distribution.
    agreed = [proof[0].agrees for *_, proof in told]
    assert 0.922 <= np.mean(agreed) <= 0.982
