// Hours of live data in a real Chromium: what its script and its elements take, mark after mark.
// Called with the page's address, the browser, the folder of tools, minutes in all, and between marks,
// and with the ms between live values.

import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { readFileSync } from "node:fs";

const [, , url, executablePath, tools, minutes, between, live = "100"] = process.argv;
const require = createRequire(`${tools}/package.json`);
const { chromium } = require("playwright-core");
const QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];

const browser = await chromium.launch({ executablePath, args: QUIET });
const page = await (await browser.newContext({ viewport: { width: 1180, height: 820 } })).newPage();
const faults = [];
page.on("pageerror", (error) => faults.push(String(error)));
page.on("console", (message) => { if (message.type() === "error") faults.push(message.text()); });
await page.addInitScript(readFileSync(new URL("inner.js", import.meta.url), "utf8"));
await page.goto(url);
const standing = () => page.evaluate(async () => { await globalThis.feed.pass(500, 500); return document.querySelector("#nav button") !== null; });
while (!(await standing())) await new Promise((done) => setTimeout(done, 50)); // its files come in real time

await page.evaluate((live) => {
  const HEADS = ["alder", "birch", "cedar", "dogwood"], CHANNELS = ["incl_x", "incl_y", "rotation", "azimuth_cross", "azimuth_track"];
  const RESULT = { value: -0.423, unit: "deg", U: 0.059, k: 2, dp: 3, lo: -0.5, hi: 0.5, rule: "guard-u", dec: "inside", q: "good", why: "", ttl: 0 };
  const VIEWS = ["now", "turn", "set", "axles", "heads", "setup", "set", "set"];
  const feed = globalThis.feed, wave = (now, by) => Number((0.4 * Math.sin(now / by)).toFixed(3));
  let boots = 0, events = 0;

  /** What a page hears when it comes, or when the service does. */
  feed.greet = () => {
    boots += 1;
    feed.say("svc/status", { state: "online", api: "1.0", boot: `b-${boots}`, q: "good", why: "" }, true);
    HEADS.forEach((head, at) => {
      feed.say(`head/${head}/status`, { state: "online", axle: 1 + (at >> 1), side: at % 2 ? "right" : "left", q: "good", why: "" }, true);
      feed.say(`cal/${head}/latest`, { id: `cal-${at}`, issued: "2026-10-26", due: "2027-10-26", q: "good", why: "" }, true);
    });
    for (const axle of [1, 2]) for (const side of ["left", "right"]) for (const qty of ["camber", "toe", "caster"]) feed.say(`axle/${axle}/${side}/${qty}`, { ...RESULT, qty }, true);
    feed.say("job/state", { job: "w-118", phase: "work", order: "W-118", vehicle: "rigid 4x2", done: 5, of: 18 }, true);
  };
  const steps = {
    [live]: (now) => {
      feed.say("job/live", { ...RESULT, topic: "axle/1/both/total-toe", task: "s1-6", value: wave(now, 5000), moving: now % 20000 < 9000, go: 0.1, todo: "Half a turn shorter.", ttl: 1, lag_ms: 100 });
      for (const head of HEADS.slice(0, 2)) for (const channel of ["incl_y", "rotation"]) feed.say(`head/${head}/${channel}`, { value: channel === "rotation" ? (now / 50) % 360 : wave(now, 900), ms: now, U: 0.02, k: 2, dp: 3, unit: "deg", q: "good", why: "", dec: "none", ttl: 3 });
    },
    1000: (now) => {
      for (const head of HEADS) {
        feed.say(`head/${head}/link`, { link: "serial", rate_hz: 50, lost: Math.round(now / 1e4), batt_pct: 60 + 20 * Math.sin(now / 1e6), q: "good", why: "", ttl: 5 });
        for (const channel of CHANNELS) feed.say(`head/${head}/${channel}`, { value: wave(now, 3000), U: 0.02, k: 2, dp: 3, unit: "deg", q: "good", why: "", dec: "none", ttl: 3 });
      }
      feed.say("job/advice", { task: "s1-6", text: `Tie rod: ${(now % 7000) / 1000} turns shorter.` }, true);
      feed.say("axle/1/both/total-toe", { ...RESULT, qty: "total-toe", value: wave(now, 60000), q: now % 3e5 < 1e5 ? "stale" : "good" }, true);
    },
    30000: (now) => {
      const n = Math.floor(now / 30000);
      feed.say("head/alder/runout", { id: `r-${n >> 1}`, state: n % 2 ? "done" : "turning", n: 4, arc: 300, camber: 0.2, camber_U: 0.02, k: 2, runout: 0.1, runout_U: 0.01, phase: 40, phase_U: 5, dp: 3, further: 0, q: "good", why: "", ttl: 0 });
      feed.say("job/step", { job: "w-118", task: `s1-${n % 9}`, doing: n % 2 ? "adjust" : "turn", title: `step ${n}`, axles: "1", results: "axle/1/both/total-toe", why: "" }, true);
      feed.say("job/guidance", { job: "w-118", task: `s1-${n % 9}`, title: `step ${n}`, text: "Turn the tie rod.", ready: true, lacks: "", asks: "job-done+job-skip+job-back" }, true);
      events += 1;
      feed.say("evt/job", { job: "w-118", number: events, by: "ines", kind: "done", task: `s1-${n % 9}`, text: `step ${n}: done`, again: false });
      feed.say(`svc/alert/code-${n % 5}`, { level: "warning", text: `made up ${n}`, head: "alder" }, true);
      if (n % 2) for (let code = 0; code < 5; code += 1) feed.clear(`svc/alert/code-${code}`);
      location.hash = VIEWS[n % VIEWS.length];
    },
    3000000: () => feed.cut(), // the broker restarts after 50 min: the page comes back by itself
  };
  feed.clear = (topic) => feed.say(topic, null, true);
  feed.step = (now) => {
    if (feed.greeted) { feed.greeted = false; feed.greet(); }
    for (const [every, act] of Object.entries(steps)) if (now % Number(every) === 0) act(now);
  };
}, live);
const session = await page.context().newCDPSession(page);
await session.send("Performance.enable");
const marks = [];
const began = Date.now();
const pass = (ms) => page.evaluate(([ms, step]) => globalThis.feed.pass(ms, step, globalThis.feed.step), [ms, Number(live)]);
await pass(15000); // marks fall between two changes of the view
for (let at = Number(between); at <= Number(minutes); at += Number(between)) {
  await pass(Number(between) * 60000);
  for (let times = 0; times < 2; times += 1) await session.send("HeapProfiler.collectGarbage");
  const { metrics } = await session.send("Performance.getMetrics"), of = (name) => metrics.find((each) => each.name === name).value;
  marks.push({ minutes: at, heap_kB: Math.round(of("JSHeapUsedSize") / 1000), nodes: of("Nodes"), listeners: of("JSEventListeners"), view: await page.evaluate(() => location.hash) });
  console.log(JSON.stringify({ mark: marks.at(-1), real_s: Math.round((Date.now() - began) / 1000) }));
}
assert.match(await page.locator("#link").innerText(), /ONLINE/);
const messages = await page.evaluate(() => globalThis.feed.messages);
assert.ok(messages > 24 * 60 * Number(minutes), "too little was heard");
assert.deepEqual(faults, []);
console.log(JSON.stringify({ messages, marks }));
await browser.close();
console.log("all held");
