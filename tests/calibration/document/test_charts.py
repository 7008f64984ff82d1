"""Charts: ticks people would choose, marks where the values are, readable without colour."""

import math
import re

import pytest
from lxml import etree

from calibration.document.charts import allan_chart, control_chart, error_chart
from calibration.document.plot import Band, Curve, Level, Marks
from calibration.document.scales import linear_axis, log_axis, turn_axis

SVG = "{http://www.w3.org/2000/svg}"


def labels(axis):
    return [label for _, label in axis.ticks]


@pytest.mark.parametrize(
    ("values", "most", "expected"),
    [
        ((0, 10), 6, ["0", "2", "4", "6", "8", "10"]),
        ((-0.04, 0.03), 9, ["−0.04", "−0.03", "−0.02", "−0.01", "0.00", "0.01", "0.02", "0.03"]),
        ((1.2, 1.9), 4, ["1.0", "1.5", "2.0"]),
        ((-250, 900), 5, ["−500", "0", "500", "1000"]),
        ((5, 5), 6, ["2", "3", "4", "5", "6", "7", "8"]),
        ((0, 0), 5, ["−1.0", "−0.5", "0.0", "0.5", "1.0"]),
        ((), 5, ["−1.0", "−0.5", "0.0", "0.5", "1.0"]),
    ],
)
def test_linear_ticks_are_one_two_or_five(values, most, expected):
    assert labels(linear_axis("", values, most)) == expected


@pytest.mark.parametrize("seed", range(40))
def test_linear_axis_holds_its_values_without_waste(seed):
    low = math.sin(seed) * 10 ** (seed % 7 - 3)
    high = low + 10 ** (seed % 9 - 5)
    axis = linear_axis("", (low, high), 7)
    assert axis.low <= low + 1e-9 * abs(low)
    assert axis.high >= high - 1e-9 * abs(high)
    assert len(axis.ticks) <= 9
    assert high - low > 0.5 * (axis.high - axis.low) * (1 - 2 / (len(axis.ticks) - 1))


def test_turn_ticks_are_known_parts_of_a_circle():
    assert labels(turn_axis("", (0, 360), 5)) == ["0", "90", "180", "270", "360"]
    assert labels(turn_axis("", (0, 360), 10)) == ["0", "45", *map(str, range(90, 361, 45))]
    beside = turn_axis("", (-0.3, 360), 5)
    assert labels(beside) == ["0", "90", "180", "270", "360"]
    assert (beside.low, beside.high) == (-0.3, 360.0)
    assert labels(turn_axis("", (-10, 360), 5)) == ["−90", "0", "90", "180", "270", "360"]
    assert labels(turn_axis("", (-30, 30), 6)) == ["−30", "−15", "0", "15", "30"]


def test_log_ticks_are_whole_decades():
    assert labels(log_axis("", (0.02, 300))) == ["0.01", "0.1", "1", "10", "100", "1000"]
    assert labels(log_axis("", (2e-7, 3e-6))) == ["10⁻⁷", "10⁻⁶", "10⁻⁵"]
    assert log_axis("", (0.0, -1.0, math.nan)).low > 0


def test_log_axis_puts_decades_at_even_distances():
    axis = log_axis("", (1, 1000))
    assert [axis.share(10.0**i) for i in range(4)] == pytest.approx([0, 1 / 3, 2 / 3, 1])


def drawn(svg):
    return etree.fromstring(svg.encode())


def find(root, name):
    return root.findall(f"{SVG}{name}")


@pytest.fixture
def chart():
    found = Marks("as found", [-5, 0, 5], [0.02, 0.03, 0.04], [0.01, 0.01, 0.01], hollow=True)
    left = Marks("as left", [-5, 0, 5], [0.0, 0.001, -0.001], [0.01, 0.01, 0.01])
    limits = [Level("limit", -0.05), Level("limit", 0.05)]
    return drawn(error_chart([found, left], limits, "Reference in °", "Error in °", "shown"))


def test_error_chart_marks_every_value_and_its_bar(chart):
    assert len(find(chart, "circle")) == 3 + 1  # and the key
    assert len(find(chart, "polygon")) == 3 + 1
    assert len(find(chart, "rect")) == 0


