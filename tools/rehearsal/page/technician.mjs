// A technician who knows nothing but the page: opens it, leads a whole alignment, reads the report.
// Only clicks, types and reads what is visible. Called with the page's address, the browser, the
// folder of tools, and for how long to try.

import assert from "node:assert/strict";
import { createRequire } from "node:module";

const [, , url, executablePath, tools, patience_s = "300"] = process.argv;
const require = createRequire(`${tools}/package.json`);
const { chromium } = require("playwright-core");
const QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];
const LOOK_MS = 150;

const browser = await chromium.launch({ executablePath, args: QUIET });
const context = await browser.newContext({ viewport: { width: 1180, height: 820 } });
const page = await context.newPage();
const faults = [], told = [], views = [];
page.on("pageerror", (error) => faults.push(String(error)));
page.on("console", (message) => { if (message.type() === "error") faults.push(message.text()); });
await page.addInitScript(() => { globalThis.banners = []; addEventListener("DOMContentLoaded", () => { const banner = document.getElementById("banner"); new MutationObserver(() => banner.hidden || globalThis.banners.push(banner.textContent)).observe(banner, { attributes: true, childList: true }); }); });

// When the number of a live value stood on the screen, after the newest sample that is in it: both by
// this host's clock. A task that is begun in a frame runs once that frame is painted.
await page.addInitScript(() => {
  globalThis.painted = [];
  const Own = globalThis.WebSocket;
  const look = ({ data }) => {
    const text = new TextDecoder("latin1").decode(data), at = text.lastIndexOf("/job/live{");
    if (at < 0) return;
    const { ms, lag_ms, value, dp } = JSON.parse(text.slice(at + 9, text.indexOf("}", at) + 1));
    if (value === null) return;
    requestAnimationFrame(() => {
      const { port1, port2 } = new MessageChannel();
      port1.onmessage = () => {
        const number = document.querySelector(".figure .main")?.textContent ?? "";
        if (number.includes(Math.abs(value).toFixed(dp))) globalThis.painted.push(performance.timeOrigin + performance.now() - ms - lag_ms);
      };
      port2.postMessage(0);
    });
  };
  globalThis.WebSocket = class extends Own { constructor(...all) { super(...all); this.addEventListener("message", look); } };
});

const began = Date.now(), late = () => (Date.now() - began) / 1000;
const pause = (ms = LOOK_MS) => new Promise((done) => setTimeout(done, ms));
const read = async (where) => { const found = page.locator(where); return (await found.count()) ? (await found.first().innerText()).trim() : ""; };
const shown = async (name) => page.locator("#remote").getByRole("button", { name, exact: true }).isVisible();
/** Press a button of the remote; return what came of it, as the list under it says. */
async function press(name) {
  await page.locator(".asked li").evaluateAll((all) => all.forEach((each) => { each.dataset.read = "yes"; }));
  await page.locator("#remote").getByRole("button", { name, exact: true }).click();
  const answer = page.locator(".asked li:not([data-read])").filter({ hasText: /DONE|REFUSED|NO ANSWER|NOT SENT/ });
  await answer.waitFor({ timeout: 10000 });
  return (await answer.innerText()).trim();
}
const view = async (name) => page.locator("#nav").getByRole("button", { name, exact: true }).click();
const say = (line) => { told.push(line); console.log(`${late().toFixed(0).padStart(4)} s  ${line}`); };

/** Choose from a list of the form, once the choice is there. */
async function choose(id, value) {
  await page.locator(`#remote #${id} option[value="${value}"]`).waitFor({ state: "attached" });
  await page.locator(`#remote #${id}`).selectOption(value);
}

/** The number that is being set, and its decision, as the view shows them. */
async function figure() {
  await view("Set");
  await pause();
  const read_ = { number: await read(".figure"), word: await read(".decision strong"), motion: await read(".set .tag") };
  await view("What now");
  return read_;
}

/** Do what is advised unless the number is inside its limit; go on when it rests there. */
async function adjust() {
  let seen = await figure();
  for (const from = late(); seen.word === "NO DATA" && late() - from < 20; seen = await figure()) await pause(500); // it settles
  const advice = (await read("#view ul.act:visible")).replace(/\n/g, " / ");
  say(`set: ${seen.number.replace(/\s+/g, " ")}, ${seen.word}; ${advice || "no advice"}`);
  if (seen.word === "INSIDE" || !advice) return press("Done, next step");
  await press("I begin to turn");
  await view("Set");
  if (/next sweep/.test(await read(".set .tag"))) await pause(8000); // hands are at it, and no number tells
  else await comeHome();
  views.push(await read("#view"));
  await view("What now");
  seen = await figure();
  say(`set: ${seen.number.replace(/\s+/g, " ")}, ${seen.word}`);
  return press("Done, next step");
}

