"""What the service says of itself."""

import json

import pytest

from ingest.payload.svc import MOST_OFFERED, ServiceMeta, ServiceStatus
from ingest.service.inputs import Offered
from ingest.service.live import LiveSettings
from ingest.service.servicedesk import DeskSettings, ServiceDesk


@pytest.fixture
def desk_and_bay(simulated_bay):
    bay = simulated_bay(41)
    desk = ServiceDesk(DeskSettings(version="9.9"), LiveSettings(), bay.announcer)
    desk.refresh(bay.bay)
    return desk, bay


def test_the_description_names_heads_quantities_and_schemas(desk_and_bay):
    _, bay = desk_and_bay
    meta = bay.outlet.retained[bay.topics.meta]
    assert meta["heads"] == sorted(bay.demo.heads)
    assert (meta["sw"], meta["bay"], meta["rate_hz"]) == ("9.9", "sim", 10.0)
    assert meta["lag_ms"] > 0
    assert {"camber", "total-toe", "incl_x"} <= {q["qty"] for q in meta["quantities"]}
    assert meta["schemas"]["axle/{n}/{side}/{qty}"] == "axle-result/1"
    assert ServiceMeta.decode(bay.outlet.messages[-2][1])


def test_every_topic_that_is_published_has_a_schema_named(desk_and_bay):
    _, bay = desk_and_bay
    bay.bay.tick(1.0)
    kinds = {"svc", "head", "axle", "vehicle", "cal", "job", "evt", "cmd", "reply"}
    named = {key.split("/")[0] for key in bay.outlet.retained[bay.topics.meta]["schemas"]}
    used = {t.removeprefix(f"{bay.topics.root}/").split("/")[0] for t in bay.outlet.retained}
    assert used <= named == kinds


def test_nothing_is_said_twice_and_a_lost_head_changes_the_count(desk_and_bay):
    desk, bay = desk_and_bay
    before = len(bay.outlet.messages)
    desk.refresh(bay.bay)
    assert len(bay.outlet.messages) == before
    bay.bay.slots["alder"].head = None
    desk.refresh(bay.bay)
    assert bay.outlet.retained[bay.topics.status]["heads"] == len(bay.demo.heads) - 1


def test_birth_and_farewell(desk_and_bay):
    desk, _ = desk_and_bay
    birth = ServiceStatus.decode(desk.status("online", "").encode())
    farewell = ServiceStatus.decode(desk.status("offline", "stopped").encode())
    assert (birth.state, birth.q, birth.heads, birth.sw) == ("online", "good", 4, "9.9")
    assert (farewell.state, farewell.q, farewell.why) == ("offline", "stale", "stopped")
    assert farewell.seq > birth.seq


def test_the_description_lists_them_and_is_said_again_when_one_comes(desk_and_bay):
    desk, bay = desk_and_bay
    assert bay.outlet.retained[bay.topics.meta]["vehicles"] == []
    desk.offer(Offered((("odd", ""), ("van", "x" * 200)), (("general", "for want of better"),)))
    desk.refresh(bay.bay)
    said = bay.outlet.retained[bay.topics.meta]
    assert said["vehicles"] == [{"id": "odd", "name": ""}, {"id": "van", "name": "x" * 119 + "…"}]
    assert said["limit_sets"] == [{"id": "general", "name": "for want of better"}]
    many = tuple((f"v-{n}", "\u00fc" * 120) for n in range(3 * MOST_OFFERED))
    desk.offer(Offered(many, many))
    desk.refresh(bay.bay)
    said = bay.outlet.retained[bay.topics.meta]
    assert len(said["vehicles"]) == MOST_OFFERED
    assert ServiceMeta.decode(json.dumps(said).encode())
