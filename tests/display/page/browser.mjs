// The page in a real Chromium, fed by an independent MQTT client: every view and state on a phone,
// a tablet and a wall screen, hostile messages, a lost connection, requests and their answers.
// Called by test_page_in_a_browser.py with the page's address, the broker's port, the browser.

import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { readFileSync } from "node:fs";
import { EVIL, RESULT, sayBay } from "./madeup.mjs";

const [, , url, port, executablePath, tools] = process.argv;
const require = createRequire(`${tools}/package.json`);
const mqtt = require("mqtt"), { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const ROOT = "levelhead/v1/bay1";
const VIEWS = ["now", "turn", "set", "axles", "heads", "papers", "setup"];
const QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];

const service = await mqtt.connectAsync(`mqtt://127.0.0.1:${port}`, { protocolVersion: 4 });
const say = (topic, body, retain = true) => service.publishAsync(`${ROOT}/${topic}`, typeof body === "string" ? body : JSON.stringify(body), { retain });
const asked = [];
service.on("message", (topic, payload) => asked.push({ name: topic.split("/").at(-1), body: JSON.parse(payload) }));
await service.subscribeAsync(`${ROOT}/cmd/+`);

await sayBay(say);

const browser = await chromium.launch({ executablePath, args: QUIET });
const faults = [];
async function opened(width, height, settings = {}, more = {}) {
  const context = await browser.newContext({ viewport: { width, height }, ...more });
  await context.addInitScript((text) => localStorage.setItem("levelhead-display", text), JSON.stringify(settings));
  const page = await context.newPage();
  page.on("pageerror", (error) => faults.push(String(error)));
  page.on("console", (message) => { if (message.type() === "error" && !/WebSocket connection|ERR_CONNECTION/.test(message.text())) faults.push(message.text()); });
  await page.goto(url);
  await page.locator("#link", { hasText: /ONLINE|VERBUNDEN/ }).waitFor();
  return page;
}
const show = (page, name) => page.evaluate((view) => new Promise((done) => { location.hash = view; requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done, 30))); }), name);
const text = (page, where) => page.locator(where).innerText();
const until = (page, where, pattern, timeout = 8000) => page.locator(where).filter({ hasText: pattern }).first().waitFor({ timeout });

/** Whether the cautions of the step stand on the screen whole, wherever it is scrolled to. */
const cautions = (page) => page.evaluate(() => {
  const box = document.getElementById("cautions").getBoundingClientRect(), shown = [...document.querySelectorAll("#cautions li:not([hidden])")];
  return { whole: box.top >= 0 && box.bottom <= innerHeight + 0.5, lines: shown.length > 0 && shown.every((each) => { const own = each.getBoundingClientRect(); return own.height > 0 && own.top >= box.top && own.bottom <= innerHeight + 0.5; }) };
});

// Every view on every size, in both themes and both languages: nothing for axe, nothing beyond the edge.
const sizes = [[390, 844, {}, "light"], [1180, 820, { lang: "de", mark: "comma", angle: "min" }, "dark"], [1920, 1080, { distance_m: 5, px_per_mm: 2.7 }, "light"], [844, 390, { angle: "mm" }, "dark"]];
for (const [width, height, settings, colorScheme] of sizes) {
  const page = await opened(width, height, settings, { colorScheme });
  const judged = width < 1900 && height > 400; // axe takes most of the time: a phone and a tablet
  if (judged) await page.evaluate(axe); // by the debugger's door: the page itself lets no script in
  for (const view of VIEWS) {
    await show(page, view);
    const beyond = await page.evaluate(() => (document.documentElement.scrollWidth <= document.documentElement.clientWidth ? [] : [...document.querySelectorAll("body *")].filter((each) => each.getBoundingClientRect().right > innerWidth).map((each) => each.outerHTML.slice(0, 90))));
    assert.deepEqual(beyond, [], `${view} at ${width}x${height} is too wide`);
    if (["now", "turn", "set"].includes(view)) assert.deepEqual(await cautions(page), { whole: true, lines: true }, `cautions of ${view} at ${width}x${height}`);
    if (!judged) continue;
    const { violations } = await page.evaluate(() => globalThis.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] }));
    assert.deepEqual(violations.map((each) => `${view} ${width}: ${each.id}: ${each.nodes[0].html}`), []);
  }
  await page.context().close();
}

