// A steering sweep while it goes on: where each wheel is, and what is asked for next.

import { isNumber, word } from "./words.js";

export const SWEEP_STATE = ["sweeping", "done", "refused"];
export const NEED = ["steer-left", "steer-right", "back-to-straight-ahead", "more-readings"];
const SIDES = ["left", "right"];

/**
 * Return the sweep that the present step is about.
 * @returns {{state: ""|"sweeping"|"done"|"refused"|"no-data", why: string, wheels: Array<{side, steer, left, right, target, need, todo}>}}
 *   angles in degrees, `steer` left positive, null while it is not read. One refused wheel refuses the sweep.
 */
export function sweepOf(known, guide, now) {
  const none = { state: "", why: "", wheels: [] };
  if (guide.out !== "" || !["sweep", "resweep"].includes(guide.step.doing)) return none;
  const told = known.under("head").filter(({ path, body, fault }) => path[2] === "sweep" && !fault && body.axle === guide.axle && SIDES.includes(body.side));
  if (told.length === 0) return none;
  const before = told.some(({ body }) => !(body.ms >= guide.step.ms)); // both by the service's own clock
  if (before && guide.told.ready !== true) return none; // a sweep of an earlier step proves nothing
  const states = told.map(({ body }) => word(body.state, SWEEP_STATE, "refused"));
  if (states.includes("sweeping")) {
    const silent = told.map((entry) => known.trust(entry, now)).find(({ state }) => state !== "live" && state !== "stands");
    if (silent) return { ...none, state: "no-data", why: silent.why };
    return { state: "sweeping", why: "", wheels: told.map(({ body }) => wheelOf(body)).sort((a, b) => (a.side < b.side ? -1 : 1)) };
  }
  const refused = told.find((_, at) => states[at] === "refused");
  if (refused) return { ...none, state: "refused", why: String(refused.body.why || "unknown") };
  return { ...none, state: "done" };
}

function wheelOf(body) {
  const need = body.need === "" ? "" : word(body.need, NEED, "more-readings");
  const angle = (value) => (isNumber(value) ? value : null);
  return { side: body.side, steer: angle(body.steer), left: angle(body.left), right: angle(body.right), target: angle(body.target), need, todo: String(body.do ?? "") };
}

/** What the person at the steering wheel is asked for: the first that either wheel needs; "" for nothing more. */
export function needOf(wheels) {
  const needs = wheels.map((each) => each.need).filter((need) => need !== "");
  return NEED.find((need) => needs.includes(need)) ?? "";
}

/** Which request is the usual one of a sweep as it stands. */
export function usualOf(state) {
  return { sweeping: "sweep-end", "no-data": "sweep-end", done: "job-done" }[state] ?? "sweep-begin";
}
