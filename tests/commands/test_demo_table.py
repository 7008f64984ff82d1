"""The demo's verdict rests on what was published, not on what the service thinks."""

import math

import pytest

from calibration.measured import Measured
from calibration.records.text import load_record
from ingest.cli import main
from ingest.commands.demo import settings_of, take_up_all
from ingest.commands.demo_rig import build
from ingest.commands.demo_story import Heard
from ingest.commands.demo_table import compare
from ingest.payload.axle import AxleResult
from ingest.payload.topics import Topics
from ingest.simulator.truth import vehicle_truth
from ingest.simulator.vehicle import WheelAt
from ingest.store.database import open_database
from ingest.store.records import StoredRecords

TOPICS = Topics("demo")
U_DEG = 0.04


def published(topic, value_deg):
    return AxleResult(
        t="2026-11-25T09:14:03.271508112Z",
        ms=1795598043271,
        q="good",
        why="",
        id="ax-1",
        boot="b-1",
        qty=topic.rsplit("/", 1)[1],
        value=round(value_deg, 3),
        unit="deg",
        U=U_DEG,
        k=2.0,
        dp=3,
        text="as published",
    )


def heard_of(demo, off_deg):
    """Every camber off by half its standard uncertainty, and the first by ``off_deg`` more."""
    heard, truth = Heard(), vehicle_truth(demo.rig.vehicle, 0.0)
    for number, wheel in enumerate(truth.wheels):
        topic = TOPICS.axle(wheel.axle, wheel.side.value, "camber")
        true_deg = math.degrees(truth.wheels[WheelAt(*wheel)].camber_rad)
        u = U_DEG / 2
        inside_deg = true_deg + u * (1 if number % 2 else -1)
        heard.measured[topic] = Measured.of(math.radians(inside_deg), math.radians(u), source=topic)
        heard.results[topic] = published(topic, inside_deg + (0 if number else off_deg))
    return heard


@pytest.mark.parametrize(("off_deg", "agrees"), [(0.0, True), (0.265, False)])
def test_a_value_that_a_display_was_told_wrongly_fails_the_demo(off_deg, agrees):
    demo = build(3, "rigid-8x4", lambda: 0.0)
    compared = compare(demo, TOPICS, heard_of(demo, off_deg))
    assert compared.dof == 8
    assert compared.agrees is agrees
    first = next(row for row in compared.rows if row.error_over_u is not None)
    assert first.error_over_u == pytest.approx((-U_DEG / 2 + off_deg) / U_DEG, abs=0.02)


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
    drawn = build(17, "rigid-8x4", lambda: 0.0).records
    said = take_up_all(StoredRecords(open_database(":memory:")), tmp_path, drawn)
    assert len(said) == 2
    assert "B.json: altered" in said[0]


def test_the_demo_says_that_its_heads_are_simulated():
    demo = build(17, "rigid-8x4", lambda: 0.0)
    assert settings_of(demo, 0).service.bay.simulated  # or a bench's simulated records are refused
