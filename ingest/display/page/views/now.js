// What now? The step in words, what to turn, what is still lacking, the cautions.

import { whole } from "../core/guide.js";
import { el, show, write } from "./dom.js";
import { pager, roomBelow } from "./pager.js";
import { speak, spoken } from "./said.js";
import { sweepPart } from "./sweep.js";

export function nowView(ctx) {
  const step = el("p", { class: "quiet" }), title = el("h2", { class: "sentence" }), text = el("p"), why = el("p", { class: "small quiet" });
  const advice = el("ul", { class: "act" }), lacks = el("ul"), sweep = sweepPart(ctx);
  const what = el("h3"), lacking = el("div", {}, what, lacks);
  // On a wall, what does not fit comes by pages; the title always stands.
  const parts = [text, sweep.element, advice, lacking, why].map((each) => el("div", {}, each)), body = el("div", { class: "stack" }, ...parts);
  const leaves = pager(body, () => (ctx.isFar() ? roomBelow(body) : Infinity), ctx);
  const element = el("div", { class: "stack" }, step, el("div", { class: "line" }, title, leaves.button), body);
  return { element, draw(now) {
    sweep.draw(now);
    const guide = ctx.guide(), { tell } = ctx, { state, told } = guide;
    const known = guide.out === "" && Boolean(told.title);
    write(step, known ? stepText(state, tell) : "");
    if (known) speak(title, told.title, ctx);
    else write(title, tell(guide.out ? "now.nothing-known" : "now.no-word"));
    if (known) speak(text, guide.text, ctx);
    else write(text, guide.out ? tell(`why.${guide.out}`) : "");
    speak(why, known ? whole(guide.step.why) : "", ctx);
    spoken(advice, known ? guide.advice : [], ctx);
    const waits = known && guide.waits.length > 0;
    write(what, tell(waits ? "now.before-sweep" : "now.lacking"));
    spoken(lacks, waits ? guide.waits : known ? guide.lacks : [], ctx);
    show(step, step.textContent !== "");
    for (const each of parts) each.toggleAttribute("data-empty", (each.firstChild === lacking ? lacks : each).textContent === "");
    leaves.draw(now);
  } };
}

function stepText(state, tell) {
  const order = [state.order, state.vehicle].filter(Boolean).join(", ");
  if (state.phase === "work") return `${tell("now.task", { n: Math.min((state.done ?? 0) + 1, state.of), of: state.of })}${order ? `: ${order}` : ""}`;
  return order ? `${tell(`phase.${state.phase}`)}: ${order}` : "";
}
