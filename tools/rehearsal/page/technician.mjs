// A technician who knows nothing but the page: opens it, leads a whole alignment, reads the report.
// Only clicks, types and reads what is visible, in the language of the page. Called with the page's
// address, the browser, the folder of tools, for how long to try, and the language.

import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { watched } from "./watching.mjs";

const [, , url, executablePath, tools, patience_s = "300", lang = "en"] = process.argv;
const { chromium } = createRequire(`${tools}/package.json`)("playwright-core");
const QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];
const LOOK_MS = 150;
const AS_IT_IS = "as near as its parts bring it";

const words = await (await fetch(new URL(`/words/${lang}.json`, url))).json();
const w = (key) => words[key];

const browser = await chromium.launch({ executablePath, args: QUIET });
const context = await browser.newContext({ viewport: { width: 1180, height: 820 } });
await context.addInitScript((settings) => localStorage.setItem("levelhead-display", settings), JSON.stringify({ lang, mark: lang === "en" ? "point" : "comma" }));
const page = await context.newPage(), seen = await watched(page);

const began = Date.now(), late = () => (Date.now() - began) / 1000;
const pause = (ms = LOOK_MS) => new Promise((done) => setTimeout(done, ms));
const read = async (where) => { const found = page.locator(where); return (await found.count()) ? (await found.first().innerText()).trim() : ""; };
const button = (key) => page.locator("#remote").getByRole("button", { name: w(key), exact: true });
const shown = async (key) => button(key).isVisible();
const view = async (name) => page.locator("#nav").getByRole("button", { name: w(`nav.${name}`), exact: true }).click();
const say = (line) => console.log(`${late().toFixed(0).padStart(4)} s  ${line}`);

/** Press a button of the remote; return what came of it, as the list under it says. */
async function press(key) {
  await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))); // a view that was just opened fills its list in a frame
  await page.locator(".asked li").evaluateAll((all) => all.forEach((each) => { each.dataset.read = "yes"; }));
  await button(key).click();
  const over = ["done", "refused", "no-answer", "unsent"].map((state) => words[`asked.${state}`]).join("|");
  const answer = page.locator(".asked li:not([data-read])").filter({ hasText: new RegExp(over) });
  await answer.waitFor({ timeout: 10000 });
  const text = (await answer.innerText()).trim();
  return { done: text.startsWith(words["asked.done"]), text: text.replace(/\s+/g, " ") };
}

/** Choose from a list of the form, once the choice is there. */
async function choose(id, value) {
  await page.locator(`#remote #${id} option[value="${value}"]`).waitFor({ state: "attached" });
  await page.locator(`#remote #${id}`).selectOption(value);
}

/** The number that is being set, and its decision, as the view shows them. */
async function figure() {
  await view("set");
  await pause();
  const last = await read(".set .last:visible"); // of what a sweep alone can tell
  const word = ["inside", "outside", "undecided"].map((dec) => w(`state.${dec}`)).find((each) => last.endsWith(each)) ?? (await read(".decision strong"));
  const found = { number: (last || (await read(".figure"))).replace(/\s+/g, " "), word };
  await view("now");
  return found;
}

/** Do what is advised unless the number is inside its limit; go on when it rests there. */
async function adjust() {
  let now = await figure();
  for (const from = late(); now.word === w("state.no-data") && late() - from < 20; now = await figure()) await pause(500); // it settles
  const advice = (await read("#view ul.act:visible")).replace(/\n/g, " / ");
  say(`set: ${now.number}, ${now.word}; ${advice || "no advice"}`);
  if (now.word === w("state.inside") || !advice) return finish();
  await press("ask.job-adjust");
  await view("set");
  if ((await read(".set .tag")) === w("set.next-sweep")) await pause(8000); // hands are at it, and no number tells
  else await comeHome();
  await view("now");
  now = await figure();
  say(`set: ${now.number}, ${now.word}`);
  return finish();
}

/** Wait until the number has moved and rests again, not outside. */
async function comeHome() {
  let moved = false, still = 0;
  for (const from = late(); still < 12 && late() - from < 40; await pause(250)) {
    const word = await read(".decision strong"), tag = await read(".set .tag");
    moved ||= tag === w("set.moving") || late() - from > 12;
    still = moved && tag === w("set.at-rest") && word !== w("state.outside") ? still + 1 : 0;
  }
}

