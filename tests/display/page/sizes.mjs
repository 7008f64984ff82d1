// How large things are: on a wall screen all that is read from 5 m has characters of 29 mm (20 minutes of
// arc, ISO 9241), a page at a time; a finger finds 44 px (WCAG 2.5.5) on every screen; no word of the
// ways to the views is broken. Called as browser.mjs is.

import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { readFileSync } from "node:fs";
import { sayBay } from "./madeup.mjs";

const [, , url, port, executablePath, tools] = process.argv;
const require = createRequire(`${tools}/package.json`);
const mqtt = require("mqtt"), { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];
const VIEWS = ["now", "turn", "set", "axles", "heads", "papers", "setup"];
const LEAST_MM = 28.5, LEAST_PX = 44, PX_PER_MM = 1.6;

const service = await mqtt.connectAsync(`mqtt://127.0.0.1:${port}`, { protocolVersion: 4 });
await sayBay((topic, body, retain = true) => service.publishAsync(`levelhead/v1/bay1/${topic}`, JSON.stringify(body), { retain }));
const browser = await chromium.launch({ executablePath, args: QUIET });
const faults = [];
async function opened(width, height, settings) {
  const context = await browser.newContext({ viewport: { width, height } });
  await context.addInitScript((text) => localStorage.setItem("levelhead-display", text), JSON.stringify(settings));
  const page = await context.newPage();
  page.on("pageerror", (error) => faults.push(String(error)));
  await page.goto(url);
  await page.locator("#link", { hasText: /ONLINE|VERBUNDEN/ }).waitFor();
  return page;
}
const show = (page, name) => page.evaluate((view) => new Promise((done) => { location.hash = view; requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done, 50))); }), name);

// Wherever somebody can press: large enough, and no word of the ways to the views in two pieces.
for (const [width, height, more] of [[390, 844, {}], [844, 390, {}], [820, 1180, { distance_m: 1, px_per_mm: 5.2 }], [1920, 1080, { distance_m: 5, px_per_mm: PX_PER_MM }]]) {
  for (const lang of ["en", "de"]) {
    const page = await opened(width, height, { lang, ...more });
    for (const view of VIEWS) {
      await show(page, view);
      const found = await page.evaluate((least) => {
        const there = [...document.querySelectorAll("button, select, input, summary, .papers a")].filter((each) => each.checkVisibility());
        const small = there.filter((each) => { const box = each.getBoundingClientRect(); return box.width < least - 0.01 || box.height < least - 0.01; });
        const broken = [...document.querySelectorAll("#nav button")].filter((each) => {
          const text = each.firstChild, parts = [...text.data.matchAll(/\S+/g)];
          return each.scrollWidth > each.clientWidth || parts.some(({ 0: word, index }) => { const range = document.createRange(); range.setStart(text, index); range.setEnd(text, index + word.length); return range.getClientRects().length > 1; });
        });
        return { there: there.length, small: small.map((each) => each.outerHTML), broken: broken.map((each) => each.textContent) };
      }, LEAST_PX);
      assert.ok(found.there >= 2);
      assert.deepEqual([found.small, found.broken], [[], []], `${view}, ${lang}, ${width}x${height}`);
    }
    await page.context().close();
  }
}

// At 5 m: where it stands, which view it is, what may be asked, and all that is asked for, at full size.
const far = await opened(1920, 1080, { distance_m: 5, px_per_mm: PX_PER_MM });
const digit = await far.evaluate(() => { const at = document.createElement("canvas").getContext("2d"); at.font = "200px system-ui, 'DejaVu Sans', sans-serif"; return at.measureText("0").actualBoundingBoxAscent / 200; });
const mm = (px) => (px * digit) / PX_PER_MM;
const READ = { now: "#bay, #link .tag, #nav button, main h2, main p, #remote button, #cautions li, #cautions button", turn: "#nav button, main h2, main p, main button", set: "#nav button, main h2, .figure .main, .decision strong, .tag", axles: "#nav button, main h2, main button", heads: "#nav button, main h2, main dt, main dd" };
for (const [view, where] of Object.entries(READ)) {
  await show(far, view);
  const seen = await far.evaluate((selector) => [...document.querySelectorAll(selector)].filter((each) => each.checkVisibility() && each.textContent.trim()).map((each) => ({ what: each.outerHTML.slice(0, 80), px: parseFloat(getComputedStyle(each).fontSize) })), where);
  assert.ok(seen.length > 3, view);
  assert.deepEqual(seen.filter(({ px }) => mm(px) < LEAST_MM).map(({ what, px }) => `${what}: ${mm(px).toFixed(1)} mm`), [], view);
}

// Nothing for axe by WCAG 2.2 AA there either (phone and tablet: browser.mjs), the other views asked for or not.
await far.evaluate(axe);
for (const view of VIEWS) {
  await show(far, view);
  if (view === "setup") await far.locator("#nav [aria-expanded]").click();
  const { violations } = await far.evaluate(() => globalThis.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] }));
  assert.deepEqual(violations.map((each) => `${view}: ${each.id}: ${each.nodes[0].html}`), []);
}
await far.locator("#nav [aria-expanded]").click();

// The other views are there once they are asked for, and go when one is chosen.
await show(far, "now");
const ways = far.locator("#nav button");
assert.equal(await ways.count(), 2);
await ways.last().click();
await ways.nth(VIEWS.length).waitFor();
assert.equal(await ways.last().getAttribute("aria-expanded"), "true");
await ways.nth(3).click();
await ways.nth(2).waitFor({ state: "detached" });

// Results come a page at a time, and every row in its turn.
const rows = () => far.evaluate(() => [...document.querySelectorAll("tbody tr:not([hidden])")].map((each) => ({ name: each.firstChild.textContent, bottom: each.getBoundingClientRect().bottom, px: parseFloat(getComputedStyle(each.lastChild).fontSize) })));
const names = new Set();
for (let at = 0; at < 4; at += 1) {
  const shown = await rows();
  assert.ok(shown.length > 0 && shown.length < 4, String(shown.length));
  for (const each of shown) {
    names.add(each.name);
    assert.ok(each.bottom <= 1080, `${each.name} ends at ${each.bottom}`);
    assert.ok(mm(each.px) > LEAST_MM, `${each.name}: ${mm(each.px)} mm`);
  }
  await far.locator(".leaf:visible").click();
  await far.waitForTimeout(100);
}
assert.equal(names.size, 4);
assert.deepEqual(faults, []);
await browser.close();
await service.endAsync(true);
console.log("all held");
