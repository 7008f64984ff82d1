// Requests, the watch over the connection, the strip, the turn, the job, the tone, sizes, words.
import assert from "node:assert/strict";
import { readFileSync, readdirSync } from "node:fs";
import { test } from "node:test";
import { fieldsOf, guideOf } from "../../../ingest/display/page/core/guide.js";
import { Known } from "../../../ingest/display/page/core/known.js";
import { Leaf, PAGE_MS, pagesOf } from "../../../ingest/display/page/core/pages.js";
import { Requests } from "../../../ingest/display/page/core/requests.js";
import { MOST_POINTS, Ring } from "../../../ingest/display/page/core/ring.js";
import { checked, parsed, USUAL } from "../../../ingest/display/page/core/settings.js";
import { height_mm, NUMBER_MINUTES, sizes, TEXT_MINUTES } from "../../../ingest/display/page/core/size.js";
import { teller } from "../../../ingest/display/page/core/tell.js";
import { HIGH_HZ, LOW_HZ, toneOf } from "../../../ingest/display/page/core/tone.js";
import { curve, TurnPoints } from "../../../ingest/display/page/core/turnpoints.js";
import { Watch } from "../../../ingest/display/page/core/watch.js";

const PAGE = new URL("../../../ingest/display/page/", import.meta.url);

test("a request is sent, then done or refused with its reason; another's reply changes nothing", () => {
  let n = 0;
  const requests = new Requests(() => `d-${n++}`);
  const one = requests.begin("job-done", { task: "t" }, { replyTo: "r/me", by: "Ines" }, 0);
  assert.deepEqual(one.wire, { id: "d-0", reply_to: "r/me", by: "Ines", task: "t" });
  requests.reply({ id: "d-9", ok: true });
  assert.equal(one.state, "sent");
  requests.reply({ id: "d-0", ok: false, code: "not-ready", text: "axle 1 is not settled" });
  assert.deepEqual([one.state, one.text], ["refused", "axle 1 is not settled"]);
  requests.reply({ id: "d-0", ok: true });
  assert.equal(one.state, "refused");
});

test("a reply that does not say ok is no success", () => {
  const requests = new Requests(() => "d-1");
  const one = requests.begin("job-done", {}, {}, 0);
  requests.reply({ id: "d-1", ok: "true" });
  assert.equal(one.state, "refused");
});

test("without an answer it is asked again by the same id, and given up after five seconds", () => {
  const requests = new Requests(() => "d-1");
  const one = requests.begin("stop-take", { head: "larch" }, {}, 0);
  assert.deepEqual(requests.due(1999), []);
  assert.deepEqual(requests.due(2000), [one]);
  assert.deepEqual(requests.due(2100), []);
  assert.ok(requests.waiting("stop-take"));
  assert.deepEqual(requests.due(5000), []);
  assert.equal(one.state, "no-answer");
  assert.ok(!requests.waiting("stop-take"));
});

test("a silent connection is given up within two seconds, ticks included", () => {
  const watch = new Watch();
  watch.heard(0);
  let lostAt = null, pings = 0;
  for (let now = 0; now <= 3000 && lostAt === null; now += 250) {
    const { ping, lost } = watch.tick(now);
    pings += ping;
    if (lost) lostAt = now;
  }
  assert.ok(lostAt <= 2000 && pings >= 1, `lost at ${lostAt} after ${pings} pings`);
});

test("a connection that answers its pings is kept for ever", () => {
  const watch = new Watch();
  watch.heard(0);
  for (let now = 0; now < 60000; now += 250) {
    const { ping, lost } = watch.tick(now);
    assert.ok(!lost);
    if (ping) watch.heard(now + 40);
  }
});

test("a page that stood still says so, and asks before it believes", () => {
  const watch = new Watch();
  watch.heard(0);
  watch.tick(0);
  assert.deepEqual(watch.tick(60000), { ping: true, lost: false, slept: true });
  assert.ok(watch.tick(61000).ping || !watch.tick(61250).lost);
  assert.ok(watch.tick(61750).lost);
});