/** Whether the page says why a sweep would be refused now. */
async function isHeld() {
  const is = await page.locator("#hold").isVisible();
  if (is) seen.held.add((await read("#view ul:not(.act):visible")).replace(/\n/g, "; "));
  return is;
}

/** Begin the sweep once nothing is said against it, nor a moment later; the button that is there is the one. */
async function sweep(begin) {
  if (await isHeld()) return;
  await pause(1200);
  if (await isHeld()) return;
  const begun = await press(begin);
  if (!begun.done) {
    say(begun.text);
    seen.surprises.add(begun.text);
    return;
  }
  const lines = new Set();
  for (const from = late(); late() - from < 90 && !lines.has(w("sweep.enough")); await pause()) {
    const line = await read("#view [role=status]:visible");
    if (line) lines.add(line);
  }
  say(`sweep: ${[...lines].join(" | ")}`);
  say(`sweep: ${(await press("ask.sweep-end")).text}`);
}

/** Say that the task is done; where a reason is asked for, give it. */
async function finish() {
  const answer = await press("ask.job-done");
  if (answer.done) return;
  say(answer.text);
  await pause(400);
  if (await page.locator("#reason").isVisible()) {
    const form = page.locator(".form"), title = (await form.locator("h3").innerText()).trim();
    seen.reasons.add(title);
    await page.locator("#reason").fill(AS_IT_IS);
    say(`reason given: ${(await press("form.accept")).text}`);
  } else await pause(1000);
}

async function step() {
  for (const begin of ["ask.sweep-begin", "form.sweep-stops"]) {
    if ((await shown(begin)) && !(await read("#view")).includes(w("sweep.done"))) return sweep(begin);
  }
  if (await shown("ask.job-adjust")) return adjust();
  if ((await read("#view")).includes(w("now.lacking"))) return pause(); // hands are at it
  return finish();
}

await page.goto(url);
await page.locator("#link", { hasText: w("link.online") }).waitFor();
const NOTE = /: ([a-z0-9-]+), \S+ ([a-z0-9-]+)\./; // which vehicle stands on the ramp, and its limits
await page.locator("#notes", { hasText: NOTE }).waitFor();
const note = await read("#notes"), [, vehicle, limits] = NOTE.exec(note);
say(note);
await choose("vehicle", vehicle);
await choose("limits", limits);
await page.locator("#remote").locator("#order").fill("118");
say((await press("ask.job-open")).text);
while (await shown("check.ok") || !(await shown("ask.job-begin"))) {
  if (await shown("check.ok")) await press("check.ok");
  await pause(50);
}
say((await press("ask.job-begin")).text);

for (let last = ""; !(await page.locator("#remote").getByRole("button", { name: w("ask.job-close"), exact: true }).isVisible()); await pause()) {
  assert.ok(late() < Number(patience_s), `stalled at: ${await read("#view")}\n${await read("#remote")}`);
  const title = await read("#view h2");
  if (title !== last) say(title);
  last = title;
  await seen.untold();
  if (await shown("ask.job-done")) await step();
}
await view("axles");
await pause();
say(await read("#view table"));
await view("now");
await button("ask.job-close").click();
await page.locator(".form").getByRole("button", { name: w("ask.job-close"), exact: true }).click();
await page.locator("#remote #vehicle").waitFor(); // the next job can be opened
say("job closed");

await view("papers");
const paper = page.locator("#view a", { hasText: /\.html$/ });
for (let tried = 0; tried < 60 && (await paper.count()) === 0; tried += 1) {
  await pause(500);
  await page.getByRole("button", { name: w("papers.again") }).click();
}
const [report] = await Promise.all([context.waitForEvent("page"), paper.first().click()]);
await report.waitForLoadState();
const text = await report.locator("body").innerText();
assert.match(text, /118/);
assert.match(text, /[Tt]oe/);
say(`report of ${text.length} characters: ${(await report.title()) || report.url()}`);
for (const [what, lines] of Object.entries(await seen.told())) for (const line of lines) say(`${what}: ${line}`);
console.log(JSON.stringify({ page_alone_s: Math.round(late()), ...(await seen.figures()) }));
await browser.close();
console.log("all held");