const page = await opened(1180, 820, { by: "Ines" });
assert.match(await text(page, "#who"), /you are the technician/);
assert.match(await text(page, "#link"), /newer \(1\.7\)/);

// Markup in a name is text; nothing of it ran or became an element.
assert.ok((await text(page, "#view h2")).includes("<script>"));
assert.equal(await page.title(), "levelhead");
assert.equal(await page.locator("#view img, #view script, #alerts img, #warnings img").count(), 0);

// Decisions by word and shape; a word that nobody knows shows nothing as good.
await show(page, "axles");
const row = (name) => page.locator("tr", { hasText: name });
for (const [name, word, shape] of [["axle 1 left", "INSIDE", "inside"], ["axle 1 right", "OUTSIDE", "outside"], ["axle 1, total toe", "UNDECIDED", "undecided"], ["axle 2, total toe", "NO DATA", "none"]]) {
  assert.match(await row(name).innerText(), new RegExp(word));
  assert.equal(await row(name).locator("use").getAttribute("href"), `#shape-${shape}`);
}
assert.match(await row("axle 1, total toe").innerText(), /\+0\.90°\s±\s0\.030°, OUTSIDE/);
assert.doesNotMatch(await row("axle 2, total toe").innerText(), /0\.4/);
for (const broken of ["{", "x".repeat(5000), "[]", JSON.stringify({ ...RESULT, value: EVIL })]) {
  await say("axle/1/left/camber", broken);
  await until(page, "tr", /axle 1 left.*NO DATA/s);
  await say("axle/1/left/camber", RESULT);
  await until(page, "tr", /axle 1 left.*INSIDE/s);
}

// A retained live value is the last known, and silent; a fresh one is live, then too old.
await show(page, "set");
const live = { ...RESULT, qty: undefined, task: "s1-6", topic: "axle/1/both/total-toe", value: 0.31, dec: "outside", lo: -0.1, hi: 0.1, moving: false, go: -0.31, todo: "Half a turn shorter.", ttl: 1 };
await say("axle/1/both/total-toe", "");
await say("job/live", live, false);
await until(page, ".figure", /\+0\.310°/);
await until(page, ".decision", /OUTSIDE/);
await until(page, ".figure.no-data", /–/, 4000);
assert.doesNotMatch(await text(page, ".figure"), /0\.310/);
await say("job/live", live, true);
const late = await opened(390, 844);
await show(late, "set");
await until(late, ".decision", /LAST KNOWN/);
assert.doesNotMatch(await text(late, ".decision"), /OUTSIDE/);
await late.context().close();

// From the newest sample to the screen, in the browser, 60 messages at 20 a second.
await page.evaluate(() => { globalThis.seen = new Map(); new MutationObserver(() => { const now = performance.timeOrigin + performance.now(); const value = document.querySelector(".figure .main").textContent.trim(); if (!globalThis.seen.has(value)) requestAnimationFrame(() => globalThis.seen.set(value, now)); }).observe(document.querySelector(".figure .main"), { childList: true, characterData: true, subtree: true }); });
const sent = new Map();
for (let i = 1; i <= 60; i += 1) {
  sent.set(`+0.${String(i + 100)}°`, performance.timeOrigin + performance.now());
  await say("job/live", { ...live, value: (i + 100) / 1000 }, false);
  await new Promise((done) => setTimeout(done, 50));
}
const seen = new Map(await page.evaluate(() => [...globalThis.seen]));
const delays = [...sent].filter(([value]) => seen.has(value)).map(([value, at]) => seen.get(value) - at).sort((a, b) => a - b);
console.log(JSON.stringify({ shown: delays.length, p50_ms: delays[delays.length >> 1], p95_ms: delays[Math.floor(0.95 * (delays.length - 1))] }));
assert.ok(delays.length >= 30);