test("the strip holds thirty seconds, a gap where nothing was known, and starts anew for another value", () => {
  const ring = new Ring();
  for (let at = 0; at <= 40000; at += 100) ring.add("a", at, 1, 0.1);
  assert.ok(ring.points[0].at >= 10000);
  ring.add("a", 40100, null, null);
  ring.add("a", 40200, null, null);
  ring.add("a", 40300, 2, null);
  const [x, y, low, high] = ring.columns(40300);
  assert.deepEqual([y.at(-2), y.at(-1), low.at(-1), high.at(-1), x.at(-1)], [null, 2, null, null, 0]);
  assert.deepEqual([low[0], high[0]], [0.9, 1.1]);
  ring.add("b", 40400, 3, 0.1);
  assert.equal(ring.points.length, 1);
  for (let at = 0; at < 8 * 3600; at += 1) ring.add("b", 50000 + at, 1, 0.1);
  assert.ok(ring.points.length <= MOST_POINTS);
});

test("readings round the wheel are paired by their time, and bounded; a new turn begins anew", () => {
  const turns = new TurnPoints();
  const say = (channel, body, retained = false) => turns.take({ path: ["head", "larch", channel], body, fault: "", retained });
  say("runout", { id: "r1", state: "turning" });
  say("rotation", { value: 10, ms: 1000 });
  say("incl_y", { value: 0.3, ms: 1010 });
  say("rotation", { value: 20, ms: 2000 });
  say("incl_y", { value: 0.4, ms: 9000 });
  say("rotation", { value: 30, ms: 9000 }, true);
  assert.deepEqual(turns.of("larch"), [{ rotation: 10, tilt: 0.3 }]);
  say("runout", { id: "r1", state: "done" });
  say("rotation", { value: 40, ms: 9500 }); // let down and settled: no part of the turn
  say("incl_y", { value: 0.9, ms: 9500 });
  assert.equal(turns.of("larch").length, 1);
  say("runout", { id: "r2", state: "turning" });
  assert.deepEqual(turns.of("larch"), []);
  for (let i = 0; i < 20000; i += 1) { say("rotation", { value: i, ms: i }); say("incl_y", { value: i, ms: i }); }
  assert.ok(turns.of("larch").length <= 1500);
});

test("the fitted curve goes through readings that it was made from", () => {
  const points = Array.from({ length: 24 }, (_, i) => ({ rotation: 15 * i, tilt: 0.7 + 0.2 * Math.cos(((15 * i - 40) * Math.PI) / 180) }));
  const fitted = curve({ runout: 0.2, phase: 40 }, points);
  for (const { rotation, tilt } of points) assert.ok(Math.abs(fitted(rotation) - tilt) < 1e-9);
  assert.equal(curve({ runout: null, phase: 1 }, points), null);
});

test("only requests that are known are offered, for the task that is shown", () => {
  const known = new Known("bay1");
  known.restart();
  const say = (topic, body) => known.take({ topic: `levelhead/v1/bay1/${topic}`, payload: JSON.stringify(body), retained: true }, 0);
  say("svc/status", { state: "online", boot: "b" });
  say("job/step", { task: "t-3", axles: "2+3", results: "axle/2/both/total-toe" });
  say("job/guidance", { task: "t-3", title: "adjust", asks: "job-done+erase-disk+job-skip", lacks: "L1-L2; P-R3" });
  say("job/state", { job: "w-1", phase: "work", done: 2, of: 9 });
  const guide = guideOf(known);
  assert.deepEqual(guide.asks, ["job-done", "job-skip"]);
  assert.deepEqual(fieldsOf("job-skip", guide, { reason: "seized" }), { job: "w-1", task: "t-3", reason: "seized" });
  assert.deepEqual(fieldsOf("sweep-begin", guide), { axle: 2 });
  say("job/step", { task: "t-4" });
  assert.deepEqual(guideOf(known).asks, []); // step and guidance are of two tasks: wait for both
  known.lost();
  assert.deepEqual(guideOf(known).asks, []);
});

test("the tone rises as the value comes home, is steady there, and silent without data", () => {
  const at = (go, dec = "outside") => toneOf({ state: "live", body: { go, U: 0.01 }, dec });
  assert.ok(at(0.3).hz >= LOW_HZ && at(0.3).hz < at(0.1).hz && at(-0.1).hz === at(0.1).hz && at(0.1).hz < at(0.01).hz);
  assert.ok(at(0).hz === HIGH_HZ);
  assert.equal(at(0.005, "inside").beat_s, 0);
  assert.ok(at(0.005, "undecided").beat_s > 0);
  for (const state of ["no-data", "last-known", "stands"]) assert.equal(toneOf({ state, body: { go: 0, U: 0.01 }, dec: "inside" }), null);
});

