"""The certificate's charts say what the record says."""

import math

import pytest
from lxml import etree

from calibration.document.blocks import Chart, Columns
from calibration.document.certificate.compose import certificate

SVG = "{http://www.w3.org/2000/svg}"


def charts(record):
    for block in certificate(record).blocks:
        if isinstance(block, Chart):
            yield block
        elif isinstance(block, Columns):
            yield from (each for cell in block.cells for each in cell if isinstance(each, Chart))


@pytest.fixture
def drawn(complete):
    """Every chart of the complete certificate, by its caption and what it describes."""
    return {
        chart.description.split(":")[0]: etree.fromstring(chart.svg) for chart in charts(complete)
    }


def scale(root, anchor, place):
    """Return what turns a coordinate back into the value that it stands for."""
    ticks = [t for t in root.iter(f"{SVG}text") if t.get("text-anchor") == anchor]
    pairs = []
    for tick in ticks:
        try:
            value = float(tick.text.replace("−", "-"))
        except ValueError:
            continue
        pairs.append((float(tick.get(place)) - (3 if place == "y" else 0), value))
    (a, low), (b, high) = pairs[0], pairs[-1]
    return lambda at: low + (at - a) * (high - low) / (b - a)


def test_found_is_hollow_and_left_is_filled(drawn, complete):
    root = drawn["Errors of incl_y"]
    value_at = scale(root, "end", "y")
    filled = [value_at(float(c.get("cy"))) for c in root.iter(f"{SVG}circle")][:-1]
    left = [float(p.error) for p in complete.as_left.points if p.channel == "incl_y"]
    assert filled == pytest.approx(left, abs=0.0001)
    squares = [p.get("points").split() for p in root.iter(f"{SVG}polygon")][:-1]
    heights = [sum(float(spot.split(",")[1]) for spot in square) / 4 for square in squares]
    found = [float(p.error) for p in complete.as_found.points if p.channel == "incl_y"]
    assert [value_at(y) for y in heights] == pytest.approx(found, abs=0.0001)


def test_both_limits_are_drawn(drawn):
    root = drawn["Errors of incl_y"]
    value_at = scale(root, "end", "y")
    dashed = [ln for ln in root.iter(f"{SVG}line") if ln.get("stroke-dasharray")]
    levels = [value_at(float(ln.get("y1"))) for ln in dashed]
    assert levels == pytest.approx([-0.03, 0.03], abs=0.0001)


def test_the_turn_shows_the_harmonics_of_the_encoder(drawn, complete):
    root = drawn["Error of rotation over a turn"]
    across, up = scale(root, "middle", "x"), scale(root, "end", "y")
    curve = next(p for p in root.iter(f"{SVG}polyline") if len(p.get("points").split()) > 2)
    spots = [tuple(map(float, spot.split(","))) for spot in curve.get("points").split()]
    harmonics = complete.encoders["rotation"].harmonics
    for x, y in spots:
        raw = math.radians(across(x))
        expected = sum(
            h.cos_deg * math.cos(h.order * raw) + h.sin_deg * math.sin(h.order * raw)
            for h in harmonics
        )
        assert up(y) == pytest.approx(expected, abs=0.002)


def test_allan_deviation_falls_and_rises_as_recorded(drawn, complete):
    name = next(name for name in drawn if name.startswith("Allan deviation of incl_y from 0.1 s"))
    curve = next(p for p in drawn[name].iter(f"{SVG}polyline") if len(p.get("points").split()) > 2)
    heights = [float(spot.split(",")[1]) for spot in curve.get("points").split()]
    deviations = [point.deviation for point in complete.stability[0].curve]
    assert heights.index(max(heights)) == deviations.index(min(deviations))


def test_a_channel_without_harmonics_has_no_turn(complete):
    bare = complete.coefficients.model_copy(update={"encoders": {}})
    names = [chart.caption for chart in charts(complete.revised(coefficients=bare))]
    assert "Error over a turn, before and after correction" not in names
    assert names.count("Error and its expanded uncertainty over the angle") == 2
