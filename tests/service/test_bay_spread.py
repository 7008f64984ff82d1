"""A bay's own spread in its results: assumed, or studied; what is shared, and with whom."""

import math
from dataclasses import replace

import pytest

from calibration.measured import covariance, mean
from calibration.reporting import t_factor
from ingest.core.units import DEG
from ingest.service.baysettings import BaySettings
from ingest.service.bayspread import (
    ASSUMED,
    Occasion,
    Scatter,
    SpreadSettings,
    StudiedSpread,
    camber_scatter,
    heading_scatter,
    total_toe_scatter,
)
from ingest.service.transcript import SETTINGS
from ingest.service.wheelsettings import WheelSettings
from ingest.service.workings import WorkSettings

NAME = "bay study 2026-11-20"
CAMBER = (
    Scatter("settling", 0.003, 36.0),
    Scatter("mounting", 0.010, 24.0),
    Scatter("interaction", 0.004, 5.0),
    Scatter("technician", 0.006, 1.7),
)
TOE = (Scatter("mounting", 0.012, 12.0), Scatter("technician", 0.007, 1.3))
STUDIED = SpreadSettings(study=StudiedSpread(NAME, CAMBER, TOE))

HERE = Occasion("axle 1 left", "3", "3.1")
MOVED = Occasion("axle 1 left", "3", "3.2")
MOUNTED_ANEW = Occasion("axle 1 left", "5", "5.1")
ACROSS = Occasion("axle 1 right", "4", "4.1")


def correlated_deg(one, other, of=camber_scatter):
    both = [of(STUDIED, one), of(STUDIED, other)]
    return math.sqrt(covariance(both)[0, 1]) / DEG


def test_without_a_study_the_spread_is_assumed_and_said_to_be():
    camber = camber_scatter(SpreadSettings(), HERE)
    assert camber.u == pytest.approx(0.02 * DEG)
    assert camber.stands_on == {ASSUMED}
    assert SpreadSettings().told == ASSUMED


def test_a_study_takes_the_place_of_what_was_assumed():
    camber = camber_scatter(STUDIED, HERE)
    assert camber.u / DEG == pytest.approx(math.sqrt(sum(s.u_deg**2 for s in CAMBER)))
    assert camber.stands_on == {NAME}
    assert STUDIED.told == NAME
    u = sum(s.u_deg**2 for s in CAMBER)
    assert camber.dof == pytest.approx(u**2 / sum(s.u_deg**4 / s.dof for s in CAMBER))


@pytest.mark.parametrize(
    ("other", "shared"),
    [
        (HERE, CAMBER),
        (MOVED, CAMBER[1:]),
        (MOUNTED_ANEW, CAMBER[2:]),
        (ACROSS, CAMBER[3:]),
    ],
    ids=["the same rest", "settled anew", "mounted anew", "another wheel"],
)
def test_results_share_what_they_have_the_same_draw_of(other, shared):
    expected = math.sqrt(sum(s.u_deg**2 for s in shared))
    assert correlated_deg(HERE, other) == pytest.approx(expected)


def test_reading_again_in_one_rest_averages_nothing_away():
    once = camber_scatter(STUDIED, HERE)
    often = mean([camber_scatter(STUDIED, HERE) for _ in range(25)])
    assert often.u == pytest.approx(once.u)


def test_mounting_anew_averages_mounting_and_settling_but_no_technician():
    often = mean([camber_scatter(STUDIED, Occasion("w", f"{i}", f"{i}.1")) for i in range(4)])
    settling, mounting, interaction, technician = (s.u_deg for s in CAMBER)
    expected = (settling**2 + mounting**2) / 4 + interaction**2 + technician**2
    assert often.u / DEG == pytest.approx(math.sqrt(expected))


def test_total_toe_has_the_study_s_spread_once_and_its_degrees_of_freedom():
    # Given to both headings in halves, one estimate would have counted as two.
    toe = total_toe_scatter(STUDIED, HERE.across(ACROSS, 1))
    variance = sum(s.u_deg**2 for s in TOE)
    assert heading_scatter(STUDIED).u == 0.0
    assert toe.u / DEG == pytest.approx(math.sqrt(variance))
    assert toe.dof == pytest.approx(variance**2 / sum(s.u_deg**4 / s.dof for s in TOE))


def test_an_axle_s_draw_is_the_same_seen_from_either_wheel():
    assert HERE.across(ACROSS, 1) == ACROSS.across(HERE, 1)
    assert HERE.across(ACROSS, 1) != MOUNTED_ANEW.across(ACROSS, 1)


def test_what_was_not_studied_stays_assumed_and_is_told():
    half = SpreadSettings(study=StudiedSpread(NAME, CAMBER, None))
    assert heading_scatter(half).u == pytest.approx(0.02 * DEG)
    assert total_toe_scatter(half, HERE).u == 0.0
    assert half.told == f"{NAME}; total-toe: {ASSUMED}"


def test_a_study_goes_into_a_capture_and_comes_back_as_it_was():
    settings = WorkSettings(BaySettings(wheel=WheelSettings(spread=STUDIED)))
    assert SETTINGS.validate_json(SETTINGS.dump_json(settings)) == settings


def test_a_capture_from_before_there_were_studies_can_still_be_played():
    said = SETTINGS.dump_python(WorkSettings(), mode="json")
    del said["bay"]["wheel"]["spread"]["study"]
    assert SETTINGS.validate_python(said) == WorkSettings()


@pytest.fixture
def measured_bay(simulated_bay, one_axle_measured):
    """Return a maker of bays that have measured axle 1, by their spread."""

    def make(spread, published=None):
        settings = BaySettings(wheel=WheelSettings(spread=spread))
        return one_axle_measured(simulated_bay(21, settings=settings, published=published))

    return make


def test_results_of_a_studied_bay_are_as_uncertain_as_its_study_says(measured_bay):
    none = SpreadSettings(camber_deg=0.0, heading_deg=0.0)
    bare = measured_bay(none).bay.work.results.standing
    bay = measured_bay(replace(none, study=STUDIED.study))
    standing = bay.bay.work.results.standing
    assert bare.keys() == standing.keys()
    for topic, found in standing.items():
        scatters = TOE if topic.endswith("total-toe") else CAMBER
        extra = sum(s.u_deg**2 for s in scatters) * DEG**2
        assert found.u**2 == pytest.approx(bare[topic].u ** 2 + extra, rel=1e-6)
        assert NAME in found.stands_on
        assert ASSUMED not in found.stands_on
    left, right, _ = (standing[t] for t in sorted(standing, key=lambda t: t.endswith("toe")))
    shared = (CAMBER[3].u_deg * DEG) ** 2
    assert covariance([left, right])[0, 1] == pytest.approx(shared, rel=0.2)


def test_what_is_published_is_expanded_by_the_study_s_degrees_of_freedom(measured_bay):
    bay = measured_bay(STUDIED)
    topic = bay.topics.axle(1, "left", "camber")
    found, said = bay.bay.work.results.standing[topic], bay.outlet.retained[topic]
    assert found.dof < 50.0
    assert said["k"] == pytest.approx(t_factor(0.9545, found.dof), abs=0.006)
    assert said["U"] == pytest.approx(said["k"] * found.u / DEG, rel=0.06)
