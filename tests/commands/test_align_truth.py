"""The demo's verdict rests on what the job wrote down, not on what the service thinks."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from calibration.measured import Measured, Source
from calibration.records.text import load_record
from ingest.cli import main
from ingest.commands.align_bay import Wish, settings_of
from ingest.commands.align_records import take_up_all
from ingest.commands.align_truth import agreement, true_now
from ingest.commands.demo_rig import build
from ingest.commands.practice_vehicle import practice_on
from ingest.commands.vehicle_source import vehicle_called
from ingest.core.units import DEG
from ingest.job.course.readings import Reading
from ingest.simulator.truth_by_topic import truth_by_topic
from ingest.store.database import open_database
from ingest.store.records import StoredRecords

U_DEG = 0.02
AT = "2026-11-25T09:14:03Z"


def written(topic, value):
    return Reading(topic, True, value, U_DEG * DEG, 2 * U_DEG * DEG, 2.0, AT, "good", "", (), ())


def drawn(off_deg):
    """Twelve results with a part in common, drawn as their uncertainties say; one off by more."""
    random, shared = np.random.default_rng(5), Source("one record", shared=True)
    half = U_DEG * DEG / math.sqrt(2.0)
    common = half * random.standard_normal()
    truth, parts, readings = {}, {}, []
    for n in range(12):
        topic = f"axle/{n}/left/camber"
        truth[topic] = 0.01 * n
        value = truth[topic] + common + half * random.standard_normal()
        own = Measured.of(value, half, source=topic)
        parts[topic, AT] = own + Measured.of(0.0, half, source=shared)
        readings.append(written(topic, value + (0 if n else off_deg * DEG)))
    return readings, parts, truth


@pytest.mark.parametrize(("off_deg", "holds"), [(0.0, True), (0.265, False)])
def test_a_value_that_was_written_down_wrongly_fails_the_demo(off_deg, holds):
    judged = agreement(*drawn(off_deg))
    assert judged.dof == 12
    assert judged.holds is holds
    assert ("DISAGREE" in judged.verdict) is not holds


@pytest.mark.parametrize(("drawn_so", "holds"), [(True, False), (False, True)])
def test_errors_far_below_u_fail_only_where_they_were_drawn_from_it(drawn_so, holds):
    readings, parts, truth = drawn(0.0)
    near = [replace(r, value=truth[r.topic]) for r in readings]
    judged = agreement(near, parts, truth, drawn=drawn_so)
    assert judged.holds is holds
    assert "closer together than the stated" in judged.verdict
    assert not agreement(*drawn(0.265), drawn=drawn_so).holds


def test_the_chi_square_keeps_correlations_and_its_band_is_of_99_9_percent():
    """Against the same sum by SciPy's multivariate normal, whose exponent is -chi2 / 2."""
    readings, parts, truth = drawn(0.0)
    judged = agreement(readings, parts, truth)
    u = U_DEG * DEG
    law = stats.multivariate_normal(cov=u * u * (np.eye(12) + 1.0) / 2.0)
    errors = [reading.value - truth[reading.topic] for reading in readings]
    expected = 2.0 * (law.logpdf(np.zeros(12)) - law.logpdf(errors))
    assert judged.chi2 == pytest.approx(expected, rel=1e-9)
    low, high = stats.chi2.interval(0.999, 12)
    for chi2, holds in ((low * 0.99, False), (low * 1.01, True), (high * 1.01, False)):
        scale = math.sqrt(chi2 / judged.chi2)
        scaled = [
            written(r.topic, truth[r.topic] + scale * error)
            for r, error in zip(readings, errors, strict=True)
        ]
        assert agreement(scaled, parts, truth).holds is holds


def test_results_that_are_better_than_stated_or_none_at_all_fail_the_demo_too():
    readings, parts, truth = drawn(0.0)
    exact = [written(reading.topic, truth[reading.topic]) for reading in readings]
    assert not agreement(exact, parts, truth).holds
    assert not agreement([], parts, truth).holds


def test_the_truth_is_of_wheels_that_settle_as_they_do_on_average():
    now = [0.0]
    practice = practice_on(vehicle_called("rigid-4x2", None), 3, (), lambda: now[0])
    at_first = true_now(practice, 0.0)
    assert at_first == truth_by_topic(practice.vehicle, practice.frames, 0.0, practice.adjusters)
    for state in practice.vehicle.wheel_state.values():
        state.camber_give.move(1.0, 0.1 * DEG, 1.0)
    assert true_now(practice, 5.0) == pytest.approx(at_first, abs=1e-12)
    now_true = truth_by_topic(practice.vehicle, practice.frames, 5.0)
    off = now_true["axle/1/left/camber"] - at_first["axle/1/left/camber"]
    assert off == pytest.approx(0.1 * DEG, rel=1e-3)


def test_a_record_with_a_changed_byte_ends_the_demo_at_once_by_name(tmp_path, capsys):
    text = build(17, "rigid-8x4", lambda: 0.0).records[0]
    (tmp_path / "A.json").write_text(text.replace('"stub_m": 0.25', '"stub_m": 0.26'))
    assert main(["demo", "--records", str(tmp_path)]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "A.json: altered after it was sealed" in err
    (tmp_path / "A.json").write_text(text)
    # What is of no head of the demo is said, and hinders nothing.
    other = text.replace(load_record(text).head_id, "ab" * 8)
    (tmp_path / "B.json").write_text(other)
    drawn_records = build(17, "rigid-8x4", lambda: 0.0).records
    said = take_up_all(StoredRecords(open_database(":memory:")), tmp_path, drawn_records)
    assert len(said) == 2
    assert "B.json: altered" in said[0]


def test_the_demo_says_that_its_heads_are_simulated():
    # or a bench's simulated records are refused
    assert settings_of(Wish("demo", "rigid-8x4", 17)).service.bay.simulated
