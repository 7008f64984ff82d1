// What goes wrong round a page: a tablet's clock, two tabs, a head that goes, a broker that goes and
// comes back. Called with the page's address, the broker's port, the browser, the folder of tools.

import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { createInterface } from "node:readline";

const [, , url, port, executablePath, tools] = process.argv;
const require = createRequire(`${tools}/package.json`);
const mqtt = require("mqtt"), { chromium } = require("playwright-core");
const ROOT = "levelhead/v1/bay1";
const QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];

const service = await mqtt.connectAsync(`mqtt://127.0.0.1:${port}`, { protocolVersion: 4 });
const say = (topic, body, retain = true) => service.publishAsync(`${ROOT}/${topic}`, JSON.stringify(body), { retain });
const asked = [];
service.on("message", (_, payload) => asked.push(JSON.parse(payload)));
await service.subscribeAsync(`${ROOT}/cmd/+`);
const done = createInterface({ input: process.stdin })[Symbol.asyncIterator]();
const have = async (what) => { console.log(`please ${what}`); await done.next(); };

const RESULT = { qty: "camber", value: -0.423, unit: "deg", U: 0.059, k: 2, dp: 3, lo: -0.5, hi: 0.5, rule: "guard-u", dec: "inside", q: "good", why: "", ttl: 0 };
const READING = { value: 0.25, unit: "deg", U: 0.02, k: 2, dp: 3, dec: "none", q: "good", why: "", ttl: 3 };
const larch = (state) => say("head/larch/status", { state, axle: 1, side: "left", q: state === "online" ? "good" : "bad", why: state === "online" ? "" : "link-lost" });
await larch("online");
await say("axle/1/left/camber", RESULT);
await say("job/state", { job: "w-1", phase: "work", order: "1", vehicle: "made up", done: 0, of: 3 });
await say("job/step", { job: "w-1", task: "s1-1", doing: "settle", title: "settle axle 1", axles: "1", results: "", why: "" });
await say("job/guidance", { job: "w-1", task: "s1-1", title: "settle axle 1", text: "Roll it.", ready: true, lacks: "", asks: "job-done+job-back" });
await say("svc/status", { state: "online", api: "1.0", boot: "b-1", q: "good", why: "" });

const browser = await chromium.launch({ executablePath, args: QUIET });
const faults = [];
async function opened(context, view) {
  const page = await context.newPage();
  page.on("pageerror", (error) => faults.push(String(error)));
  await page.goto(`${url}#${view}`);
  await page.locator("#link", { hasText: "ONLINE" }).waitFor();
  return page;
}
const until = (page, where, pattern, timeout = 8000) => page.locator(where).filter({ hasText: pattern }).first().waitFor({ timeout });
const text = (page, where) => page.locator(where).innerText();

// A tablet whose clock is years off: what is live is live, and too old after its time, by its own count.
for (const years of [-7, 5]) {
  const context = await browser.newContext();
  await context.addInitScript((off_ms) => {
    const Own = Date;
    globalThis.Date = class extends Own { constructor(...given) { super(...(given.length ? given : [Own.now() + off_ms])); } static now() { return Own.now() + off_ms; } };
  }, years * 365.25 * 86400e3);
  const page = await opened(context, "heads");
  assert.equal(await page.evaluate(() => new Date().getFullYear()) - new Date().getFullYear(), years);
  await page.locator("summary", { hasText: "Readings" }).click();
  await say("head/larch/incl_y", { ...READING, ms: Date.now() }, false);
  await until(page, "article li", /\+0\.250/);
  await until(page, "article li", /NO DATA/);
  assert.doesNotMatch(await text(page, "article ul"), /0\.25/);
  await context.close();
}

// A head goes: it says so, and shows no reading; what was measured with it stands.
const context = await browser.newContext();
const page = await opened(context, "heads");
await page.locator("summary", { hasText: "Readings" }).click();
await say("head/larch/incl_y", { ...READING, ttl: 60 }, false);
await until(page, "article li", /\+0\.250/);
await larch("offline");
await until(page, "article .tag", /OFFLINE.*link to the head lost/);
await until(page, "article li", /NO DATA, head is off/);
assert.doesNotMatch(await text(page, "article ul"), /0\.25/);
await larch("online");

// Two tabs of one person: both are live, each hears the answer to its own request alone.
const other = await opened(context, "now");
await page.evaluate(() => { location.hash = "now"; });
const button = (tab) => tab.getByRole("button", { name: "Done, next step", exact: true });
await button(page).click();
await until(page, ".asked li", /SENT/);
while (asked.length === 0) await new Promise((next) => setTimeout(next, 20));
const [request] = asked;
await service.publishAsync(request.reply_to, JSON.stringify({ id: request.id, ok: true, code: "ok", text: "next: turn" }));
await until(page, ".asked li", /DONE.*next: turn/s);
assert.equal(await other.locator(".asked li").count(), 0);
await button(other).click();
await until(other, ".asked li", /SENT/);
while (asked.every((each) => each.reply_to === request.reply_to)) await new Promise((next) => setTimeout(next, 20));
for (const tab of [page, other]) assert.match(await text(tab, "#link"), /ONLINE/);

// The broker goes and comes back: no number meanwhile, then all that stands, by itself.
await page.evaluate(() => { location.hash = "axles"; });
await until(page, "tr", /axle 1 left.*INSIDE/s);
await have("cut");
for (const tab of [page, other]) await until(tab, "#banner", /connection lost/);
assert.doesNotMatch(await text(page, "#view tbody"), /INSIDE|0\.42/);
assert.equal(await button(other).count(), 0, "nothing can be asked for meanwhile");
await have("mend");
for (const tab of [page, other]) await tab.locator("#banner").waitFor({ state: "hidden", timeout: 15000 });
await until(page, "tr", /axle 1 left.*INSIDE/s);

assert.deepEqual(faults, []);
await browser.close();
await service.endAsync(true);
console.log("all held");
process.exit(0);
