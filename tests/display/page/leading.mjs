// Steps that are refused, or would be: as found that lacks what is adjusted later, a sweep begun too
// early, a sweep to the stops; in both languages. Called as browser.mjs is; the messages come from an
// MQTT client that is none of ours.

import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { readFileSync } from "node:fs";

const [, , url, port, executablePath, tools] = process.argv;
const require = createRequire(`${tools}/package.json`);
const mqtt = require("mqtt"), { chromium } = require("playwright-core");
const ROOT = "levelhead/v1/bay1", PAGE = new URL("../../../ingest/display/page/words/", import.meta.url);
const QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];
/** As the service says it (tests/job/course/test_due.py). */
const NOT_FOUND = "vehicle/parallelism is to be adjusted later, and is not settled yet; wait, look at its heads and sightlines, or give the reason why it is left as it is";

const service = await mqtt.connectAsync(`mqtt://127.0.0.1:${port}`, { protocolVersion: 4 });
const say = (topic, body) => service.publishAsync(`${ROOT}/${topic}`, JSON.stringify(body), { retain: true });
const answer = (asked, body) => service.publishAsync(asked.reply_to, JSON.stringify({ id: asked.id, ...body }));
const heard = [], taken = new Set(); // what is not answered in time is sent once more, under the same id
service.on("message", (topic, payload) => heard.push({ name: topic.split("/").at(-1), ...JSON.parse(payload) }));
await service.subscribeAsync(`${ROOT}/cmd/+`);
async function request(name) {
  for (let tried = 0; tried < 200; tried += 1) {
    const found = heard.findLast((each) => each.name === name && !taken.has(each.id));
    heard.length = 0;
    if (found) {
      taken.add(found.id);
      return found;
    }
    await new Promise((done) => setTimeout(done, 30));
  }
  throw new Error(`no request ${name}`);
}
async function step(task, doing, told) {
  await say("job/step", { job: "w-118", task, doing, title: task, axles: "1", results: "", why: "", stops: told.stops ?? false });
  await say("job/guidance", { job: "w-118", task, title: task, text: "", lacks: "", waits: "", ready: true, ...told });
}
await say("job/state", { job: "w-118", phase: "work", order: "W-118", vehicle: "made up", done: 5, of: 18 });
await say("svc/status", { state: "online", api: "1.0", boot: "b-1", q: "good", why: "" });

const browser = await chromium.launch({ executablePath, args: QUIET });
const faults = [];
for (const lang of ["en", "de"]) {
  const words = JSON.parse(readFileSync(new URL(`${lang}.json`, PAGE), "utf8"));
  const context = await browser.newContext({ viewport: { width: 390, height: 844 } }); // the remote is a phone
  await context.addInitScript((settings) => localStorage.setItem("levelhead-display", settings), JSON.stringify({ lang }));
  const page = await context.newPage();
  page.on("pageerror", (error) => faults.push(String(error)));
  await page.goto(url);
  await page.locator("#link", { hasText: words["link.online"] }).waitFor();
  const button = (key) => page.locator("#remote").getByRole("button", { name: words[key], exact: true });
  const usual = async () => page.locator("#remote .row:last-of-type button.usual").allInnerTexts();

  // What is adjusted later was not measured: the reason is asked for at once, in words, and is sent.
  await step("s1-5", "find", { asks: "job-done+job-skip+job-back+job-replan" });
  for (const again of [false, true]) {
    await button("ask.job-done").click();
    const asked = await request("job-done");
    assert.equal(asked.note, undefined);
    await answer(asked, { ok: false, code: "not-found", text: NOT_FOUND });
    await page.locator(".form h3", { hasText: words["form.not-found"] }).waitFor();
    const refused = page.locator(".asked li").filter({ hasText: words["asked.refused"] }).first();
    assert.equal(await refused.locator('[data-own]:not([data-own=""])').count(), 0, await refused.innerText());
    if (!again) await button("form.leave").click(); // to wait is the other way: then nothing is open
    if (!again) await page.locator("#reason").waitFor({ state: "detached" });
  }
  await button("form.accept").click(); // without a reason nothing goes out
  await page.locator("#reason:focus").waitFor();
  await page.locator("#reason").fill("a tank hides it");
  await button("form.accept").click();
  const reasoned = await request("job-done");
  assert.deepEqual([reasoned.note, reasoned.task], ["a tank hides it", "s1-5"]);
  await answer(reasoned, { ok: true, code: "ok", text: "noted" });
  await page.locator("#reason").waitFor({ state: "detached" });

  // A sweep that would be refused says so before, and is not the usual thing to do; then it is.
  const asks = "sweep-begin+sweep-end+job-done+job-skip";
  await step("s1-8", "sweep", { asks, ready: false, lacks: "axle/1/left/caster", waits: "rest of axle 1 left; run-out of axle 1 right" });
  await page.locator("#view h3", { hasText: words["now.before-sweep"] }).waitFor();
  assert.equal((await page.locator("#hold").innerText()).trim(), words["sweep.not-yet"]);
  assert.equal(await page.locator("#view li:visible").count(), 2);
  await page.evaluate(() => { location.hash = "set"; }); // there the remote says what is lacking
  await page.locator("#hold li:visible").nth(1).waitFor();
  assert.equal(await page.locator('#hold [data-own]:not([data-own=""])').count(), 0);
  await page.evaluate(() => { location.hash = "now"; });
  await page.locator("#view h3", { hasText: words["now.before-sweep"] }).waitFor();
  assert.deepEqual(await usual(), []);
  assert.equal(await button("ask.sweep-begin").getAttribute("aria-describedby"), "hold");
  await step("s1-8", "sweep", { asks, ready: false, lacks: "axle/1/left/caster" });
  await page.locator("#hold").waitFor({ state: "hidden" });
  assert.deepEqual(await usual(), [words["ask.sweep-begin"]]);
  assert.equal(await button("form.sweep-stops").count(), 0);
  await button("ask.sweep-begin").click();
  const begun = await request("sweep-begin");
  assert.equal(begun.stops, undefined);
  await answer(begun, { ok: false, code: "head-moving", text: "larch is still moving; hold for 2 s, try again" });
  await page.locator(".asked li", { hasText: words["asked.refused"] }).first().waitFor();

  // A sweep that is to go to the stops: that button is the one, and says so to the service.
  await step("s1-9", "resweep", { asks, ready: false, lacks: "axle/1/left/lock-angle", stops: true });
  await button("form.sweep-stops").waitFor();
  assert.deepEqual(await usual(), [words["form.sweep-stops"]]);
  assert.equal(await button("ask.sweep-begin").count(), 0);
  await button("form.sweep-stops").click();
  assert.deepEqual(await request("sweep-begin").then(({ axle, stops }) => [axle, stops]), [1, true]);
  await context.close();
}
assert.deepEqual(faults, []);
await browser.close();
await service.endAsync(true);
console.log("all held");
