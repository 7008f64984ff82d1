// The sweep that a person steers, and the tasks that can be done again.
import assert from "node:assert/strict";
import { test } from "node:test";
import { History, MOST_TASKS } from "../../../ingest/display/page/core/history.js";
import { fieldsOf, guideOf } from "../../../ingest/display/page/core/guide.js";
import { Known } from "../../../ingest/display/page/core/known.js";
import { needOf, sweepOf, usualOf } from "../../../ingest/display/page/core/steering.js";

const SWEEP = { ms: 2000, id: "st-1", axle: 1, side: "left", state: "sweeping", steer: 12.5, left: 12.5, right: 0, target: 20, need: "steer-left", do: "", ttl: 3 };

function bay(...heard) {
  const known = new Known("bay1");
  known.restart();
  const say = (topic, body, retained = false, at = 0) => known.take({ topic: `levelhead/v1/bay1/${topic}`, payload: JSON.stringify(body), retained }, at);
  say("svc/status", { state: "online", boot: "b" }, true);
  for (const head of ["larch", "rowan"]) say(`head/${head}/status`, { state: "online" }, true);
  say("job/step", { task: "t-4", doing: "sweep", axles: "1", ms: 1000 }, true);
  for (const each of heard) say(...each);
  const guide = (told = {}) => { say("job/guidance", { task: "t-4", asks: "sweep-begin+sweep-end+job-done", ready: false, ...told }, true); return guideOf(known); };
  return { known, say, guide };
}

test("a sweep is told wheel by wheel, and asks for what either wheel still needs", () => {
  const { known, guide } = bay(["head/rowan/sweep", { ...SWEEP, side: "right", need: "steer-right", steer: -3, do: "steer slower" }], ["head/larch/sweep", SWEEP]);
  const sweep = sweepOf(known, guide(), 10);
  assert.equal(sweep.state, "sweeping");
  assert.deepEqual(sweep.wheels.map(({ side, steer, todo }) => [side, steer, todo]), [["left", 12.5, ""], ["right", -3, "steer slower"]]);
  assert.equal(needOf(sweep.wheels), "steer-left");
  assert.equal(needOf(sweep.wheels.map((each) => ({ ...each, need: "" }))), "");
  assert.equal(usualOf(sweep.state), "sweep-end");
});

test("once nothing is left to look at, the work can be begun, and no item is asked about", () => {
  const { guide } = bay();
  assert.deepEqual(guide({ asks: "job-check+job-begin+job-close", item: "" }).asks, ["job-begin", "job-close"]);
  assert.deepEqual(guide({ asks: "job-check+job-begin+job-close", item: "tyres" }).asks, ["job-check", "job-begin", "job-close"]);
  assert.deepEqual(guide({ asks: "job-check+job-close" }).asks, ["job-check", "job-close"]); // that is said to be odd
});

test("a sweep that is not heard of in time, or a head that is off, shows no angle", () => {
  const { known, guide, say } = bay(["head/larch/sweep", SWEEP]);
  assert.equal(sweepOf(known, guide(), 3001).state, "no-data");
  say("head/larch/sweep", SWEEP, true); // kept by the broker: not live
  assert.equal(sweepOf(known, guide(), 0).state, "no-data");
  say("head/larch/sweep", SWEEP);
  say("head/larch/status", { state: "offline" }, true);
  assert.equal(sweepOf(known, guide(), 1).state, "no-data");
});

test("a sweep from before this step proves nothing; one of another axle is none", () => {
  const { known, guide, say } = bay(["head/larch/sweep", { ...SWEEP, state: "done", ttl: 0, ms: 999 }]);
  assert.equal(sweepOf(known, guide(), 0).state, "");
  assert.equal(sweepOf(known, guide({ ready: true }), 0).state, "done"); // the service says that all is there
  say("head/larch/sweep", { ...SWEEP, state: "done", ttl: 0 });
  assert.equal(sweepOf(known, guide(), 0).state, "done");
  say("head/larch/sweep", { ...SWEEP, axle: 2 });
  assert.equal(sweepOf(known, guide(), 0).state, "");
});

test("a wheel that is refused refuses the sweep, and so does a state that nobody knows", () => {
  const { known, guide, say } = bay(["head/larch/sweep", { ...SWEEP, state: "done", ttl: 0 }], ["head/rowan/sweep", { ...SWEEP, side: "right", state: "refused", why: "not-closed", ttl: 0 }]);
  assert.deepEqual([sweepOf(known, guide({ ready: true }), 0).state, sweepOf(known, guide(), 0).why], ["refused", "not-closed"]);
  say("head/rowan/sweep", { ...SWEEP, side: "right", state: "splendid", why: "", ttl: 0 });
  assert.equal(sweepOf(known, guide({ ready: true }), 0).state, "refused");
});

test("a sweep to the stops says so, any other does not", () => {
  const { guide } = bay();
  assert.deepEqual(fieldsOf("sweep-begin", guide()), { axle: 1 });
  assert.deepEqual(fieldsOf("sweep-begin", guide(), { stops: true }), { axle: 1, stops: true });
});

test("tasks that are done can be done again, the newest first, until somebody goes back to them", () => {
  const history = new History();
  const say = (number, kind, task, job = "w-1") => history.take({ job, number, kind, task, text: `${task}: ${kind}` });
  say(4, "done", "t-1");
  say(6, "skipped", "t-2");
  say(5, "turning", "t-2");
  assert.deepEqual(history.done("w-1").map(({ task }) => task), ["t-2", "t-1"]);
  say(7, "went-back", "t-1");
  say(4, "done", "t-1"); // told again
  assert.deepEqual(history.done("w-1").map(({ task }) => task), ["t-2"]);
  say(8, "done", "t-1");
  assert.equal(history.done("w-1")[0].task, "t-1");
  assert.deepEqual(history.done("w-2"), []);
  assert.deepEqual(history.done(null), []);
  say(1, "done", "t-9", "w-2");
  assert.deepEqual([history.done("w-1"), history.done("w-2").length], [[], 1]);
});

test("what is kept of a job is bounded, and no odd message enters", () => {
  const history = new History();
  for (let n = 0; n < MOST_TASKS + 50; n += 1) history.take({ job: "w", number: n, kind: "done", task: `t-${n}`, text: "" });
  assert.equal(history.done("w").length, MOST_TASKS);
  for (const odd of [{}, { job: "x" }, { job: 7, number: 1, kind: "done", task: "t" }, { job: "w", number: "1", kind: "done", task: "t" }]) history.take(odd);
  assert.equal(history.done("w").length, MOST_TASKS);
});

test("a page that just opened is connecting; then a connection is lost, or the service silent", () => {
  const known = new Known("bay1");
  assert.equal(known.outage(), "connecting");
  known.restart();
  assert.equal(known.outage(), "connecting");
  known.link.awaited = false; // two seconds later
  assert.equal(known.outage(), "no-service");
  known.lost();
  assert.equal(known.outage(), "no-connection");
  const never = new Known("bay1");
  never.lost();
  assert.equal(never.outage(), "no-connection");
});
