"""``levelhead verify --bar``: the zero of toe, held against a bar whose form a fit has found."""

import hashlib
import json
import math
from datetime import datetime, timedelta

import numpy as np
import pytest

from calibration.drafting.bar import find_bar
from calibration.drafting.draft import summary
from calibration.files.references import parse_references, use_of
from calibration.files.series import parse_series
from calibration.records.parts import Coefficients
from calibration.records.text import dump_record, load_record, seal
from ingest.cli import main
from tests.commands.test_calibrate_bar_turn_still import (
    BAR,
    PORT_B_LESS_A_M,
    ZERO_AZIMUTH,
    bar_rows,
)
from tests.commands.test_verify_command import ENTRY, SHEET, adjust, draft, register, tilts
from tests.rig.benchfiles import table

BAR_ENTRY = ENTRY.format(
    id="KL-BAR-1",
    kind="bar",
    value="2000.0",
    unit="mm",
    expanded="0.2",
    rest="U_angle_deg = 0.002",
    due="2027-01-12",
    sha="a" * 64,
)
HEADS = '[[head]]\nletter = "A"\nhead_id = "00a1b2c3d4e5f607"\n'
TITLES = "row,turned,head,incl_y_deg,incl_x_deg,azimuth_deg,time"
NOON = datetime(2026, 11, 25, 12, 0, 0)
SWING = (0.004, -0.006)
"""Of the ends of ``bar_rows``."""


def check(zero=ZERO_AZIMUTH, seed=1, at=NOON, moved=0.0, turned=(0, 1, 0, 1)):
    """Read both heads on the bar by its equation, degrees; ``moved`` in the turned attitude."""
    rng = np.random.default_rng(seed)
    rows = []
    for t in turned:
        for head, way in (("A", 1), ("B", -1)):
            i = "AB".index(head)
            port = math.degrees(PORT_B_LESS_A_M / 2.0)
            azimuth = -90 * way + zero[i] - SWING[i] + port + t * moved + rng.normal(0, 0.0003)
            when = (at + timedelta(seconds=len(rows))).isoformat()
            rows.append(f"{t},{head},0.01,0.02,{azimuth:.6f},{when}Z")
    return "\n".join([TITLES, *(f"{i},{row}" for i, row in enumerate(rows, 1))]) + "\n"


@pytest.fixture
def bench(tmp_path):
    """A folder with a draft that knows its bar; returns a function that fills files."""

    def put(name, text):
        (tmp_path / name).write_text(text, encoding="utf-8")

    fitted = parse_series(table(BAR, bar_rows(noise_deg=0.0003)), "bar.csv", (), kinds=("bar",))
    fit = find_bar(fitted, {"A": Coefficients(), "B": Coefficients()}, 2.0).fit
    (bar,) = parse_references(BAR_ENTRY, "references.toml").references
    known = {
        "fits": (summary(fit.azimuth, "bar", "azimuth", "head A"),),
        "references": (use_of(bar),),
        "coefficients_before": Coefficients(),
    }
    put("references.toml", register() + BAR_ENTRY)
    put("sheet.toml", SHEET.replace("KL-ENC-1", "KL-BAR-1") + HEADS)
    put("draft.json", dump_record(seal(draft(**known))))
    put("found.csv", tilts())
    put("bar-found.csv", check())
    return put


