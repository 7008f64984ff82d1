// The page at a broker that asks who somebody is: nobody, a wrong password, one who looks on, one who
// may ask but not lead, the technician. Called by test_page_login.py, over a service that runs.

import assert from "node:assert/strict";
import { createRequire } from "node:module";

const [, , url, executablePath, tools] = process.argv;
const { chromium } = createRequire(`${tools}/package.json`)("playwright-core");
const QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];

const browser = await chromium.launch({ executablePath, args: QUIET });
const page = await (await browser.newContext({ viewport: { width: 1180, height: 820 } })).newPage();
const until = (where, pattern, timeout = 10000) => page.locator(where).filter({ hasText: pattern }).first().waitFor({ timeout });
const press = (name) => page.getByRole("button", { name, exact: true }).click();
async function logIn(user, password) {
  await page.locator("#login-user").fill(user);
  await page.locator("#login-password").fill(password);
  await page.locator(".form").getByRole("button", { name: "Log in", exact: true }).click();
}
async function openJob() {
  await page.evaluate(() => { location.hash = "now"; });
  await page.locator("#vehicle").selectOption("rigid-4x2"); // as the service lists it
  await page.locator("#limits").selectOption("general");
  await page.locator("#order").fill("W-120");
  await press("Open a job");
}

// Nobody: the page asks who it is, and shows no value.
await page.goto(url);
await until("#banner", /Log in under Screen/);
await until(".form", /lets in nobody without a name and a password/);
assert.doesNotMatch(await page.locator("#who").innerText(), /you are the technician/);

// A wrong password is said in words, and another can be tried.
await logIn("technician", "of nobody");
await until(".form", /wrong name or password/);
await until("#banner", /wrong name or password/);

// One who looks on hears everything; what is asked is dropped by the broker, and that is said.
await logIn("display", "of display");
await until("#link", /ONLINE/);
await until("#who", /Logged in as display/);
await openJob();
await until(".asked li", /SENT/);
await until(".asked li", /(NO ANSWER.*may look on only|NOT SENT)/, 15000);

// One who may ask but is not among the technicians of the bay is refused by the service, in words.
const again = async (user, password) => {
  await page.evaluate(() => { location.hash = "setup"; });
  await press("Log out");
  await logIn(user, password);
  await until("#who", new RegExp(`Logged in as ${user}`));
  await until("#link", /ONLINE/);
};
await again("apprentice", "of apprentice");
await openJob();
await until(".asked li", /REFUSED.*apprentice may look on only/);

// The technician opens the job by choosing from what the service lists.
await again("technician", "of technician");
await openJob();
await until(".asked li", /DONE/);
await until("#view", /W-120/);
await browser.close();
console.log("all held");