// Requests: sent, done, refused with the reason, no answer; each bears an id, the task and the person.
await show(page, "now");
const press = (name) => page.getByRole("button", { name, exact: true }).click();
const request = async (name) => { for (let i = 0; i < 100; i += 1) { const found = asked.findLast((each) => each.name === name); if (found) { asked.length = 0; return found.body; } await new Promise((done) => setTimeout(done, 30)); } throw new Error(`no request ${name}`); };
await press("Done, next step");
await until(page, ".asked li", /SENT/);
assert.ok(await page.getByRole("button", { name: "Done, next step", exact: true }).isDisabled());
const first = await request("job-done");
assert.deepEqual([first.task, first.by, first.job], ["s1-6", "Ines", "w-118"]);
await service.publishAsync(first.reply_to, JSON.stringify({ id: first.id, ok: false, code: "not-settled", text: `axle 1 is not settled ${EVIL}` }));
await until(page, ".asked li", /REFUSED.*axle 1 is not settled <img/s);
await press("Leave out");
await page.locator("#reason").fill("seized");
await page.locator(".form").getByRole("button", { name: "Leave out" }).click();
const second = await request("job-skip");
assert.equal(second.reason, "seized");
await service.publishAsync(second.reply_to, JSON.stringify({ id: second.id, ok: true, code: "ok", text: "left out" }));
await until(page, ".asked li", /DONE.*left out/s);

// A job is opened by choosing from what the service offers; an id of one's own can still be written.
await say("svc/meta", { vehicles: [{ id: "rigid-8x4", name: "Pellowmere 17, rigid 8x4 tipper" }, { id: "odd", name: EVIL }, 7], limit_sets: [{ id: "general", name: "for want of better" }, { id: "pellowmere-17", name: "invented" }] });
await say("job/state", { job: null, phase: "none" });
await say("job/step", { job: null, task: "", title: "", axles: "", results: "", why: "" });
await say("job/guidance", { job: null, task: "", title: "open a job", text: "", lacks: "", asks: "job-open" });
await page.locator("#vehicle option", { hasText: "Pellowmere 17" }).waitFor({ state: "attached" });
await page.locator("#vehicle").selectOption({ label: "Pellowmere 17, rigid 8x4 tipper (rigid-8x4)" });
await page.locator("#limits").selectOption("pellowmere-17");
await page.locator("#order").fill("W-119");
await page.locator("#pairs").selectOption("3");
await press("Open a job");
const third = await request("job-open");
assert.deepEqual([third.vehicle, third.limits, third.order, third.load, third.pairs], ["rigid-8x4", "pellowmere-17", "W-119", "unladen", 3]);
await service.publishAsync(third.reply_to, JSON.stringify({ id: third.id, ok: false, code: "unknown-limits", text: "no limits" }));
await page.locator("#vehicle").selectOption("");
await page.locator("#vehicle-own").fill("sedgeby-9");
await say("svc/meta", { vehicles: [{ id: "rigid-8x4", name: "" }], limit_sets: [] }); // somebody adds and takes away meanwhile
await page.locator("#limits").waitFor({ state: "hidden" });
assert.deepEqual([await page.locator("#vehicle-own").inputValue(), await page.locator("#order").inputValue()], ["sedgeby-9", "W-119"]);
await page.locator("#limits-own").fill("general");
await press("Open a job");
const fourth = await request("job-open");
assert.deepEqual([fourth.vehicle, fourth.limits], ["sedgeby-9", "general"]);

// The service goes, and comes back; a head goes; the whole broker falls silent.
await say("svc/status", { state: "offline", boot: "b-1", why: "connection-lost" });
await until(page, "#banner", /the service is off/);
await show(page, "axles");
assert.doesNotMatch(await text(page, "#view tbody"), /INSIDE|OUTSIDE|UNDECIDED|0\.42/);
await say("svc/status", { state: "online", api: "2.0", boot: "b-1" });
await until(page, "#banner", /another version/);
await say("svc/status", { state: "online", api: "1.0", boot: "b-1" });
await page.locator("#banner").waitFor({ state: "hidden" });
console.log("ready to be cut off");
const cut = performance.now();
await until(page, "#banner", /connection lost/);
const took_ms = performance.now() - cut;
console.log(JSON.stringify({ lost_after_ms: Math.round(took_ms) }));
assert.doesNotMatch(await text(page, "#view tbody"), /INSIDE|OUTSIDE|UNDECIDED|0\.42/);
assert.deepEqual(faults, []);
assert.equal(await page.title(), "levelhead");
await browser.close();
await service.endAsync(true);
console.log("all held");
