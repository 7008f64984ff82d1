"""The record of a head without an oven: where its zeros hold, what they stray by, who says so."""

import itertools
import math
from contextlib import closing

import numpy as np
import pytest

from calibration.document.certificate.coefficients import coefficients
from calibration.files.sheet import parse_sheet
from calibration.records.parts import Coefficients
from calibration.records.text import load_record
from calibration.sensors import Correction
from ingest.cli import main
from ingest.commands.align_records import drift_lines
from ingest.commands.bench_acts import Acts
from ingest.commands.bench_folder import Folder
from ingest.commands.demo_rig import build
from ingest.commands.drift_words import drift_line
from ingest.store.database import open_database
from ingest.store.records import StoredRecords
from tests.rig.benchfiles import TWO_HEADS, table

SHEET = """
issued = 2026-11-25
"""
SHEET += TWO_HEADS
AXES = "incl_x_deg,incl_y_deg"


def tilt_files(folder, degc, seed):
    """Write steps and a reversal of a head that is perfect but for 0.0003 deg of noise."""
    random = np.random.default_rng(seed)

    def read(x_deg, y_deg):
        x, y = np.array([x_deg, y_deg]) + 3e-4 * random.standard_normal(2)
        return f"{x:.6f},{y:.6f},{degc}"

    angles = [(h, s, math.degrees(math.asin(s * h / 200))) for h in (0, 10, 35) for s in (1, -1)]
    steps = [
        f"{a},{h},{s},{read(*((angle, 0.0) if a == 'x' else (0.0, angle)))}"
        for a, (h, s, angle) in itertools.product("xy", angles)
    ]
    ways = list(itertools.product("xy", ("as-marked", "turned"))) * 2
    reversal = [f"{a},{way},{read(0.0, 0.0)}" for a, way in ways]
    (folder / "steps.csv").write_text(table(f"axis,height_mm,sign,{AXES},temperature_degc", steps))
    (folder / "reversal.csv").write_text(table(f"axis,facing,{AXES},temperature_degc", reversal))


def bar_file(folder, degc):
    """Write a level, straight bar in all eight attitudes, read to 0.0003 deg."""
    random = np.random.default_rng(8)
    rows = []
    for exchanged, rolled, turned in itertools.product((0, 1), repeat=3):
        for head, letter in enumerate("AB"):
            y, x, azimuth = 3e-4 * random.standard_normal(3)
            azimuth += 90.0 if head ^ exchanged else -90.0
            rows.append(
                f"{turned},{rolled},{exchanged},{letter},{y:.6f},{x:.6f},{azimuth:.6f},{degc}"
            )
    header = "turned,rolled,exchanged,head,incl_y_deg,incl_x_deg,azimuth_deg,temperature_degc"
    (folder / "bar.csv").write_text(table(header, rows))


def still_file(folder, seed=3):
    random = np.random.default_rng(seed)
    noise = 0.002 * random.standard_normal((600, 2))
    rows = [f"{i / 10:.1f},{x:.6f},{y:.6f}" for i, (x, y) in enumerate(noise)]
    (folder / "still.csv").write_text(table(f"time_s,{AXES}", rows))


