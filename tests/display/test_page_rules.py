"""The page's judgement, run in Node.js (Debian package ``nodejs``) on messages of our models."""

import json
import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from importlib import resources
from typing import Any

import pytest

from ingest.payload.axle import AxleResult
from ingest.payload.base import Message
from ingest.payload.head import HeadMeta, HeadStatus, Reading
from ingest.payload.runout import Runout
from ingest.payload.stamp import epoch_ms, rfc3339
from ingest.payload.svc import ServiceStatus, ServiceWill
from ingest.payload.topics import Topics

pytestmark = [
    pytest.mark.real,
    pytest.mark.skipif(
        shutil.which("node") is None and os.environ.get("CI") != "true", reason="no node"
    ),
]

T = Topics("bay1")
WALL_NS = 1_795_598_043_271_508_112
MOMENT: dict[str, Any] = {"t": rfc3339(WALL_NS), "ms": epoch_ms(WALL_NS)}
GOOD: dict[str, Any] = {"q": "good", "why": ""}
INCL_Y = T.root + "/head/larch/incl_y"
CAMBER = T.axle(1, "left", "camber")
RULES = re.search(
    r'<script id="rules">(.*?)</script>',
    resources.files("ingest.display").joinpath("page.html").read_text("utf-8"),
    re.DOTALL,
)


NODE = """
const vm = require('vm'), rules = JSON.parse(process.argv[1]);
require('readline').createInterface({ input: process.stdin }).on('line', (line) => {
  const { steps, expression } = JSON.parse(line);
  const use = `const known = new Known(); known.restart();
    for (const step of steps) known.take(step, step.at);
    const entry = (key) => known.entries.get(key);
    JSON.stringify({ said: (${expression}) })`;
  let answer;
  try { answer = vm.runInNewContext(rules + use, { steps }); }
  catch (error) { answer = JSON.stringify({ error: String(error) }); }
  console.log(answer);
});
"""
RUNNING: list[subprocess.Popen[str]] = []


@pytest.fixture(scope="module", autouse=True)
def node() -> Iterator[None]:
    """Keep one Node.js for all tests of this file; each question gets a world of its own."""
    assert RULES is not None
    command = ["node", "-e", NODE, json.dumps(RULES[1])]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, text=True, bufsize=1) as process:
        RUNNING.append(process)
        yield
        RUNNING.clear()
        process.stdin.close()  # type: ignore[union-attr]


def run(expression: str, steps: list[dict[str, Any]] | None = None) -> Any:
    """Give the messages to the page's rules and return what an expression then says."""
    (process,) = RUNNING
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(json.dumps({"expression": expression, "steps": steps or []}) + "\n")
    answer = json.loads(process.stdout.readline())
    assert "error" not in answer, answer
    return answer.get("said")


def heard(topic: str, message: Message | dict[str, Any] | str, at: int = 0, retained: bool = False):
    payload = message.encode().decode() if isinstance(message, Message) else message
    payload = payload if isinstance(payload, str) else json.dumps(payload)
    return {"topic": topic, "payload": payload, "retained": retained, "at": at}


def changed(message: Message, **keys: Any) -> dict[str, Any]:
    """Return a message as a newer or broken program may send it."""
    return json.loads(message.encode()) | keys


def service(boot: str = "b-1", state: Any = "online") -> ServiceStatus:
    return ServiceStatus(
        **MOMENT, **GOOD, state=state, sw="0.1.0", boot=boot, seq=1, heads=1,
        clock="ntp", clock_u_ms=8, meta=T.meta,
    )  # fmt: skip


def head(state: Any = "online") -> HeadStatus:
    judged = GOOD if state == "online" else {"q": "bad", "why": "link-silent"}
    return HeadStatus(**MOMENT, **judged, state=state, hid="0" * 16, axle=1, side="left")


