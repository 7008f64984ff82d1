"""What nobody meant to happen to a head is said at once; what a task brings with it never is.

Whole jobs in simulated time: the vehicle, the knock and the truth are the simulator's.
"""

from dataclasses import replace

import numpy as np
import pytest

from ingest.core.errors import LinkSilent
from ingest.core.units import DEG, NS
from ingest.job.course.events import Disturbed
from ingest.job.course.tasks import Doing, Task
from ingest.service.headseen import HeadSeen
from ingest.service.jobview import TURNED_S, LiveBayView
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.watching import Watching
from ingest.simulator.practice import Trouble
from ingest.store.database import open_database
from tests.service.job_rig import JobRig
from tools.rehearsal.bay import TICK_S
from tools.rehearsal.hands import JobOnABay

ADJUST = Task("1-adjust", Doing.ADJUST, 1, (1,), ("axle/1/both/total-toe",), quantity="total_toe")
HEAD = HeadSeen(
    "alder",
    1,
    "left",
    7,
    0,
    online=True,
    why="",
    compensated=True,
    turns=False,
    lean_rad=0.2 * DEG,
    sights_rad={"azimuth_cross": 0.1 * DEG},
    hidden=frozenset(),
    partners={"azimuth_cross": (1, "right")},
)
KNOCKED = replace(HEAD, lean_rad=0.6 * DEG)
BLOCKED = replace(HEAD, sights_rad={}, hidden=frozenset({"azimuth_cross"}))


def after(task: Task, *heads: HeadSeen) -> list[str]:
    """Return what is said of one head, seen so one second after the other."""
    watching, said = Watching(), []
    for second, head in enumerate(heads):
        found = watching.look(task, [replace(head, now_ns=second * NS)])
        said += [each.lacks for each in found]
    return said


CROSSED = replace(HEAD, axle=2, sights_rad={"azimuth_cross": 0.6 * DEG})
BEHIND = replace(HEAD, sights_rad={"azimuth_track": 179.9 * DEG})


def test_a_head_on_another_axle_than_is_turned_at_looks_across_as_it_did():
    """A slip about the vertical there, which no adjuster brings with it; a linkage might."""
    before = replace(CROSSED, sights_rad=HEAD.sights_rad)
    assert after(ADJUST, before, CROSSED, CROSSED) == ["run-out"]
    assert after(ADJUST, HEAD, replace(CROSSED, axle=1)) == []
    assert after(replace(ADJUST, quantity="steering_wheel"), before, CROSSED) == []


def test_a_direction_that_passes_the_half_turn_is_no_step():
    other = replace(BEHIND, sights_rad={"azimuth_track": -179.9 * DEG})
    assert after(replace(ADJUST, doing=Doing.FIND), BEHIND, other) == []


def test_a_slip_between_two_tasks_or_before_anything_is_turned_is_said():
    find, slipped = replace(ADJUST, id="1-find", doing=Doing.FIND), replace(CROSSED, axle=1)
    for task, turning in ((find, False), (ADJUST, False)):
        watching = Watching()
        assert not watching.look(find, [HEAD], turning=False)
        (said,) = watching.look(task, [replace(slipped, now_ns=NS)], turning=turning)
        assert said.lacks == "run-out"


@pytest.mark.parametrize(
    ("heads", "said"),
    [
        ((HEAD, HEAD), []),
        ((HEAD, KNOCKED, KNOCKED), ["run-out"]),
        ((HEAD, replace(KNOCKED, lean_rad=0.4 * DEG)), []),
        ((HEAD, replace(KNOCKED, sights_rad={"azimuth_cross": 3.0 * DEG})), []),
        ((HEAD, replace(HEAD, lean_rad=None), KNOCKED), ["run-out"]),
        ((HEAD, replace(KNOCKED, turns=True), KNOCKED), []),
        ((HEAD, BLOCKED, BLOCKED, BLOCKED), ["sightline"]),
        ((HEAD, BLOCKED, HEAD, BLOCKED, HEAD), []),
        ((HEAD, BLOCKED, BLOCKED, HEAD, BLOCKED, BLOCKED), ["sightline", "sightline"]),
        ((HEAD, replace(HEAD, online=False), replace(HEAD, online=False), HEAD), ["head"]),
        ((HEAD, replace(HEAD, compensated=False)), ["run-out"]),
        ((HEAD, replace(HEAD, compensated=False, turns=True), HEAD), []),
    ],
)
def test_what_happens_to_a_head_is_said_once(heads: tuple[HeadSeen, ...], said: list[str]) -> None:
    assert after(ADJUST, *heads) == said