test("stored settings are checked before they are used", () => {
  assert.deepEqual(parsed("{"), USUAL);
  assert.deepEqual(parsed(null), USUAL);
  assert.deepEqual(checked({ lang: "xx", angle: "min", px_per_mm: 1e9, diameter_mm: "5", by: 7 }), { ...USUAL, angle: "min" });
});

test("characters at 5 m are 44 mm and 29 mm high", () => {
  // 20 minutes of arc at 5 m = 29.1 mm (ISO 9241's preferred height, by h = 2 D tan(a / 2)); 44 mm is our own choice.
  assert.ok(Math.abs(height_mm(5, TEXT_MINUTES) - 29.1) < 0.05);
  assert.ok(Math.abs(height_mm(5, NUMBER_MINUTES) - 44) < 0.05);
  const screen = { ratio: 0.7, width_px: 10000, number_ems: 6 };
  const wall = sizes({ distance_m: 5, px_per_mm: 3 }, screen);
  assert.ok(Math.abs(wall.number_px * 0.7 - 132) < 0.2);
  assert.ok(Math.abs(wall.readable_m - 5) < 0.01);
  const phone = sizes({ distance_m: 5, px_per_mm: 6 }, { ...screen, width_px: 360 });
  assert.ok(phone.number_px * 6 <= 361 && phone.readable_m < 2);
});

test("every language has the same words, and every word that the page asks for by name is there", () => {
  const words = Object.fromEntries(readdirSync(new URL("words/", PAGE)).map((name) => [name, JSON.parse(readFileSync(new URL(`words/${name}`, PAGE), "utf8"))]));
  const keys = Object.keys(words["en.json"]).sort();
  assert.ok(keys.length > 200);
  for (const [name, own] of Object.entries(words)) {
    assert.deepEqual(Object.keys(own).sort(), keys, name);
    for (const key of keys) assert.deepEqual(own[key].match(/\{\w+\}/g)?.sort(), words["en.json"][key].match(/\{\w+\}/g)?.sort(), key);
  }
  const sources = ["views/", "core/", "./"].flatMap((folder) => readdirSync(new URL(folder, PAGE)).filter((name) => name.endsWith(".js")).map((name) => readFileSync(new URL(folder + name, PAGE), "utf8")));
  const asked = sources.flatMap((text) => [...text.matchAll(/tell\("([a-z.-]+)"/g)].map((found) => found[1]));
  assert.ok(asked.length > 60);
  for (const key of asked) assert.ok(keys.includes(key), key);
});

test("a word that is not known is read as it stands, and a value enters as text", () => {
  const tell = teller({ a: "{n} of {m}" }, { b: "fallback" });
  assert.deepEqual([tell("a", { n: "<b>", m: 2 }), tell("b"), tell("why.odd-thing"), tell("constructor")], ["<b> of 2", "fallback", "odd thing", "constructor"]);
});

test("text enters the page as text alone", () => {
  const folders = ["views/", "core/", "io/", "./"];
  const sources = folders.flatMap((folder) => readdirSync(new URL(folder, PAGE)).filter((name) => name.endsWith(".js")).map((name) => readFileSync(new URL(folder + name, PAGE), "utf8")));
  assert.ok(sources.length > 25);
  for (const text of sources) assert.doesNotMatch(text, /innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\b|new Function|DOMParser/);
});

test("a list is cut into pages that fit, and an item that is too high has a page of its own", () => {
  const boxes = (...heights) => heights.map((height, at) => ({ top: heights.slice(0, at).reduce((a, b) => a + b, 0), bottom: heights.slice(0, at + 1).reduce((a, b) => a + b, 0) }));
  assert.deepEqual(pagesOf(boxes(40, 40, 40), 100), [[0, 2], [2, 3]]);
  assert.deepEqual(pagesOf(boxes(40, 300, 40), 100), [[0, 1], [1, 2], [2, 3]]);
  assert.deepEqual([pagesOf([], 100), pagesOf(boxes(40, 40), 80)], [[], [[0, 2]]]);
});

test("pages turn by themselves until a person turns one", () => {
  const leaf = new Leaf();
  assert.deepEqual([0, PAGE_MS - 1, PAGE_MS, 2 * PAGE_MS, 3 * PAGE_MS].map((now) => leaf.of(3, now)), [0, 0, 1, 2, 0]);
  leaf.turn();
  assert.deepEqual([leaf.of(3, 4 * PAGE_MS), leaf.of(3, 40 * PAGE_MS), leaf.of(1, 40 * PAGE_MS)], [1, 1, 0]);
});
