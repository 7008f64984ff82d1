"""A record that leaves an encoder's zero open: what needs none goes on, what needs one is named."""

import json
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.records.parts import OPEN_ZERO_DEG
from calibration.records.text import dump_record, load_record, seal
from ingest.core.channels import ROW, Channel
from ingest.service.sightlines import looks


@pytest.fixture
def bay_with(simulated_bay, monkeypatch):
    """Return a maker of bays; alder's record leaves the zeros of the named channels open."""
    names = simulated_bay.__init__.__globals__
    build = names["build"]

    def opened(text, channels):
        record = load_record(text)
        encoders = dict(record.encoders)
        for channel in channels:
            encoders[channel] = encoders[channel].model_copy(update={"u_zero_deg": OPEN_ZERO_DEG})
        return dump_record(seal(record.model_copy(update={"encoders": encoders, "sha256": ""})))

    def make(*channels):
        def built(*words):
            demo = build(*words)
            at = list(demo.heads).index("alder")
            demo.records[at] = opened(demo.records[at], channels)
            return demo

        monkeypatch.setitem(names, "build", built)
        bay = simulated_bay(12)
        bay.advance(1.5)
        return bay

    return make


def test_camber_and_toe_stand_on_no_zero_of_the_rotation(bay_with, one_axle_measured):
    known, left_open = (
        one_axle_measured(bay_with(*channels)).bay.work.results.standing
        for channels in ((), ("rotation",))
    )
    assert known.keys() == left_open.keys()
    for topic, result in known.items():
        assert left_open[topic].value == pytest.approx(result.value, abs=1e-12)
        assert left_open[topic].u == pytest.approx(result.u, rel=1e-3)


def test_an_azimuth_without_a_zero_tells_no_toe_and_is_named(bay_with, one_axle_measured):
    bay = bay_with("azimuth_cross", "rotation")
    with pytest.raises(AssertionError, match="does not stand"):
        one_axle_measured(bay)
    assert [t.rsplit("/", 1)[1] for t in bay.bay.work.results.standing] == ["camber", "camber"]
    head = bay.head("alder")
    told = bay.bay.alerts.active[f"zeros-{head.id}"]
    assert f"{head.instrument.record.record_id} leaves the zero of azimuth_cross open" in told
    reading = bay.outlet.retained[bay.topics.reading("alder", Channel.AZIMUTH_CROSS)]
    assert reading["value"] is not None
    assert reading["U"] is None
    turned = json.dumps(bay.outlet.retained[bay.topics.head_runout("alder")])
    assert '"heading": null' in turned or '"heading"' not in turned


@pytest.mark.parametrize(("left_open", "usable"), [((), True), (("azimuth_track",), False)])
def test_a_sightline_is_not_read_by_a_channel_without_a_zero(bay_with, left_open, usable):
    head = bay_with(*left_open).head("alder")
    rest = SimpleNamespace(values=np.zeros(len(ROW)))
    sat = SimpleNamespace(head=head, rest=rest)
    assert looks(sat, Channel.AZIMUTH_TRACK) is usable
    assert looks(sat, Channel.AZIMUTH_CROSS)
