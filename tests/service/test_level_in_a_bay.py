"""Camber told against a bay's standing points, held against the simulator's tilted ramp.

The simulator shares no geometry with what is tested: its ramp is a rotation of the whole vehicle.
"""

import datetime

import numpy as np
import pytest

from calibration.measured import Measured
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.payload.level_file import LevelFile
from ingest.service.baysettings import BaySettings
from ingest.service.ground import Ground
from ingest.simulator.fleet import rigid_8x4
from ingest.simulator.truth import steering_truth, wheel_truth
from ingest.simulator.vehicle import WheelAt

DAY = datetime.date(2026, 3, 2)


def survey(vehicle, measured=DAY, sigma_mm=0.2):
    """Return what a level would read of the places where a simulated vehicle's wheels stand."""
    points, staff = [], []
    for wheel in vehicle.wheels:
        axle = vehicle.axles[wheel.axle]
        place = np.array([axle.x_m, wheel.side.sign * axle.track_m / 2.0, 0.0])
        up_m = float((vehicle.ramp @ place)[2])
        name = f"{wheel.axle}{wheel.side.value[0].upper()}"
        points.append({"id": name, "x_m": float(place[0]), "y_m": float(place[1])})
        reading_mm = round(1500.0 - 1e3 * up_m, 6)
        staff.append({"set_up": "A", "point": name, "reading_mm": reading_mm, "sigma_mm": sigma_mm})
    return LevelFile.model_validate(
        {
            "format": "levelhead-level",
            "version": 1,
            "bay": "sim",
            "measured": measured,
            "valid_days": 100,
            "by": "Ada Brindle",
            "instrument": "KL-LEVEL-1",
            "surface": "plates",
            "points": points,
            "staff": staff,
        }
    )


@pytest.mark.parametrize("seed", range(4))
def test_camber_to_the_standing_points_is_camber_to_the_ramp(seed):
    vehicle = rigid_8x4(seed)
    ground = Ground(survey(vehicle))
    for wheel in vehicle.wheels:
        true = wheel_truth(vehicle, wheel, 0.0)
        told = ground.camber(wheel.side, Measured.exact(true.camber_rad))
        # The wheel's toe, which is left out, turns the ramp's pitch into some 0.0006 deg of camber.
        assert told.value == pytest.approx(true.camber_to_ramp_rad, abs=0.001 * DEG)
        assert 0.0 < told.u_shared < 0.01 * DEG
        assert told.stands_on == {"level of sim 2026-03-02"}
    assert abs(true.camber_to_ramp_rad - true.camber_rad) > 0.002 * DEG


@pytest.mark.parametrize("seed", range(4))
def test_caster_and_sai_to_the_standing_points_are_those_to_the_ramp(seed):
    vehicle = rigid_8x4(seed)
    ground = Ground(survey(vehicle))
    for wheel in (WheelAt(1, side) for side in Side):
        true, level = steering_truth(vehicle, wheel), Measured.exact(0.0)
        caster, sai = Measured.exact(true.caster_rad), Measured.exact(true.sai_rad)
        told = ground.steering(wheel.side, caster, level, sai)
        assert told.caster.value == pytest.approx(true.caster_to_ramp_rad, abs=1e-4 * DEG)
        assert told.sai.value == pytest.approx(true.sai_to_ramp_rad, abs=1e-4 * DEG)
        assert told.caster.u_shared > 0.0
        moved = abs(true.caster_to_ramp_rad - true.caster_rad)
        # Twenty times as far as it may be off: a ramp that is level would show nothing.
        assert moved + abs(true.sai_to_ramp_rad - true.sai_rad) > 0.002 * DEG


def test_a_survey_is_in_doubt_from_the_day_after_its_last():
    ground = Ground(survey(rigid_8x4(1)))
    last = DAY + datetime.timedelta(days=100)
    assert ground.trust(last) == ("good", "")
    assert ground.objection(last) is None
    assert ground.trust(last + datetime.timedelta(days=1)) == ("uncertain", "level-overdue")
    assert "read the empty bay again" in ground.objection(last + datetime.timedelta(days=1))
    assert ground.trust(DAY - datetime.timedelta(days=1))[0] == "uncertain"


def test_without_a_survey_it_is_said_that_camber_stands_on_gravity_alone():
    ground = Ground(None)
    camber = Measured.of(0.01, 0.001, source="noise")
    assert ground.camber(Side.LEFT, camber) == camber
    assert ground.name == "gravity"
    assert "gravity alone" in ground.told
    assert ground.trust(DAY) == ("good", "")


def test_an_overdue_survey_marks_the_cambers_of_its_bay(simulated_bay, one_axle_measured):
    level = survey(rigid_8x4(4))
    bay = one_axle_measured(simulated_bay(4, settings=BaySettings(level=level)))
    bay.advance(6.0)
    bay.bay.tick(1.0)
    alert = bay.outlet.retained[bay.topics.alert("level")]
    assert alert["level"] == "warning"
    assert alert["text"].startswith("level of sim 2026-03-02 was due on 2026-06-10")
    for side in Side:
        topic = bay.topics.axle(1, side.value, "camber")
        said = bay.outlet.retained[topic]
        assert (said["q"], said["why"]) == ("uncertain", "level-overdue")
        assert said["against"] == "level of sim 2026-03-02"
        assert "level of sim 2026-03-02" in bay.bay.work.results.standing[topic].stands_on
        true = wheel_truth(bay.demo.rig.vehicle, WheelAt(1, side), bay.clock.now_s)
        assert abs(said["value"] * DEG - true.camber_to_ramp_rad) <= said["U"] * DEG
    toe = bay.outlet.retained[bay.topics.axle(1, "both", "total-toe")]
    assert (toe["q"], toe["against"]) == ("good", None)
