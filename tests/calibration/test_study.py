"""A bay's study: from its readings to a sealed file, and what is refused on the way back."""

import json
from datetime import date

import numpy as np
import pytest

from calibration.errors import CalibrationFileError, RecordAltered
from calibration.records.canonical import digest
from calibration.study import (
    BayStudy,
    RawReadings,
    StudyReading,
    dump_study,
    load_study,
    quantities_of,
    seal_study,
)

TECHNICIANS = ("Ada Brindle", "Tom Reddle")
WHEELS = ("axle 1 left", "axle 1 right", "axle 2 left")


def readings(technicians=TECHNICIANS, wheels=WHEELS, mountings=3, settlings=2, seed=0):
    rng = np.random.default_rng(seed)
    habit = {t: rng.normal(0.0, 0.02) for t in technicians}
    found = []
    for t in technicians:
        for w in wheels:
            for m in range(1, mountings + 1):
                sat = rng.normal(0.0, 0.01)
                for s in range(1, settlings + 1):
                    value = habit[t] + sat + rng.normal(0.0, 0.005)
                    found.append(StudyReading(len(found) + 1, t, w, m, s, "camber", value))
    return found


def study(**changes):
    fields = {
        "bay": "bay1",
        "performed": date(2026, 11, 20),
        "studied_by": "Ada Brindle",
        "raw": RawReadings(name="study.csv", sha256="0" * 64),
        "quantities": quantities_of(readings(), "study.csv"),
        "software": "levelhead 0.1.0",
    }
    return seal_study(BayStudy(**{**fields, **changes}))


def test_a_study_comes_back_as_it_was_sealed():
    before = study()
    after = load_study(dump_study(before), "study.json", "bay1")
    assert after == before
    assert after.name == "bay study 2026-11-20"
    assert after.of("camber").of("mounting").u_deg == pytest.approx(0.01, rel=0.5)
    assert after.of("total-toe") is None


def test_any_digit_that_is_changed_is_noticed():
    text = dump_study(study())
    at = text.index('"u_deg": 0.') + len('"u_deg": 0.')
    altered = text[:at] + ("1" if text[at] != "1" else "2") + text[at + 1 :]
    with pytest.raises(RecordAltered, match=r"study\.json: altered"):
        load_study(altered, "study.json")


def test_a_study_of_another_bay_is_refused_by_both_names():
    with pytest.raises(CalibrationFileError, match="bay bay1, not of north"):
        load_study(dump_study(study()), "study.json", "north")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"format": "levelhead-calibration"}, "not a levelhead-bay-study"),
        ({"version": 2}, "not a levelhead-bay-study of version 1"),
    ],
)
def test_another_kind_of_file_is_refused_by_what_it_should_be(change, words):
    raw = json.loads(dump_study(study())) | change
    with pytest.raises(CalibrationFileError, match=words):
        load_study(json.dumps(raw), "study.json")


def test_a_field_that_no_study_has_is_refused_though_its_hash_holds():
    raw = json.loads(dump_study(study()))
    raw["quantities"][0]["components"][0]["u_deg"] = -0.01
    raw["sha256"] = digest(raw, ("sha256",))
    with pytest.raises(CalibrationFileError, match="u_deg"):
        load_study(json.dumps(raw), "study.json")


def test_an_empty_cell_is_refused_by_its_name():
    rows = [r for r in readings() if (r.technician, r.mounting) != ("Tom Reddle", 2)]
    words = r"camber of axle 1 left by Tom Reddle, mounting 2, settling 1 is missing \(6 such\)"
    with pytest.raises(CalibrationFileError, match=words):
        quantities_of(rows, "study.csv")


def test_a_cell_that_is_filled_twice_is_refused_by_its_row():
    rows = readings()
    rows.append(StudyReading(99, *list(row_of(rows[4]))[1:]))
    with pytest.raises(CalibrationFileError, match=r"row 99: .* is there twice"):
        quantities_of(rows, "study.csv")


def row_of(reading):
    names = ("row", "technician", "wheel", "mounting", "settling", "quantity", "value_deg")
    return (getattr(reading, name) for name in names)


def test_one_mounting_is_refused_with_what_to_do():
    with pytest.raises(CalibrationFileError, match="put them on again"):
        quantities_of(readings(mountings=1), "study.csv")


def test_what_a_study_cannot_tell_is_said():
    alone = study(quantities=quantities_of(readings(TECHNICIANS[:1], settlings=1), "study.csv"))
    remarks = "\n".join(alone.remarks)
    assert "one technician" in remarks
    assert "one settling" in remarks
    assert alone.of("camber").of("technician") is None


def test_two_technicians_are_said_to_be_few_and_three_are_not():
    three = quantities_of(readings((*TECHNICIANS, "Mira Sedge")), "study.csv")
    assert any("have a third" in remark for remark in study().remarks)
    assert not any("have a third" in remark for remark in study(quantities=three).remarks)


def test_too_few_degrees_of_freedom_are_said():
    few = study(quantities=quantities_of(readings(mountings=2, seed=5), "study.csv"))
    assert few.of("camber").dof < 5.0
    assert any("degrees of freedom" in remark for remark in few.remarks)


def test_one_result_has_the_spread_of_all_causes_together():
    camber = study().of("camber")
    assert camber.u_deg == pytest.approx(np.sqrt(sum(c.u_deg**2 for c in camber.components)))
    known = [c for c in camber.components if c.dof is not None]
    expected = camber.u_deg**4 / sum(c.u_deg**4 / c.dof for c in known)  # Welch-Satterthwaite
    assert camber.dof == pytest.approx(expected)
