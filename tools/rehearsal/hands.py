"""A job on a simulated bay: hands that do what guidance says, and requests for all else."""

import json

from ingest.commands.align_asking import NOT_TOLD
from ingest.commands.align_truth import Witness
from ingest.commands.demo_network import KINGPIN_M
from ingest.commands.demo_rig import HEADS
from ingest.commands.job_shop import Shop
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.job.course.tasks import FINDS, Doing
from ingest.payload.cmd import read_command
from ingest.service.bayhead import Wheel
from ingest.service.jobview import LiveBayView
from ingest.service.jobwork import JobWork
from ingest.simulator.adjusting.hands import follow, sweep_goals
from ingest.simulator.streams import stream
from ingest.simulator.taping import Tape
from ingest.simulator.truth_by_topic import truth_by_topic
from ingest.simulator.vehicle import WheelAt
from ingest.store.database import open_database
from tools.rehearsal.bay import TICK_S, SimulatedBay
from tools.rehearsal.turning import turn

RATE_HZ = 20.0
"""Of heads: fewer readings take less time, and scatter no less than U says."""
BEGINS = 10
"""So often a sweep is begun that is refused since a wheel is not at rest yet."""
TRIES = 4
"""So often an adjustment is tried before it is left as it is."""


class JobOnABay:
    """Does what guidance says, as far as hands are needed; asks for the rest."""

    def __init__(
        self,
        seed,
        vehicle,
        limits="general",
        troubles=None,
        rate_hz=RATE_HZ,
        *,
        sweeps=True,
        tick_s=TICK_S,
    ):
        self.sweeps = sweeps
        self.bay = SimulatedBay(seed, vehicle, rate_hz=rate_hz, troubles=troubles, tick_s=tick_s)
        connection = open_database(":memory:")
        announcer = self.bay.announcer
        view = LiveBayView(self.bay.bay, announcer)
        self.store = Witness(connection)
        self.work = JobWork(self.store, Shop(connection), view, announcer, self.bay.bay.alerts)
        self.store.standing = self.work.standing
        announcer.verdicts = self.work.verdicts
        self.work.take_up()
        pin_m = KINGPIN_M if self.bay.practice is None else self.bay.practice.pin_m
        self.by_tape = Tape(self.bay.demo.rig.vehicle, pin_m, stream(seed, "tapes"))
        self.on = {}
        self.asked = 0
        self.ask("job-open", vehicle=vehicle, limits=limits, order="W-1")

    @property
    def job(self):
        return self.work.job

    def ask(self, name, **fields):
        self.asked += 1
        payload = json.dumps({"id": f"q-{self.asked}", **fields}).encode()
        done = self.work.carry_out("ines", read_command(name, payload))
        assert done.ok, f"{name} {fields}: {done.text}"
        return done.text

    def told(self, leaf):
        return self.bay.outlet.retained[self.bay.topics.job(leaf)]

    def run(self):
        for item in self.job.unchecked:
            self.ask("job-check", item=item, state="ok")
        self.ask("job-begin")
        while (task := self.job.current) is not None:
            self.do(task)
        self.ask("job-close")
        return self

    def do(self, task):
        match task.doing:
            case Doing.MOUNT:
                self.mount(task)
            case Doing.TAPE:
                self.tape(task)
            case Doing.TURN:
                self.compensate(*task.axles)
            case Doing.ADJUST if self.bay.practice is not None:
                self.adjust(task)
            case Doing.SWEEP if not self.sweeps:
                self.ask("job-skip", task=task.id, reason="no turn plates today")
                return
            case Doing.SWEEP | Doing.RESWEEP:
                self.sweep(task)
            case Doing.FIND | Doing.LEAVE:
                self.wait(task)
        noted = (Doing.ADJUST, Doing.RESWEEP, Doing.LEAVE)
        note = "as near as it comes" if task.doing in noted else ""
        self.work.tell()
        if task.doing in FINDS and not self.told("guidance")["ready"]:
            note = NOT_TOLD
        self.ask("job-done", task=task.id, note=note)

    def adjust(self, task):
        """Turn what the published advice says, until the result is inside its limits."""
        if not task.is_seen:
            self.adjust_by_sweep(task)
            return
        (topic,) = task.topics
        for tried in range(TRIES):
            self.settle(topic)
            said = self.bay.outlet.retained[f"{self.bay.topics.root}/{topic}"]
            if said["dec"] == "inside":
                return
            advice = self.told("advice")
            assert advice["task"] == task.id
            lines = [line for line in advice["text"].splitlines() if line]
            if not tried:
                self.ask("job-adjust", task=task.id)
            for step in follow(self.bay.practice.adjusters, task.axles[0], lines):
                self.watch(step.wait_s)

    def adjust_by_sweep(self, task):
        """Turn once what is advised after the last sweep, where that was not inside."""
        if all(self.job.known_of(topic).decision == "inside" for topic in task.topics):
            return
        self.work.tell()
        lines = self.told("advice")["text"].splitlines()
        self.ask("job-adjust", task=task.id)
        for step in follow(self.bay.practice.adjusters, task.axles[0], lines):
            self.pass_by(step.wait_s)
        self.pass_by(2.0)

    def watch(self, seconds):
        """Let time pass, the value that is turned told as the chain's values come."""
        for _ in range(round(seconds / 0.5) + 1):
            self.pass_by(0.5)
            self.work.live()

    def pass_by(self, seconds):
        """Let time pass, heads being watched as the service does, at every arrival."""
        end_s = self.bay.clock.now_s + seconds
        while self.bay.clock.now_s < end_s - 1e-9:
            self.bay.advance(min(self.bay.tick_s, end_s - self.bay.clock.now_s))
            self.work.watch()

    def settle(self, topic):
        for _ in range(40):
            self.watch(1.0)
            self.work.tell()
            standing = self.work.standing(topic)
            if standing is not None and standing.at > self.moved:
                return
        raise AssertionError(f"{topic} does not settle")

    def truth(self):
        practice = self.bay.practice
        now_s = self.bay.clock.now_s
        return truth_by_topic(practice.vehicle, practice.frames, now_s, practice.adjusters)

    def mount(self, task):
        for wheel in [wheel for wheel in self.on if wheel.axle in task.off]:
            name = self.on.pop(wheel)
            self.bay.demo.technician.dismount(self.bay.demo.heads[name])
            self.bay.bay.put_on(self.bay.head(name), None)
        self.bay.advance(0.5)
        for axle in task.axles:
            free = [name for name in HEADS if name not in self.on.values()]
            for side, name in zip(Side, free, strict=False):
                self.on[WheelAt(axle, side)] = name
                self.bay.demo.technician.mount(self.bay.demo.heads[name], WheelAt(axle, side))
                self.bay.bay.put_on(self.bay.head(name), Wheel(axle, side))

    def compensate(self, *axles):
        for axle in axles:
            self.bay.demo.technician.jack(axle)
        self.pass_by(2.5)
        for side in Side:
            at = {w: n for w, n in self.on.items() if w.side is side and w.axle in axles}
            turn(self.bay, at, 3)
        for axle in axles:
            self.bay.demo.technician.lower(axle)
        self.pass_by(6.0)

    def sweep(self, task):
        (axle,) = task.axles
        self.pass_by(3.0)
        practice = self.bay.practice
        goals = None if practice is None else sweep_goals(practice.adjusters, axle)
        heads = list(self.bay.bay.heads.values())
        for _ in range(BEGINS):
            done = self.bay.bay.sweeping.begin(axle, heads, stops=goals is not None)
            if done.ok:
                break
            self.pass_by(2.0)  # as it is told to: a soft suspension takes its time
        assert done.ok, done.text
        for step in self.bay.demo.technician.sweep(axle, *(goals or (20.2 * DEG,))):
            self.pass_by(step.wait_s)
        done = self.bay.bay.sweeping.end(axle)
        assert done.ok, done.text

    def tape(self, task):
        for line in task.tapes:
            metres = round(self.by_tape.read_m(*line.split("-"), self.bay.clock.now_s), 4)
            self.ask("job-tape", line=line, metres=metres, u_mm=1.0)

    @property
    def moved(self):
        return self.job.moved_at

    def wait(self, task):
        for _ in range(40):
            self.pass_by(1.0)
            self.work.tell()
            if self.told("guidance")["ready"]:
                return
        if task.doing is not Doing.FIND:
            raise AssertionError(f"{task.id} lacks {self.told('guidance')['lacks']}")
