// What is seen of a page while somebody leads a job on it: faults, lost connections, sentences that it
// cannot say in its language, and how long after its newest sample a number stands on the screen.

import assert from "node:assert/strict";

/** Watch a page, from before it is opened. */
export async function watched(page) {
  const faults = [], untold = new Set(), reasons = new Set(), held = new Set(), surprises = new Set();
  page.on("pageerror", (error) => faults.push(String(error)));
  page.on("console", (message) => { if (message.type() === "error") faults.push(message.text()); });
  await page.addInitScript(watchBanner);
  await page.addInitScript(watchNumbers);
  return {
    reasons, held, surprises,
    /** Note what stands on the page in the service's own words. */
    async untold() {
      for (const line of await page.locator('[data-own]:not([data-own=""]):visible').allInnerTexts()) if (line.trim()) untold.add(line.trim());
    },
    async told() {
      const lost = new Set((await page.evaluate(() => globalThis.banners)).filter(Boolean)); // a starved machine is silent for seconds
      return { "the page said": [...lost], "a sweep waited for": [...held], "refused without a word before": [...surprises], "a reason was asked for": [...reasons], "not told in its language": [...untold] };
    },
    async figures() {
      assert.deepEqual(faults.filter((each) => !/WebSocket connection|ERR_CONNECTION/.test(each)), []);
      const painted = (await page.evaluate(() => globalThis.painted)).sort((a, b) => a - b), at = (share) => painted[Math.floor(share * (painted.length - 1))];
      const lost = new Set((await page.evaluate(() => globalThis.banners)).filter(Boolean)).size;
      return { said_lost: lost, untold: untold.size, surprises: surprises.size, ...(painted.length > 0 ? { painted: painted.length, pixel_p50_ms: at(0.5), pixel_p95_ms: at(0.95) } : {}) };
    },
  };
}

function watchBanner() {
  globalThis.banners = [];
  addEventListener("DOMContentLoaded", () => {
    const banner = document.getElementById("banner");
    new MutationObserver(() => banner.hidden || globalThis.banners.push(banner.textContent)).observe(banner, { attributes: true, childList: true });
  });
}

/**
 * When the number of a live value stood on the screen, after the newest sample that is in it: both by
 * this host's clock. A task that is begun in a frame runs once that frame is painted.
 */
function watchNumbers() {
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
        const number = (document.querySelector(".figure .main")?.textContent ?? "").replace(",", ".");
        if (number.includes(Math.abs(value).toFixed(dp))) globalThis.painted.push(performance.timeOrigin + performance.now() - ms - lag_ms);
      };
      port2.postMessage(0);
    });
  };
  globalThis.WebSocket = class extends Own { constructor(...all) { super(...all); this.addEventListener("message", look); } };
}
