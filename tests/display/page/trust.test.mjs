// What may be believed: the four rules of staleness, hostile payloads, words that nobody knows.
import assert from "node:assert/strict";
import { test } from "node:test";
import { Known, MOST_TOPICS } from "../../../ingest/display/page/core/known.js";
import { MOST_BYTES, cleaned, pathOf, readBody } from "../../../ingest/display/page/core/read.js";
import { trust } from "../../../ingest/display/page/core/trust.js";

const ROOT = "levelhead/v1/bay1";
const READING = { value: 0.5, U: 0.02, k: 2, dp: 3, unit: "deg", q: "good", why: "", dec: "none", ttl: 2 };
const RESULT = { ...READING, ttl: 0, lo: 0, hi: 1, dec: "inside" };
const bytes = (body) => new TextEncoder().encode(typeof body === "string" ? body : JSON.stringify(body));

function heard(...messages) {
  const known = new Known("bay1");
  known.restart();
  say(known, "svc/status", { state: "online", boot: "b-1", api: "1.0" }, true);
  say(known, "head/larch/status", { state: "online", axle: 1, side: "left", q: "good" }, true);
  for (const [topic, body, retained = false, at = 0] of messages) say(known, topic, body, retained, at);
  return known;
}

function say(known, topic, body, retained = false, at = 0) {
  return known.take({ topic: `${ROOT}/${topic}`, payload: bytes(body), retained }, at);
}

test("a fresh reading is live until its ttl is over by the reader's own clock", () => {
  const known = heard(["head/larch/incl_y", READING, false, 1000]);
  assert.equal(known.value("head/larch/incl_y", 3000).state, "live");
  assert.equal(known.value("head/larch/incl_y", 3001).state, "no-data");
});

test("rule a: without the service nothing stands, results neither", () => {
  const known = heard(["head/larch/incl_y", READING], ["axle/1/left/camber", RESULT]);
  say(known, "svc/status", { state: "offline", boot: "b-1", why: "connection-lost" });
  for (const key of ["head/larch/incl_y", "axle/1/left/camber"]) {
    assert.deepEqual([known.value(key, 0).state, known.value(key, 0).dec], ["no-data", "none"]);
  }
});

test("rule b: a head that is off takes its readings along, and no result", () => {
  const known = heard(["head/larch/incl_y", READING], ["axle/1/left/camber", RESULT]);
  say(known, "head/larch/status", { state: "offline", q: "bad" });
  assert.equal(known.value("head/larch/incl_y", 0).why, "head-offline");
  assert.equal(known.value("axle/1/left/camber", 0).dec, "inside");
});

test("rule d: a retained reading is the last known, however new, until a fresh one comes", () => {
  const known = heard(["head/larch/incl_y", READING, true]);
  assert.equal(known.value("head/larch/incl_y", 0).state, "last-known");
  assert.equal(known.value("head/larch/incl_y", 1e9).state, "last-known");
  say(known, "head/larch/incl_y", READING, false, 5);
  assert.equal(known.value("head/larch/incl_y", 6).state, "live");
});

test("a message that does not say whether it is retained counts as retained", () => {
  const known = heard();
  known.take({ topic: `${ROOT}/head/larch/incl_y`, payload: bytes(READING) }, 0);
  assert.equal(known.value("head/larch/incl_y", 0).state, "last-known");
});

test("a retained value that is adjusted shows no decision", () => {
  const known = heard(["job/live", { ...RESULT, ttl: 1, go: 0.1 }, true]);
  assert.deepEqual([known.value("job/live", 0).state, known.value("job/live", 0).dec], ["last-known", "none"]);
});

test("after sleep nothing that was live is so any more; results stand", () => {
  const known = heard(["head/larch/incl_y", READING], ["axle/1/left/camber", RESULT]);
  known.slept();
  assert.equal(known.value("head/larch/incl_y", 0).state, "last-known");
  assert.equal(known.value("axle/1/left/camber", 0).state, "stands");
});

test("a lost connection is no data at once, and a new one forgets what was taken back meanwhile", () => {
  const known = heard(["axle/1/left/camber", RESULT]);
  known.lost();
  assert.equal(known.value("axle/1/left/camber", 0).why, "no-connection");
  known.restart();
  assert.equal(known.value("axle/1/left/camber", 0).why, "no-service");
});

