"""On what a result stands: shares of its variance, worked out by hand.

A combined variance is the sum of the squared contributions (GUM 5.1.2, equation 10).
"""

import math

import pytest

from calibration.measured import Measured, Part, Source
from ingest.commands.network_answer import answer
from ingest.commands.network_json import as_json
from ingest.commands.network_notes import notes
from ingest.geometry.network.standing import in_words, shares
from ingest.payload.network_file import NetworkFile
from ingest.payload.network_read import network_of


def one_wheel(sigma_deg, zero_sigma_deg, seen_in="a"):
    """Return a wheel at a known place that sights a known pin: its toe is one reading, no more."""
    pins = {"A": (5.0, 0.0), "B": (0.0, 0.0)}
    stations = [{"id": p, "x_m": x, "y_m": y, "fixed": True} for p, (x, y) in pins.items()]
    wheel = {"id": "L1", "x_m": 5.0, "y_m": 1.0, "fixed": True, "axle": 1, "side": "left"}
    reading = {"type": "direction", "at": "L1", "to": "A", "angle_deg": -90.0, "setup": seen_in}
    return network_of(
        NetworkFile.model_validate(
            {
                "stations": [*stations, wheel | {"zero_sigma_deg": zero_sigma_deg}],
                "observations": [reading | {"sigma_deg": sigma_deg}],
                "setups": [{"id": "a"}, {"id": "b", "stayed": ["L1"]}],
                "centre_line": ["A", "B"],
            }
        )
    )


def test_the_shares_of_a_head_s_zero_and_of_its_sightline_are_those_of_their_squares():
    found = answer(one_wheel(0.03, 0.06), design=False)
    (each,) = (
        s for s in as_json(found, design=False)["stands_on"] if s["quantity"] == "toe_deg L1"
    )
    assert each["u_deg"] == pytest.approx(math.hypot(0.03, 0.06))
    told = {share["cause"]: (share["share"], share["of"]) for share in each["shares"]}
    assert told["zeros of heads"] == (pytest.approx(0.8), ["L1, a"])
    assert told["sightlines"] == (pytest.approx(0.2), ["L1 to A"])
    assert each["setups"] == 1


def test_what_is_wide_is_told_with_what_it_stands_on_and_what_is_narrow_is_not():
    wide = notes(answer(one_wheel(0.03, 0.06), design=False), design=False)
    (line,) = (n for n in wide if n.startswith("widest is"))
    assert "toe_deg L1, U 0.134° (k = 2): 80 % zeros of heads (L1, a), 20 % sightlines" in line
    narrow = notes(answer(one_wheel(0.01, 0.02), design=False), design=False)
    assert not any(n.startswith("widest is") for n in narrow)


@pytest.mark.parametrize(
    ("name", "cause", "of"),
    [
        ("distance P to R3 [18]", "tapes", ("P to R3",)),
        ("direction R3 to L3: the sightline itself", "sightlines", ("R3 to L3",)),
        ("cal-2026-0002: azimuth_cross zero", "zeros of heads", ("cal-2026-0002: azimuth_cross",)),
        ("seat of mounting 4", "how far out heads sit", ()),
        ("stub of 5d91947c54c84701", "where ports are on their heads", ()),
        (
            "assumed spread of the bay: heading of axle 3 left, standing 1",
            "how wheels settle",
            None,
        ),
        ("something new", "something new", ()),
    ],
)
def test_sources_of_live_readings_are_told_by_their_cause(name, cause, of):
    measured = Measured(
        0.0, (Part(Source(name), (3.0,)), Part(Source("rest"), (4.0,))), frozenset()
    )
    by_cause = {share.cause: share for share in shares(measured)}
    assert by_cause[cause].share == pytest.approx(9.0 / 25.0)
    assert sum(share.share for share in by_cause.values()) == pytest.approx(1.0)
    if of is not None:
        assert by_cause[cause].of == of
    assert in_words(shares(measured)).startswith("64 % rest, 36 % ")


def test_what_is_so_by_definition_stands_on_nothing():
    assert shares(Measured(0.0, (), frozenset())) == ()
    assert in_words(()) == ""
