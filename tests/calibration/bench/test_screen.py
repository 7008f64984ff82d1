"""What the technician reads: words alone carry the meaning, on 80 columns and 24 lines."""

import math
from dataclasses import replace

import pytest

from calibration.bench.bar_pair import BarPair
from calibration.bench.capture import Capture, CaptureSettings, Settled
from calibration.bench.plan import HeadAtHand, Scope, steps_of
from calibration.bench.rows import numbered
from calibration.bench.screen import Live, progress_lines, screen
from calibration.bench.session import Phase, begun
from calibration.bench.steps import Series, Step
from calibration.files.references import parse_references

CHANNELS = frozenset({"incl_x", "incl_y", "incl_z", "rotation", "azimuth_cross"})
REFERENCE = """
[[reference]]
id = "{0}"
kind = "{1}"
certificate = "FMO-1"
certificate_sha256 = "{2}"
issuer = "Fenmoor Metrology Office"
value = {3}
unit = "{4}"
U = 0.002
k = 2
date = 2026-01-12
due = 2027-01-12
{5}
"""
REGISTER = parse_references(
    "".join(
        REFERENCE.format(name, kind, "0" * 64, value, unit, more)
        for name, kind, value, unit, more in (
            ("KL-SINE-1", "sine-bar", "200.000", "mm", "U_angle_deg = 0.0006"),
            ("KL-BLK-1", "gauge-blocks", "0.0000", "mm", "U_per_mm = 0.000002"),
            ("KL-ENC-1", "reference-encoder", "0.000", "deg", "step_deg = 0.001"),
            ("KL-BAR-1", "bar", "2000.0", "mm", "U_angle_deg = 0.001"),
        )
    )
)


def watch(level=0.1, moving=False):
    capture = Capture(CaptureSettings())
    for i in range(100):
        wobble = 0.01 * i if moving else 1e-5 * (i % 7)
        capture.feed(i / 50, {"incl_x": level + wobble, "incl_y": 0.2, "temperature": 20.5})
    return capture


def at_bench(heads="A", rows=None):
    steps = steps_of(
        [HeadAtHand(h, f"KL-{h}", CHANNELS) for h in heads],
        REGISTER.references,
        Scope(),
        rows or {},
    )
    return begun(steps, rows or {})


@pytest.mark.parametrize("heads", ["A", "AB"])
def test_every_step_fits_a_small_terminal(heads):
    session = at_bench(heads)
    watches = {h: watch() for h in heads}
    for at in range(len(session.steps)):
        for phase in (Phase.PLACE, Phase.READ, Phase.RECORD):
            shown = screen(replace(session, at=at, phase=phase, said="x" * 150), Live(watches))
            assert len(shown) <= 23
            assert max(map(len, shown)) <= 80


def test_words_say_moving_with_figure_and_limit():
    session = replace(at_bench(), at=1)
    text = "\n".join(screen(session, Live({"A": watch(moving=True)})))
    assert "MOVING: incl_x ranges over" in text
    assert "limit" in text
    text = "\n".join(screen(session, Live({"A": watch()})))
    assert "still: incl_x creeps by" in text


def test_the_live_reading_of_each_channel_is_shown():
    text = "\n".join(screen(replace(at_bench(), at=1), Live({"A": watch(math.radians(1.5))})))
    assert "incl_x +1.50" in text
    assert "incl_y +11.459" in text
    assert "20.50 °C" in text


def test_a_head_that_says_nothing_is_named():
    text = "\n".join(screen(replace(at_bench(), at=1), Live({}, trouble="A: the port went away")))
    assert "head A: no readings yet" in text
    assert "the port went away" in text


def test_what_is_open_and_what_never_gets_known_is_named():
    series = BarPair(2.0)
    target = series.targets(())[0]
    level = {"incl_x": 0.0, "incl_y": 0.0}
    means = {"A": level | {"azimuth_cross": -1.57}, "B": level | {"azimuth_cross": 1.57}}
    both = {h: Settled(mean, dict.fromkeys(mean, 1e-5), 10) for h, mean in means.items()}
    session = begun(
        (Step("bar", Series(series)),), {"bar.csv": numbered((), series.taken(target, both))}
    )
    text = "\n".join(progress_lines(session, 80))
    assert "incl_y zero A" in text
    assert "rank" in text
    assert "port A + port B forward" in text


def test_the_steps_keep_the_order_of_a_calibration():
    names = [step.name for step in at_bench().steps]
    order = ["references", "warm-up", "sphere", "steps", "reversal", "turn rotation", "still"]
    order += ["fit", "found", "verify-found", "adjust", "left", "verify-left", "sign"]
    assert names == [*order, "certificate"]


def test_two_heads_meet_on_the_bar_after_each_was_measured_alone():
    steps = at_bench("AB").steps
    names = [step.name for step in steps]
    assert names.index("still B") < names.index("bar") < names.index("fit") < names.index("found A")
    (bar,) = (step for step in steps if step.name == "bar")
    assert bar.heads == ("A", "B")
    assert {step.path for step in steps if step.name.startswith("sphere")} == {
        "A/sphere.csv",
        "B/sphere.csv",
    }


def test_without_a_reference_encoder_the_circle_is_closed_instead():
    steps = steps_of([HeadAtHand("A", "KL-A", CHANNELS)], (), Scope(), {})
    assert "closure rotation" in [step.name for step in steps]
    assert "steps" not in [step.name for step in steps]


def test_an_adjustment_asks_for_the_serial():
    session = at_bench()
    at = [step.name for step in session.steps].index("adjust")
    text = "\n".join(screen(replace(session, at=at), Live({})))
    assert "type KL-A: do it" in text
