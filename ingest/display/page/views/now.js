// What now? The step in words, what to turn, what is still lacking, the cautions.

import { el, lines, show, write } from "./dom.js";

export function nowView(ctx) {
  const step = el("p", { class: "quiet" }), title = el("h2"), text = el("p"), why = el("p", { class: "small quiet" });
  const advice = el("ul", { class: "act" }), lacks = el("ul"), cautions = el("ul", { class: "caution" });
  const lacking = el("div", {}, el("h3", { text: ctx.tell("now.lacking") }), lacks);
  const careful = el("div", {}, el("h3", { text: ctx.tell("now.cautions") }), cautions);
  // The service speaks English: whoever reads aloud should, too.
  for (const each of [title, text, why, advice, lacks, cautions]) each.setAttribute("lang", "en");
  const element = el("div", { class: "stack" }, step, title, text, advice, lacking, why, careful);
  return { element, draw() {
    const guide = ctx.guide(), { tell } = ctx, { state, told } = guide;
    const known = guide.out === "" && Boolean(told.title);
    write(step, known ? stepText(state, tell) : "");
    write(title, known ? told.title : tell(guide.out ? "now.nothing-known" : "now.no-word"));
    write(text, known ? told.text ?? "" : guide.out ? tell(`why.${guide.out}`) : "");
    write(why, known && guide.step.why ? guide.step.why : "");
    lines(advice, known ? guide.advice : []);
    lines(lacks, known ? guide.lacks : []);
    lines(cautions, guide.caution); // cautions stay, even where the connection does not
    show(advice, advice.children.length > 0);
    show(lacking, lacks.children.length > 0);
    show(careful, cautions.children.length > 0);
  } };
}

function stepText(state, tell) {
  const order = [state.order, state.vehicle].filter(Boolean).join(", ");
  if (state.phase === "work") return `${tell("now.task", { n: Math.min((state.done ?? 0) + 1, state.of), of: state.of })}${order ? `: ${order}` : ""}`;
  return order ? `${tell(`phase.${state.phase}`)}: ${order}` : "";
}