/** Wait until the number has moved and rests again, not outside. */
async function comeHome() {
  let moved = false, still = 0;
  for (const from = late(); still < 12 && late() - from < 40; await pause(250)) {
    const word = await read(".decision strong"), tag = await read(".set .tag");
    moved ||= tag === "MOVING" || late() - from > 12;
    still = moved && tag === "AT REST" && word !== "OUTSIDE" ? still + 1 : 0;
  }
}

async function sweep() {
  const stops = /to the stops/.test(await read("#view"));
  const began_ = await press(stops ? "Begin the sweep, to the stops" : "Begin the sweep");
  if (!/DONE/.test(began_)) { say(`sweep: ${began_}`); await pause(1500); return began_; }
  const lines = new Set();
  for (let from = late(); late() - from < 90; await pause()) {
    const line = (await read("#view [role=status]:visible")).trim();
    if (line) lines.add(line);
    if (/end the sweep/.test(line)) break;
  }
  say(`sweep: ${[...lines].join(" | ")}`);
  const ended = await press("End the sweep");
  say(`sweep: ${ended}`);
  return ended;
}

async function step(title) {
  if (await shown("Begin the sweep") && !/The sweep is taken/.test(await read("#view"))) return sweep();
  if (await shown("I begin to turn")) return adjust();
  if (/Still lacking/.test(await read("#view"))) return ""; // hands are at it
  const answer = await press("Done, next step");
  if (/REFUSED/.test(answer) && (await page.locator("#reason").isVisible())) {
    say(`refused: ${answer}`);
    await page.locator("#reason").fill("as near as its parts bring it");
    return press("Accept as it is");
  }
  if (/REFUSED/.test(answer)) { say(`refused: ${title}: ${answer}`); await pause(1000); }
  return answer;
}

await page.goto(url);
await page.locator("#link", { hasText: "ONLINE" }).waitFor();
await page.locator("#notes", { hasText: /this ramp/ }).waitFor();
const note = await read("#notes");
say(note);
const [, vehicle, limits] = /this ramp: ([a-z0-9-]+), limits ([a-z0-9-]+)/.exec(note);
await choose("vehicle", vehicle);
await choose("limits", limits);
await page.locator("#remote").locator("#order").fill("118");
say(await press("Open a job"));
while (await shown("In order") || !(await shown("Begin the work"))) {
  if (await shown("In order")) await press("In order");
  await pause(50);
}
say(await press("Begin the work"));

let last = "";
while (!/close the job/i.test(await read("#view h2"))) {
  assert.ok(late() < Number(patience_s), `stalled at: ${await read("#view")}\n${await read("#remote")}`);
  const title = await read("#view h2");
  if (title !== last) say(title);
  last = title;
  if (await shown("Done, next step")) await step(title);
  await pause();
}
await view("Axles");
await pause();
say(await read("#view table"));
views.push(await read("#view"));
await view("What now");
await page.locator("#remote").getByRole("button", { name: "Close the job", exact: true }).click();
await page.locator(".form").getByRole("button", { name: "Close the job", exact: true }).click();
await page.locator("#view h2", { hasText: "job closed" }).waitFor();
say("job closed");

await view("Papers");
const paper = page.locator("#view a", { hasText: /\.html$/ });
for (let tried = 0; tried < 60 && (await paper.count()) === 0; tried += 1) {
  await pause(500);
  await page.getByRole("button", { name: "Look again" }).click();
}
const [report] = await Promise.all([context.waitForEvent("page"), paper.first().click()]);
await report.waitForLoadState();
const text = await report.locator("body").innerText();
assert.match(text, /118/);
assert.match(text, /[Tt]oe/);
say(`report of ${text.length} characters: ${(await report.title()) || report.url()}`);
const lost = new Set((await page.evaluate(() => globalThis.banners)).filter(Boolean)); // a starved machine is silent for seconds
if (lost.size > 0) say(`the page said: ${[...lost].join(" | ")}`);
assert.deepEqual(faults.filter((each) => !/WebSocket connection|ERR_CONNECTION/.test(each)), []);
const painted = (await page.evaluate(() => globalThis.painted)).sort((a, b) => a - b), at = (share) => painted[Math.floor(share * (painted.length - 1))];
if (painted.length > 0) console.log(JSON.stringify({ painted: painted.length, pixel_p50_ms: at(0.5), pixel_p95_ms: at(0.95) }));
await browser.close();
console.log(JSON.stringify({ page_alone_s: Math.round(late()), said_lost: lost.size }));
console.log("all held");