def reading(**keys: Any) -> Reading:
    usual: dict[str, Any] = {
        "value": -1.284, "unit": "deg", "U": 0.024, "k": 2, "dp": 3, "rate": 0.0, "still": True,
        "cal": "cal-7", "lag_ms": 120, "ttl": 3, "boot": "b-1", "seq": 1,
    }  # fmt: skip
    return Reading(**MOMENT, **(GOOD | usual | keys))


def result(**keys: Any) -> AxleResult:
    usual: dict[str, Any] = {
        "id": "ax-1", "boot": "b-1", "qty": "camber", "value": -0.42, "unit": "deg", "U": 0.059,
        "k": 2, "dp": 3, "lo": -1, "hi": 0.5, "rule": "guard-u", "dec": "inside",
        "text": "(-0.420 ± 0.059)°",
    }  # fmt: skip
    return AxleResult(**MOMENT, **(GOOD | usual | keys))


def runout(**keys: Any) -> Runout:
    usual: dict[str, Any] = {
        "id": "ro-1", "boot": "b-1", "seq": 1, "state": "turning", "n": 80, "arc": 200.0,
        "dp": 3, "ttl": 3, "q": "uncertain", "why": "turning",
    }  # fmt: skip
    return Runout(**MOMENT, **(usual | keys))


BASE = [heard(T.status, service()), heard(T.head_status("larch"), head())]


def figure(message: Any, *, now: int = 0, retained: bool = False, base: Any = None) -> Any:
    steps = [*(BASE if base is None else base), heard(INCL_Y, message, retained=retained)]
    return run(f"known.figure(entry('head/larch/incl_y'), 'larch', {now})", steps)


def judged(message: Any, *, now: int = 0, retained: bool = False, base: Any = None) -> Any:
    steps = [*(BASE if base is None else base), heard(CAMBER, message, retained=retained)]
    return run(f"known.result(entry('axle/1/left/camber'), {now})", steps)


def test_a_fresh_reading_is_live_with_its_uncertainty():
    got = figure(reading(), now=2999)
    assert (got["state"], got["value"], got["U"], got["why"]) == (
        "live", "\u22121.284°", "±\u00a00.024°", "",
    )  # fmt: skip


def test_a_reading_finer_than_its_uncertainty_lends_it_no_digits():
    got = figure(reading(value=-1.284, U=2.1, dp=3))
    assert (got["value"], got["U"]) == ("\u22121.284°", "±\u00a02.1°")


def test_a_result_stands_however_old_and_however_it_came():
    for retained in (False, True):
        got = judged(result(), now=10_000_000, retained=retained)
        assert (got["state"], got["dec"], got["value"]) == ("stands", "inside", "\u22120.420°")


@pytest.mark.parametrize(
    ("base", "why"),
    [
        ([], "no word from the service"),
        ([heard(T.status, service(state="offline"))], "service offline: no reason given"),
        (
            [heard(T.status, changed(service(), state="resting"))],
            "service offline: no reason given",
        ),
        ([heard(T.status, "not json")], "service offline: no reason given"),
    ],
)
def test_nothing_is_believed_without_the_service(base: list[Any], why: str):
    got = judged(result(), base=base)
    assert (got["state"], got["dec"], got["value"], got["why"]) == ("no data", "none", "–", why)
    assert figure(reading(), base=base)["state"] == "no data"


def test_nothing_is_believed_without_a_connection():
    steps = [*BASE, heard(CAMBER, result())]
    got = run("(known.connected = false, known.result(entry('axle/1/left/camber'), 0))", steps)
    assert (got["state"], got["dec"], got["why"]) == ("no data", "none", "connection lost")


def test_a_late_farewell_of_an_earlier_start_is_not_believed():
    born, old = heard(T.status, service("b-2")), heard(T.status, ServiceWill(boot="b-1"))
    assert run("known.outage()", [born, old]) == ""
    own = heard(T.status, ServiceWill(boot="b-2"))
    assert run("known.outage()", [born, own]) == "service offline: connection lost"