test("the late farewell of an earlier start is not believed", () => {
  const known = heard();
  say(known, "svc/status", { state: "offline", boot: "b-0", why: "connection-lost" });
  assert.equal(known.outage(), "");
});

test("another major version is not read; a newer minor one is", () => {
  const known = heard();
  say(known, "svc/status", { state: "online", boot: "b-1", api: "2.0" });
  assert.equal(known.outage(), "other-version");
  say(known, "svc/status", { state: "online", boot: "b-1", api: "1.7", more: 1 });
  assert.equal(known.outage(), "");
});

test("words that nobody knows count as the worst", () => {
  const odd = (some) => heard(["axle/1/left/camber", { ...RESULT, ...some }]).value("axle/1/left/camber", 0);
  assert.equal(odd({ q: "splendid" }).state, "no-data");
  assert.equal(odd({ dec: "perfect" }).dec, "none");
  assert.equal(odd({ U: null }).dec, "none");
  assert.equal(odd({ k: null }).dec, "none");
  assert.equal(odd({ ttl: "2" }).state, "no-data");
  assert.equal(odd({ ttl: -1 }).state, "no-data");
  assert.equal(odd({ value: "0.5" }).state, "no-data");
  const known = heard(["head/larch/incl_y", READING]);
  say(known, "head/larch/status", { state: "splendid" });
  assert.equal(known.headState("larch"), "offline");
});

test("undecided is undecided", () => {
  const known = heard(["axle/1/left/camber", { ...RESULT, dec: "undecided" }]);
  assert.equal(known.value("axle/1/left/camber", 0).dec, "undecided");
});

test("a payload that is broken takes the place of the good one before it", () => {
  for (const payload of ["{", "[1]", "null", "7", `{"a":"${"x".repeat(MOST_BYTES)}"}`]) {
    const known = heard(["axle/1/left/camber", RESULT]);
    say(known, "axle/1/left/camber", payload);
    assert.deepEqual([known.value("axle/1/left/camber", 0).state, known.value("axle/1/left/camber", 0).why], ["no-data", "unreadable"]);
  }
  assert.equal(readBody(new Uint8Array([0xff, 0xfe, 0x7b]), false).fault, "not-text");
});

test("nothing in a payload reaches an object's prototype, and nested values are left out", () => {
  const { body } = readBody('{"__proto__":{"polluted":1},"constructor":"x","deep":{"a":1},"list":[1],"n":1}', false);
  assert.equal({}.polluted, undefined);
  assert.equal(body.deep, undefined);
  assert.equal(body.list, undefined);
  assert.deepEqual([body.n, body.constructor], [1, "x"]);
});

test("a value in a unit that nobody knows cannot be trusted, and carries no decision", () => {
  for (const unit of ["furlong", "", null, 7, "toString", undefined]) {
    const known = heard(["axle/1/left/camber", { ...RESULT, unit }]);
    const { state, why, dec } = known.value("axle/1/left/camber", 0);
    assert.deepEqual([state, why, dec], ["no-data", "bad", "none"]);
  }
});

test("a text keeps its markup as text, and loses what hides in it", () => {
  assert.equal(cleaned("<img src=x onerror=alert(1)>"), "<img src=x onerror=alert(1)>");
  assert.equal(cleaned("12\u202e34\u0000\u200b5"), "12 34  5");
  assert.equal(cleaned("x".repeat(5000)).length, 1001);
});

test("topics of others, too deep or odd, are none of ours", () => {
  for (const topic of ["", "a/b", "levelhead/v2/bay1/svc/status", "levelhead/v1/bay1/svc", "levelhead/v1/bay1/HEAD/x", `levelhead/v1/bay1/${"a/".repeat(9)}b`, "levelhead/v1/../svc/status"]) assert.equal(pathOf(topic), null);
});

test("what is kept is bounded, and an empty message clears its topic", () => {
  const known = heard(["axle/1/left/camber", RESULT]);
  for (let i = 0; i < MOST_TOPICS + 50; i += 1) say(known, `axle/1/left/q${i}`, RESULT);
  assert.equal(known.entries.size, MOST_TOPICS);
  assert.ok(known.left >= 50);
  say(known, "axle/1/left/camber", "");
  assert.equal(known.get("axle/1/left/camber"), null);
});

test("a head's trust needs no agreement of clocks", () => {
  const entry = { body: { ...READING, ms: 4e12 }, retained: false, at: 10, fault: "" };
  assert.equal(trust(entry, { out: "", head: "online", now: 11 }).state, "live");
});
