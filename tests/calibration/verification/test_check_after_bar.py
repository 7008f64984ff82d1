"""Calibrated on a bar, checked on it: what the bench found and what the check takes off agree."""

import math
from pathlib import Path

import pytest

from calibration.drafting.bar import find_bar
from calibration.drafting.draft import summary
from calibration.files.check_rows import parse_check_rows
from calibration.files.series import parse_series
from calibration.records.text import load_record, seal
from calibration.verification.head_class import class_of
from calibration.verification.shift_check import PAIR, disagreement, shift_check

KEPT = Path(__file__).parents[1] / "records" / "version-2.json"
BAR, LENGTH_M = "KL-BAR-1", 2.0
RISE, TWIST, SWING, SAG = (0.031, -0.022), (0.015, -0.027), (0.04, -0.013), 0.018
STAND = (0.11, -0.07)
FACES = 0.009
"""All deg, along and across; ends 1 and 2."""
PORTS_MM = {"A": 0.6, "B": -1.1}
ZERO = {"A": (0.21, -0.34, 0.5), "B": (-0.4, 0.12, -0.28)}
"""incl_x, incl_y, azimuth, of heads that nobody has calibrated yet."""


def line(turned, rolled, exchanged, head, moved=(0.0, 0.0, 0.0)):
    """Return what a head reads on a bar that lies so, to first order."""
    t, r = (-1.0 if turned else 1.0), (-1.0 if rolled else 1.0)
    first = (head == "A") != exchanged
    o, end = (1.0, 0) if first else (-1.0, 1)
    zero_x, zero_y, zero_az = (z + m for z, m in zip(ZERO[head], moved, strict=True))
    other = "B" if head == "A" else "A"
    port_deg = math.degrees((PORTS_MM[other] - PORTS_MM[head]) * 1e-3 / LENGTH_M)
    incl_y = zero_y + t * STAND[0] + o * (r * RISE[end] - SAG)
    incl_x = zero_x + t * STAND[1] + TWIST[end] + r * FACES
    azimuth = zero_az - r * SWING[end] + o * port_deg - o * 90.0
    return f"{head},{incl_y:.7f},{incl_x:.7f},{azimuth:.7f}"


def bar_csv():
    rows = ["row,turned,rolled,exchanged,head,incl_y_deg,incl_x_deg,azimuth_deg"]
    for exchanged in (0, 1):
        for rolled in (0, 1):
            for turned in (0, 1):
                for head in "AB":
                    read = line(turned, rolled, bool(exchanged), head)
                    rows.append(f"{len(rows)},{turned},{rolled},{exchanged},{read}")
    return "\n".join(rows)


def check_csv(moved):
    rows = ["row,turned,head,incl_y_deg,incl_x_deg,azimuth_deg"]
    for turned in (0, 1):
        for head in "AB":
            read = line(turned, False, False, head, moved.get(head, (0.0, 0.0, 0.0)))
            rows.append(f"{len(rows)},{turned},{read}")
    return "\n".join(rows)


@pytest.fixture(scope="module")
def records():
    """Both heads' records, as the bench writes them from the bar."""
    kept = load_record(KEPT.read_text(encoding="utf-8"))
    bare = kept.coefficients.model_copy(update={"tilt": None, "encoders": {}, "ports": {}})
    use = kept.references[0].model_copy(update={"id": BAR, "kind": "bar"})
    draft = kept.model_copy(update={"coefficients": bare, "references": (use,)})
    series = parse_series(bar_csv(), "bar.csv", (), kinds=("bar",))
    found = find_bar(series, dict.fromkeys("AB", draft.coefficients), LENGTH_M)
    fits = {"incl_y": found.fit.incl_y, "incl_x": found.fit.incl_x, "azimuth": found.fit.azimuth}
    told = tuple(summary(fit, "bar", channel, "") for channel, fit in fits.items())
    return {
        h: seal(draft.model_copy(update={"coefficients": found.after[h], "fits": told}))
        for h in "AB"
    }


def changes(records, moved):
    readings = parse_check_rows(check_csv(moved), "check.csv").readings
    assert disagreement(readings, records) is None
    checks = shift_check(readings, records, class_of(0.02), BAR, LENGTH_M)
    assert all(check.form_known for check in checks)
    return [{c.quantity: math.degrees(c.change_rad) for c in check.changes} for check in checks]


def test_heads_fresh_from_the_bar_have_moved_nowhere(records):
    for found in changes(records, {}):
        assert list(found.values()) == pytest.approx([0.0] * 4, abs=2e-4)


def test_what_has_moved_since_is_what_is_told(records):
    a, b = changes(records, {"A": (0.012, 0.0, 0.008), "B": (0.0, -0.011, -0.006)})
    assert a["incl_x zero"] == pytest.approx(0.012, abs=2e-4)
    assert a["incl_y zero"] == pytest.approx(0.0, abs=2e-4)
    assert b["incl_y zero"] == pytest.approx(-0.011, abs=2e-4)
    assert (a["azimuth zero"], b["azimuth zero"]) == pytest.approx((0.008, -0.006), abs=2e-4)
    assert a[PAIR] == pytest.approx(0.014, abs=3e-4)