@pytest.mark.parametrize("state", ["offline", "asleep", None])
def test_a_head_that_is_not_there_has_no_live_values(state: str | None):
    base = [BASE[0]]
    if state:
        base.append(heard(T.head_status("larch"), changed(head(), state=state)))
    got = figure(reading(), base=base)
    assert (got["state"], got["value"], got["why"]) == ("no data", "–", "head offline")


def test_a_degraded_head_still_gives_values():
    base = [BASE[0], heard(T.head_status("larch"), head("degraded"))]
    assert figure(reading(), base=base)["state"] == "live"


def test_a_reading_is_stale_when_its_time_to_live_is_over():
    assert figure(reading(ttl=3), now=3000)["state"] == "live"
    got = figure(reading(ttl=3), now=3001)
    assert (got["state"], got["value"], got["why"]) == ("no data", "–", "nothing for 3 s")


@pytest.mark.parametrize("ttl", [3, 0])
def test_a_live_value_that_came_as_retained_is_last_known_and_never_live(ttl: int):
    for now in (0, 10_000_000):
        got = figure(reading(ttl=ttl), now=now, retained=True)
        assert (got["state"], got["value"]) == ("last known", "\u22121.284°")


def test_a_result_with_a_time_to_live_that_came_as_retained_decides_nothing():
    got = judged(result(ttl=5), retained=True)
    assert (got["state"], got["dec"]) == ("last known", "none")


def test_a_message_that_does_not_say_whether_it_is_fresh_is_not():
    message = heard(INCL_Y, reading())
    del message["retained"]
    got = run("known.figure(entry('head/larch/incl_y'), 'larch', 0).state", [*BASE, message])
    assert got == "last known"


@pytest.mark.parametrize(
    "keys",
    [
        {"q": "bad", "why": "sensor-fault"}, {"q": "stale", "why": "x"}, {"q": "splendid"},
        {"value": None}, {"value": "1.0"}, {"dp": None}, {"dp": 1.5}, {"dp": 40}, {"ttl": None},
        {"ttl": -1}, {"q": None},
    ],
)  # fmt: skip
def test_what_is_bad_unknown_or_unreadable_is_no_data(keys: dict[str, Any]):
    for got in (figure(changed(reading(), **keys)), judged(changed(result(), **keys))):
        assert (got["state"], got["value"], got["U"]) == ("no data", "–", "")
        assert got["why"]
    assert judged(changed(result(), **keys))["dec"] == "none"


@pytest.mark.parametrize("text", ["", "null", "[1]", "7", "{", '"x"'])
def test_a_payload_that_is_no_object_is_no_data(text: str):
    steps = [*BASE, heard(INCL_Y, reading()), heard(INCL_Y, text)]
    asked = "((e) => e ? known.figure(e, 'larch', 0).state : 'cleared')(entry('head/larch/incl_y'))"
    assert run(asked, steps) == ("no data" if text else "cleared")


@pytest.mark.parametrize("keys", [{"dec": "splendid"}, {"dec": None}])
def test_an_unknown_decision_is_no_data(keys: dict[str, Any]):
    got = judged(changed(result(), **keys))
    assert (got["state"], got["dec"], got["why"]) == ("no data", "none", "unknown decision")


@pytest.mark.parametrize("keys", [{"U": None}, {"k": None}, {"U": -1}])
def test_nothing_is_decided_without_an_uncertainty(keys: dict[str, Any]):
    got = judged(changed(result(), **keys))
    assert (got["state"], got["dec"], got["U"]) == ("stands", "none", "±\u00a0not known")


def test_less_than_good_says_why_and_another_k_is_shown():
    got = judged(result(q="uncertain", why="uncalibrated", k=2.43))
    assert got["why"] == "uncertain: uncalibrated"
    assert got["U"] == "±\u00a00.059°  k = 2.43"