@pytest.mark.parametrize("doing", [d for d in Doing if d not in (Doing.ADJUST, Doing.TIGHTEN)])
def test_a_head_that_a_task_moves_or_hides_alarms_nobody(doing: Doing) -> None:
    moved = after(replace(ADJUST, doing=doing), HEAD, KNOCKED, BLOCKED, BLOCKED, BLOCKED)
    assert bool(moved) is (doing in (Doing.FIND, Doing.LEAVE))


def test_a_line_that_both_ends_lose_is_said_once() -> None:
    other = replace(
        HEAD, name="birch", side="right", mounting=8, partners={"azimuth_cross": (1, "left")}
    )
    watching, said = Watching(), 0
    for second in range(5):
        changes = {"now_ns": second * NS}
        if second:
            changes |= {"hidden": frozenset({"azimuth_cross"}), "sights_rad": {}}
        said += len(watching.look(ADJUST, [replace(each, **changes) for each in (HEAD, other)]))
    assert said == 1
    assert watching.hidden == {(1, "left"), (1, "right")}


class Disturbing(JobOnABay):
    """A job on a small vehicle, in which things happen to heads."""

    def __init__(self):
        troubles = (Trouble.SKEWED_AXLES, Trouble.TOE)
        super().__init__(11, "rigid-4x2", "general", troubles)
        for item in self.job.unchecked:
            self.ask("job-check", item=item, state="ok")
        self.ask("job-begin")

    def upsets(self):
        return [e.what for e in self.work.events() if isinstance(e.what, Disturbed)]

    def until(self, doing):
        while (task := self.job.current).doing is not doing:
            self.do(task)
        self.pass_by(3.0)
        wheel = next(w for w in self.on if w.axle in task.axles)
        return self.on[wheel], wheel

    def tell(self):
        self.work.tell()
        return self.told("guidance")["text"]

    def knock(self, name, place_rad):
        """Lean the shaft by 0.8 deg more, towards a place in the wheel as it stands."""
        rig, now_s = self.bay.demo.rig, self.bay.clock.now_s
        head = self.bay.demo.heads[name]
        rotation = float(rig.pose(head, np.array([now_s])).rotation_rad[0])
        rig.slip(head, now_s + 0.5, 0.8 * DEG, rotation + place_rad)

    def span_s(self, name):
        bench = self.bay.bay.work.bench(self.bay.head(name))
        return bench.chain.rest.latest().span_s

    def hide(self, wheel, *, hidden):
        other = next(w for w in self.on if w.axle == wheel.axle and w.side is not wheel.side)
        line = frozenset({frozenset({wheel, other})})
        vehicle = self.bay.demo.rig.vehicle
        vehicle.unseen = vehicle.unseen | line if hidden else vehicle.unseen - line

    def rest_anew(self, name):
        """Let one head's rest begin anew; return, as time passes, whether a reading is due, and
        the headings that a job might take."""
        work = self.bay.bay.work
        head = self.bay.head(name)
        work.bench(head).chain.rest.reset()
        work.lost(head, "moving")
        seen = []
        for _ in range(12):
            standing = LiveBayView(self.bay.bay, self.bay.announcer).standing
            seen.append((bool(work.views.due), [t for t in standing if t.endswith("heading")]))
            self.pass_by(0.25)
        return seen

    def die(self, name):
        self.bay.silent.add(name)
        link = self.bay.head(name).slot.name
        silent = LinkSilent(link, "nothing valid for more than 1 s")
        self.bay.bay.link_changed(link, LinkChange(LinkState.SILENT, silent))

    def revive(self, name):
        self.bay.silent.discard(name)
        link = self.bay.head(name).slot.name
        self.bay.bay.link_changed(link, LinkChange(LinkState.OPEN, None))