@pytest.fixture
def verify(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def run(*words, file="found.csv"):
        papers = ("--references", "references.toml", "--sheet", "sheet.toml")
        code = main(["verify", file, "--record", "draft.json", *papers, *words])
        return code, *capsys.readouterr()

    return run


def record_of(folder):
    return load_record((folder / "draft.json").read_text())


def zeros(run):
    return [f for f in run.figures if (f.channel, f.name) == ("azimuth_cross", "zero")]


@pytest.mark.parametrize("head", [0, 1])
def test_the_error_of_the_zero_is_what_was_put_in(bench, verify, tmp_path, head):
    """Within four times what readings and fit scatter by; U has the seat's line as well."""
    assert verify("--bar", "bar-found.csv", "--head", "AB"[head])[0] == 0
    record = record_of(tmp_path)
    (figure,) = zeros(record.as_found)
    assert float(figure.value) == pytest.approx(ZERO_AZIMUTH[head], abs=0.0012)
    budget = next(b for b in record.budgets if b.at == "as found, zero on the bar")
    shares = {line.source.split(" (")[0]: float(line.contribution) for line in budget.lines}
    assert shares["seat of the head on the bar"] == 0.003
    assert 0.0 < shares["form of the bar by its fit"] < 0.001
    assert float(budget.u) == pytest.approx(math.hypot(*shares.values()), rel=1e-3)
    verdict = next(v for v in record.as_found.verdicts if v.channel == "azimuth_cross")
    # H0.02: A's zero of 0.040 is beyond it by far, B's of -0.015 within it by less than U.
    assert verdict.decision == ("fail", "conditional-pass")[head]
    assert [f.what for f in record.raw] == ["verification as found", "bar as found"]


def test_the_head_is_the_sheets_and_one_object_has_the_budget(bench, verify, tmp_path):
    code, out, _ = verify("--bar", "bar-found.csv", "--json")
    assert code == 0
    across = next(c for c in json.loads(out)["channels"] if c["channel"] == "azimuth_cross")
    assert [f["name"] for f in across["figures"]] == ["zero"]
    assert across["budgets"][0]["at"] == "zero on the bar"
    assert across["budgets"][0]["monte_carlo"]["agrees"]
    assert across["figures"][0]["value"] == pytest.approx(ZERO_AZIMUTH[0], abs=0.0012)


def test_people_read_the_zero_and_its_budget(bench, verify):
    code, out, _ = verify("--bar", "bar-found.csv")
    assert code == 0
    assert "azimuth_cross" in out
    assert "on the bar, both ways round" in out
    assert "form of the bar by its fit" in out


def test_as_left_by_new_readings_with_the_new_coefficients(bench, verify, tmp_path):
    mended = {"azimuth_cross": {"zero_deg": ZERO_AZIMUTH[0], "u_zero_deg": 0.001}}
    record = record_of(tmp_path).revised(coefficients={"encoders": mended}, adjusted=True)
    bench("draft.json", dump_record(seal(record)))
    assert verify("--bar", "bar-found.csv")[0] == 0
    adjust(tmp_path, "2026-11-25T13:00:00Z")
    bench("left.csv", tilts(seed=5).replace("T09:", "T14:"))
    bench("bar-left.csv", check(seed=9, at=NOON + timedelta(hours=2)))
    words = ("--as", "left")
    code, _, err = verify(*words, "--bar", "bar-found.csv", file="left.csv")
    assert code == 2
    assert "this file is the one of the bar as found" in err
    code, _, err = verify(*words, "--bar", "bar-left.csv", file="left.csv")
    assert code == 0, err
    (figure,) = zeros(record_of(tmp_path).as_left)
    assert abs(float(figure.value)) < 0.0012
    assert record_of(tmp_path).as_left.taken_to == "2026-11-25T14:14:03Z"


def test_what_was_fitted_is_no_verification(bench, verify, tmp_path):
    content = (tmp_path / "bar-found.csv").read_bytes()
    raw = {"what": "bar.csv", "sha256": hashlib.sha256(content).hexdigest(), "bytes": len(content)}
    bench("draft.json", dump_record(seal(record_of(tmp_path).revised(raw=(raw,)))))
    code, out, err = verify("--bar", "bar-found.csv")
    assert (code, out) == (2, "")
    assert "is bar.csv, which the coefficients were fitted to" in err


@pytest.mark.parametrize(
    ("text", "code", "told"),
    [
        (check(moved=0.05), 3, "bar-found.csv: the azimuth of head A differs by 0.0"),
        (check(turned=(0, 0, 0)), 2, "head A has 0 readings with turned = 1"),
        (check(turned=(0, 1)), 2, "head A has 1 readings with turned = 0; take 2 at least"),
        (check().replace(",A,", ",C,", 1), 2, "bar-found.csv, row 1: head"),
        (check().replace("azimuth_deg", "azimuth_rad"), 2, "azimuth_rad"),
    ],
)
def test_readings_that_verify_nothing_are_refused(bench, verify, tmp_path, text, code, told):
    bench("bar-found.csv", text)
    before = (tmp_path / "draft.json").read_bytes()
    found, out, err = verify("--bar", "bar-found.csv")
    assert (found, out) == (code, "")
    assert told in err
    assert err.count("\n") == 1
    assert (tmp_path / "draft.json").read_bytes() == before


def test_a_bar_whose_form_nobody_fitted_and_a_head_that_nobody_names(bench, verify, tmp_path):
    bench("draft.json", dump_record(seal(record_of(tmp_path).revised(fits=()))))
    code, _, err = verify("--bar", "bar-found.csv")
    assert code == 2
    assert "does not know how the ends of bar KL-BAR-1 swing; calibrate on it first" in err
    for more in ("", "head = 3\n", "head = [3]\n"):
        bench("sheet.toml", SHEET.replace("KL-ENC-1", "KL-BAR-1") + more)
        code, _, err = verify("--bar", "bar-found.csv")
        assert code == 2
        assert "name it with --head A or B" in err
    bench("sheet.toml", "head = [")
    code, _, err = verify("--bar", "bar-found.csv")
    assert code == 2
    assert "sheet.toml: not TOML" in err