@pytest.fixture
def bench(tmp_path, monkeypatch, capsys):
    """Drafts of both heads, read at 24.5 degC."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sheet.toml").write_text(SHEET)
    for seed, letter in enumerate("AB"):
        tilt_files(tmp_path, 24.5, seed)
        run(f"tilt steps.csv reversal.csv {letter}")
    return tmp_path


def run(line):
    what, *files, letter = line.split()
    more = ["--sine-bar-mm", "200", "--sheet", "sheet.toml"] if what == "tilt" else []
    place = ["-o", f"{letter}.json"] if what == "tilt" else ["--onto", f"{letter}.json"]
    assert main(["calibrate", what, *files, "--head", letter, *more, *place]) == 0


def part(folder, letter="A"):
    return load_record((folder / f"{letter}.json").read_text(), letter).coefficients.tilt


def u_level_deg(tilt, degc):
    """Return what the service adds to a level incl_y at a temperature."""
    correction = Correction.from_coefficients(Coefficients(tilt=tilt), "r")
    level = {"incl_x": 0.0, "incl_y": 0.0}
    return math.degrees(correction.systematic_u_rad("incl_y", level, degc))


def test_zeros_hold_where_they_were_read_and_the_drift_counts_from_there(bench):
    tilt = part(bench)
    assert tilt.reference_temperature_degc == 24.5
    assert u_level_deg(tilt, 24.5) == pytest.approx(tilt.u_bias_deg[1], rel=0.01)
    # A head that nobody calibrated drifts by 0.01 deg per degC (our guess): 4.5 degC off.
    expected = math.hypot(tilt.u_bias_deg[1], 0.045)
    assert u_level_deg(tilt, 20.0) == pytest.approx(expected, rel=0.01)


def test_terminal_and_certificate_say_where_and_what_a_degree_costs(bench, capsys):
    run("tilt steps.csv reversal.csv A")
    out = capsys.readouterr().out
    assert "the zeros hold at 24.5 °C" in out
    assert "each degree off contributes 0.01°" in out
    draft = load_record((bench / "A.json").read_text(), "A")
    text = " ".join(b.text for b in coefficients(draft) if hasattr(b, "text"))
    assert "at the sensor temperature of 24.5 °C" in text
    assert "contributes 0.010° to u of incl_x and 0.010° to u of incl_y" in text
    assert "No drift was measured" in text


def test_who_leaves_the_oven_out_is_told_why_u_grows_and_what_to_do(bench, capsys):
    run("tilt steps.csv reversal.csv A")
    line = "best at 24.5 °C (inside the head), and each degree away from it adds 0.02° to their U"
    assert line in capsys.readouterr().out
    sheet = parse_sheet(SHEET, "sheet.toml")
    acts = Acts(Folder(bench, bench / "references.toml"), sheet, True, None, {})
    assert line in acts.end()
    assert "levelhead bench --oven" in acts.end()
    with closing(open_database(":memory:")) as store:
        records = StoredRecords(store)
        drawn = build(17, "rigid-8x4", lambda: 0).records
        for text in drawn:
            records.add(text, "drawn")
        assert drift_lines(records, drawn) == []
    part_of_a_head = part(bench)
    assert drift_line([part_of_a_head.model_copy(update={"bias_deg_per_degc": (1e-4, 0)})]) == ""


def test_a_recording_at_rest_takes_the_place_of_the_wander_that_was_assumed(bench):
    before = part(bench)
    assert before.u_wander_deg == (0.001, 0.001)
    still_file(bench)
    run("still still.csv A")
    once = part(bench)
    stability = load_record((bench / "A.json").read_text(), "A").stability
    for i, each in enumerate(stability):
        # Flicker of density B^2/(pi f) between a day and five minutes (IEEE 952's B).
        expected = float(each.bias_instability) * math.sqrt(math.log(288) / math.pi)
        assert once.u_wander_deg[i] == pytest.approx(expected, rel=1e-12)
        grown = once.u_bias_deg[i] ** 2 - before.u_bias_deg[i] ** 2
        assert grown == pytest.approx(expected**2 - 0.001**2, rel=1e-6)
    run("still still.csv A")
    assert part(bench).u_bias_deg == pytest.approx(once.u_bias_deg, rel=1e-12)


@pytest.mark.parametrize(("degc", "better"), [(24.5, True), (27.5, False)])
def test_the_bar_tells_a_level_no_better_than_the_drift_up_to_it(bench, degc, better):
    before = part(bench)
    bar_file(bench, degc)
    words = ["calibrate", "bar", "bar.csv", "--length-mm", "2000"]
    assert main([*words, "--onto", "A.json", "--onto-b", "B.json"]) == 0
    after = part(bench)
    steady = [math.sqrt(p.u_bias_deg[1] ** 2 - p.u_wander_deg[1] ** 2) for p in (before, after)]
    assert after.u_wander_deg == before.u_wander_deg
    assert (steady[1] < 0.9 * steady[0]) is better
    # 3 degC of a drift that may be 0.01 deg per degC are 0.03 deg: the bar weighs next to nothing.
    if not better:
        assert steady[1] == pytest.approx(steady[0], rel=1e-3)