@pytest.fixture(scope="module")
def told():
    """Let all of it happen: while measuring, then, put right again, while adjusting."""
    job, told = Disturbing(), {}
    name, wheel = job.until(Doing.FIND)
    told["before"] = len(job.upsets())
    told["due"] = job.rest_anew(name)
    job.hide(wheel, hidden=True)
    job.pass_by(2.5)
    told["measuring, hidden"] = job.upsets()[-1], job.tell()
    job.hide(wheel, hidden=False)
    job.pass_by(2.5)
    told["measuring, seen again"] = job.tell()
    job.knock(name, np.pi / 2.0)
    job.pass_by(5.0)
    told["measuring, knocked"] = job.upsets()[-1], job.tell()
    told["lacks"] = job.told("guidance")["lacks"]
    job.compensate(wheel.axle)
    job.do(job.job.current)
    told["measured"] = job.tell()
    name, wheel = job.until(Doing.ADJUST)
    told["between"] = len(job.upsets())
    told["spans"] = [job.span_s(name)]
    job.ask("job-adjust", task=job.job.current.id)
    job.pass_by(1.0)
    told["spans"].append(job.span_s(name))
    job.die(name)
    job.pass_by(1.0)
    told["adjusting, dead"] = job.upsets()[-1], job.tell()
    job.revive(name)
    job.hide(wheel, hidden=True)
    job.pass_by(2.5)
    told["adjusting, hidden"] = job.upsets()[-1], job.tell()
    job.hide(wheel, hidden=False)
    job.pass_by(3.0)
    job.knock(name, 0.0)
    job.pass_by(5.0)
    told["adjusting, knocked"] = job.upsets()[-1], job.tell()
    told["all"], told["job"] = job.upsets(), job
    return told


def test_while_an_adjuster_is_turned_no_reading_reaches_far_back(told):
    """An axle that creeps moves too little in any window for a rest to end."""
    before_s, turning_s = told["spans"]
    assert turning_s <= TURNED_S + TICK_S < before_s


def test_a_job_takes_nothing_of_a_network_while_a_head_of_it_is_yet_to_rest(told):
    """From some of its sightlines it tells the same results, far less well."""
    assert not [headings for due, headings in told["due"] if due and headings]
    assert told["due"][0][0]
    assert told["due"][-1][1]


@pytest.mark.parametrize(
    ("when", "lacks", "says"),
    [
        ("measuring, hidden", "sightline", "Clear the sightline"),
        ("measuring, knocked", "run-out", "turn its wheel again"),
        ("adjusting, dead", "head", "Look at the battery"),
        ("adjusting, hidden", "sightline", "Clear the sightline"),
        ("adjusting, knocked", "run-out", "turn its wheel again"),
    ],
)
def test_it_is_an_event_at_once_and_guidance_says_what_to_do(told, when, lacks, says):
    what, text = told[when]
    assert what.lacks == lacks
    assert says in text


def test_each_is_said_once_and_no_more_than_happened(told):
    kinds = [what.lacks for what in told["all"]]
    assert kinds == ["sightline", "run-out", "head", "sightline", "run-out"]
    job = told["job"]
    news = [e for e in job.bay.outlet.of(job.bay.topics.event("job")) if e["kind"] == "disturbed"]
    assert [e["by"] for e in news] == ["the bay"] * len(kinds)


def test_what_was_put_right_is_not_told_any_more(told):
    assert told["before"] == 0
    assert told["between"] == 2
    assert "sightline" not in told["measuring, seen again"]
    assert "knocked" not in told["measured"]


def test_a_knocked_head_holds_the_results_back_until_its_wheel_was_turned_again(told):
    assert told["lacks"]


def said_live(*came):
    """Return which of the newest samples, ms, were told of, each so much later than that before."""
    rig = JobRig(open_database(":memory:"))
    while rig.work.job is None or not rig.work.job.turning:
        rig.go_on()
    heard = []
    for newest_ms, later_s in came:
        rig.now_ns += round(later_s * NS)
        rig.view.newest = newest_ms * NS // 1000
        before = len(rig.said)
        rig.work.live()
        heard.append(len(rig.said) > before)
    return heard


def test_a_live_value_is_said_when_a_head_of_its_axle_gives_a_new_one():
    """A chunk of another head, or one that completes no value, brings nothing newer."""
    came = (100, 0.1), (100, 0.02), (150, 0.04), (200, 0.04), (200, 0.02), (200, 0.3)
    assert said_live(*came) == [True, False, False, True, False, True]


def test_a_live_value_that_came_late_does_not_put_the_next_one_off():
    """Nor is the next one, then, said when some other head is heard: that would go on for ever."""
    came = (100, 0.1), (200, 0.16), (300, 0.04), (300, 0.06), (400, 0.04)
    assert said_live(*came) == [True, True, True, False, True]
