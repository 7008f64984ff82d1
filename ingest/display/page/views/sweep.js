// The steering sweep: how far each wheel is steered, which way to steer next, what goes wrong.

import { DASH, one } from "../core/figure.js";
import { needOf, sweepOf } from "../core/steering.js";
import { el, lines, show, write } from "./dom.js";
import { spoken } from "./said.js";

export function sweepPart(ctx) {
  const next = el("p", { class: "act", role: "status" }), todo = el("ul", { class: "act" }), wheels = el("ul", { class: "plain number" });
  const element = el("div", { class: "stack" }, next, todo, wheels);
  return { element, draw(now) {
    const sweep = sweepOf(ctx.known, ctx.guide(), now);
    show(element, sweep.state !== "");
    write(next, nextText(sweep, ctx));
    const todos = [...new Set(sweep.wheels.map((each) => each.todo).filter(Boolean))];
    spoken(todo, todos, ctx);
    show(todo, todos.length > 0);
    lines(wheels, sweep.wheels.map((each) => wheelText(each, ctx)));
    show(wheels, sweep.wheels.length > 0);
  } };
}

function nextText({ state, why, wheels }, ctx) {
  const { tell } = ctx;
  if (state === "sweeping") return tell(`sweep.${needOf(wheels) || "enough"}`, { target: degrees(wheels[0].target, ctx) });
  if (state === "no-data") return `${tell("state.no-data")}: ${tell(`why.${why}`)}`;
  if (state === "refused") return tell("sweep.refused", { why: tell(`why.${why}`) });
  return state === "done" ? tell("sweep.done") : "";
}

function wheelText({ side, steer, left, right }, ctx) {
  const at = steer === null ? DASH : ctx.tell(steer < 0 ? "sweep.at-right" : "sweep.at-left", { deg: degrees(Math.abs(steer), ctx) });
  return ctx.tell("sweep.wheel", { side: ctx.tell(`side.${side}`), at, left: degrees(left, ctx), right: degrees(right, ctx) });
}

function degrees(value, ctx) {
  return one(value, { unit: "deg", dp: 1 }, { ...ctx.style(), angle: "deg" }).replace(/^\+/, "");
}
