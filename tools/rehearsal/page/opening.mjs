// How long the page takes from the address to the first button that can be pressed, with nothing
// kept from before, and what is sent for it. Called with the page's address, the browser, the folder
// of tools, how often, and how many times slower than this machine the tablet is.

import { createRequire } from "node:module";

const [, , url, executablePath, tools, times, slower] = process.argv;
const require = createRequire(`${tools}/package.json`);
const { chromium } = require("playwright-core");
const QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];
const browser = await chromium.launch({ executablePath, args: QUIET });
const middle = (all) => all.sort((a, b) => a - b)[all.length >> 1];
const ready = [], sent = [];

for (let at = 0; at < Number(times); at += 1) {
  const context = await browser.newContext({ viewport: { width: 1180, height: 820 } });
  const page = await context.newPage(), session = await context.newCDPSession(page);
  await session.send("Emulation.setCPUThrottlingRate", { rate: Number(slower) });
  await page.addInitScript(() => { globalThis.ready = new Promise((done) => addEventListener("DOMContentLoaded", () => new MutationObserver((_, seen) => { if (document.querySelector("#nav button")) { seen.disconnect(); requestAnimationFrame(() => done(performance.now())); } }).observe(document.getElementById("nav"), { childList: true }))); });
  await page.goto(url, { waitUntil: "commit" });
  ready.push(await page.evaluate(() => globalThis.ready));
  await page.waitForLoadState("networkidle");
  sent.push(await page.evaluate(() => [...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")].reduce((sum, each) => sum + each.transferSize, 0)));
  await context.close();
}
await browser.close();
console.log(JSON.stringify({ ready_ms: middle(ready), sent_kB: middle(sent) / 1000 }));
console.log("all held");