def tick_heights(root):
    return {t.text: float(t.get("y")) for t in find(root, "text") if t.get("text-anchor") == "end"}


def test_error_chart_puts_values_where_they_are(chart):
    ticks = {
        t.text: float(t.get("y")) - 3 for t in find(chart, "text") if t.get("text-anchor") == "end"
    }
    per_unit = (ticks["0.00"] - ticks["0.04"]) / 0.04
    centres = [float(c.get("cy")) for c in find(chart, "circle")[:3]]
    expected = [ticks["0.00"] - per_unit * y for y in (0.0, 0.001, -0.001)]
    assert centres == pytest.approx(expected, abs=0.02)


def test_bars_are_as_long_as_twice_the_uncertainty(chart):
    ticks = {
        t.text: float(t.get("y")) for t in find(chart, "text") if t.get("text-anchor") == "end"
    }
    per_unit = (ticks["0.00"] - ticks["0.04"]) / 0.04
    upright = [ln for ln in find(chart, "line") if ln.get("x1") == ln.get("x2")]
    lengths = [abs(float(ln.get("y1")) - float(ln.get("y2"))) for ln in upright]
    assert sum(abs(length - 0.02 * per_unit) < 0.05 for length in lengths) == 6


def test_chart_is_told_in_words(chart):
    assert chart.find(f"{SVG}title").text == "Error in °"
    assert chart.find(f"{SVG}desc").text == "shown"
    assert chart.get("role") == "img"
    texts = [t.text for t in find(chart, "text")]
    assert {"as found", "as left", "limit", "Reference in °", "Error in °"} <= set(texts)


def test_no_series_is_told_from_another_by_colour_alone(chart):
    fills = {p.get("fill") for p in find(chart, "polygon")}
    assert fills == {"#ffffff"}
    assert all(c.get("fill") != "#ffffff" for c in find(chart, "circle"))


def test_charts_use_neither_red_nor_green(chart):
    for colour in set(re.findall(r"#[0-9a-f]{6}", etree.tostring(chart).decode())):
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        assert not (green > 1.3 * red and green > 1.3 * blue)
        assert not (red > 2.2 * green and red > 2.2 * blue)


def test_allan_chart_draws_curve_and_band():
    tau, deviation = [0.1, 1.0, 10.0], [0.01, 0.003, 0.001]
    band = Band("95 %", tau, [d * 0.9 for d in deviation], [d * 1.2 for d in deviation])
    root = drawn(allan_chart(Curve("Allan deviation", tau, deviation), band, "s", "°", "d"))
    curve = find(root, "polyline")[0].get("points").split()
    assert len(curve) == 3
    assert len(find(root, "polygon")[0].get("points").split()) == 6
    xs = [float(spot.split(",")[0]) for spot in curve]
    assert xs[1] - xs[0] == pytest.approx(xs[2] - xs[1], abs=0.03)


def test_allan_chart_leaves_out_what_has_no_logarithm():
    tau, deviation = [1.0, 2.0, 4.0], [0.01, 0.0, 0.005]
    band = Band("95 %", tau, [0.0, 0.0, 0.004], [0.02, 0.0, 0.006])
    root = drawn(allan_chart(Curve("Allan deviation", tau, deviation), band, "s", "°", "d"))
    assert len(find(root, "polyline")[0].get("points").split()) == 2


def test_control_chart_names_its_limits():
    checks = Marks("zero", [1, 2, 3], [0.001, -0.002, 0.0], joined=True)
    levels = [Level("upper limit", 0.01), Level("mean", 0.0, False), Level("lower limit", -0.01)]
    root = drawn(control_chart(checks, levels, "Check", "Zero in °", "d"))
    texts = [t.text for t in find(root, "text")]
    assert {"upper limit", "mean", "lower limit"} <= set(texts)
    assert len(find(root, "circle")) == 4
    assert len(find(root, "polyline")) == 1


def test_one_value_is_a_chart_too():
    root = drawn(error_chart([Marks("one", [0.0], [0.0], [0.0])], (), "x", "y", "d"))
    assert find(root, "circle")