def test_numbers_keep_their_sign_their_zeros_and_their_place():
    # The minus is U+2212; a zero carries a blank as wide as a digit (U+2007) in its place.
    asked = "[signed(-0.42,3), signed(0.5,3), signed(0,3), signed(-0.0001,3), signed(1230,0)]"
    assert run(asked) == ["\u22120.420", "+0.500", "\u20070.000", "\u20070.000", "+1230"]
    units = "['deg','mm','mm/m','[in_i]','Cel','1','furlong'].map(unitOf)"
    assert run(units) == ["°", " mm", " mm/m", " in", " °C", "", " furlong"]


def test_an_uncertainty_asks_for_two_significant_digits():
    assert run("[4.8, 0.018, 12, 0.1, 0.01, 0.00995, 1].map(placesOf)") == [1, 3, 0, 2, 3, 4, 1]


@pytest.mark.parametrize(
    ("stills", "word"), [([True, True], "still"), ([True, False], "moving"), ([None], "moving")]
)
def test_one_moving_channel_makes_a_head_move(stills: list[Any], word: str):
    steps = [
        heard(T.root + f"/head/larch/{name}", changed(reading(), still=still))
        for name, still in zip(("incl_x", "incl_y"), stills, strict=False)
    ]
    assert run("known.motion('larch', 0)", BASE + steps) == word
    assert run("known.motion('larch', 9000)", BASE + steps) == ""


def test_a_head_counts_as_calibrated_only_when_every_angle_is():
    one = heard(INCL_Y, reading())
    other = heard(T.root + "/head/larch/incl_x", reading(cal=None))
    meta = HeadMeta(
        **MOMENT, name="larch", hid="0" * 16, model="m", serial="s", fw="1", proto=1, boot=1,
        link="serial", channels=(), cal=None,
    )  # fmt: skip
    assert run("known.calibrated('larch')", [*BASE, one]) is True
    assert run("known.calibrated('larch')", [*BASE, one, other]) is False
    assert run("known.calibrated('larch')", BASE) is False
    assert run("known.calibrated('larch')", [*BASE, heard(T.head_meta("larch"), meta)]) is False


@pytest.mark.parametrize(
    ("message", "retained", "now", "state"),
    [
        (runout(), False, 3000, "turning"),
        (runout(), False, 3001, "no data"),
        (runout(), True, 0, "last known"),
        (runout(state="done", camber=0.4, ttl=0, q="good", why=""), True, 9**9, "done"),
        (runout(state="refused", ttl=0, q="bad", why="slip"), True, 9**9, "refused"),
        (changed(runout(), state="pausing"), False, 0, "refused"),
        (runout(q="bad", why="x"), False, 0, "no data"),
    ],
)
def test_a_turn_is_what_it_says_only_while_it_may_be_believed(
    message: Any, retained: bool, now: int, state: str
):
    steps = [*BASE, heard(T.head_runout("larch"), message, retained=retained)]
    asked = f"known.runout(entry('head/larch/runout'), 'larch', {now}).state"
    assert run(asked, steps) == state
    gone = [*steps, heard(T.head_status("larch"), head("offline"))]
    assert run(asked, gone) == "no data"


def test_how_much_further_to_turn_is_put_in_words():
    cases = [runout(), *(runout(camber=0.4, further=f) for f in (0, 61.0, None))]
    texts = run(f"{json.dumps([changed(c) for c in cases])}.map(furtherText)")
    assert texts == [
        "Keep turning: too little yet for a camber.",
        "Turned far enough for the uncertainty asked for.",
        "About 61° more for the uncertainty asked for.",
        "Turning further will not reach the uncertainty asked for.",
    ]


def test_heads_stand_in_the_order_of_their_wheels_and_results_front_to_rear():
    places = {"elm": None, "ash": (10, "left"), "oak": (2, "right"), "fir": (2, "left")}
    steps = [
        heard(T.head_status(n), changed(head(), axle=p and p[0], side=p and p[1]))
        for n, p in places.items()
    ]
    steps += [
        heard(T.axle(n, s, q), result())
        for n, s, q in [(10, "left", "camber"), (2, "both", "total-toe"), (2, "left", "camber")]
    ]
    assert run("known.heads()", steps) == ["fir", "oak", "ash", "elm"]
    assert run("known.results().map((e) => e.key)", steps) == [
        "axle/2/left/camber", "axle/2/both/total-toe", "axle/10/left/camber",
    ]  # fmt: skip


def test_another_bay_and_another_tree_are_not_mixed_in():
    steps = [
        *BASE,
        heard("levelhead/v1/bay2/svc/status", service(state="offline")),
        heard("levelhead/v2/bay1/svc/status", service(state="offline")),
        heard("elsewhere/v1/bay1/svc/status", service(state="offline")),
    ]
    assert run("[known.outage(), known.bay, known.entries.size]", steps) == ["", "bay1", 2]


def test_a_new_stream_forgets_what_may_have_been_taken_back():
    assert run("(known.restart(), known.entries.size)", [*BASE, heard(CAMBER, result())]) == 0


def turn_of(count: int, turn_id: str = "ro-1") -> list[dict[str, Any]]:
    """Camber falls towards -1 by a known curve, and its uncertainty with it."""
    return [
        heard(
            T.head_runout("larch"),
            changed(
                runout(id=turn_id, camber=round(-1 + 1 / (i + 1), 6), camber_U=2 / (i + 1), k=2),
                ms=MOMENT["ms"] + 250 * i,
            ),
        )
        for i in range(count)
    ]


def test_the_plot_shows_one_turn_and_a_new_turn_begins_anew():
    steps = BASE + turn_of(9, "ro-1") + turn_of(5, "ro-2")
    assert run("known.traces.get('larch').points.length", steps) == 5


def test_the_plot_of_a_long_turn_keeps_its_ends_and_is_bounded():
    asked = "((p) => [p.length < 401, p[0].ms, p.at(-1).ms])(known.traces.get('larch').points)"
    got = run(asked, BASE + turn_of(3000))
    assert got == [True, MOMENT["ms"], MOMENT["ms"] + 250 * 2999]


def test_the_plot_stays_within_its_box_and_in_proportion():
    plot = run("layPlot(known.traces.get('larch').points, 360, 150)", BASE + turn_of(41))
    points = [tuple(map(float, p.split())) for p in plot["trace"][1:].split(" L")]
    band = [tuple(map(float, p.split())) for p in plot["band"][1:-1].split(" L")]
    assert len(points) == 41
    assert len(band) == 82
    for x, y in points + band:
        assert plot["left"] <= x <= plot["right"]
        assert plot["top"] <= y <= plot["bottom"]
    assert points[0][0] == plot["left"]
    assert points[-1][0] == plot["right"]
    # Ten seconds across; the newest camber in the middle, its band above and below alike.
    assert plot["columns"][-1]["text"] == "10"
    middle = (plot["top"] + plot["bottom"]) / 2
    assert points[-1][1] == pytest.approx(middle, abs=0.1)
    upper, lower = band[40][1], band[41][1]
    assert upper + lower == pytest.approx(2 * middle, abs=0.2)
    # Two rows of the scale tell degrees per unit of the drawing: the band must be U wide.
    rows = [
        (r["y"], float(r["text"].replace("\u2212", "-").strip("+°\u2007"))) for r in plot["rows"]
    ]
    assert len(rows) >= 3
    per_deg = (rows[0][0] - rows[-1][0]) / (rows[-1][1] - rows[0][1])
    assert (lower - upper) / per_deg == pytest.approx(2 * 2 / 41, rel=0.02)


def test_one_point_makes_no_plot():
    assert run("layPlot(known.traces.get('larch').points, 360, 150)", BASE + turn_of(1)) is None
