// Setting: the number, what to do in words, and a strip of the last 30 s.

import { one } from "../core/figure.js";
import { parts } from "../core/guide.js";
import { isNumber } from "../core/words.js";
import { el, lines, picker, show, write } from "./dom.js";
import { stripPlot } from "./plots.js";
import { decisionBlock, limitsText, nameOf, numberBlock } from "./value.js";

export function setView(ctx) {
  const { tell } = ctx;
  const chooser = picker(tell("nav.set"), (topic) => { picked = ctx.pick(topic); ctx.redraw(); });
  const name = el("h2", { class: "wide" }), number = numberBlock(), decision = decisionBlock();
  const todo = el("ul", { class: "act", lang: "en" }), go = el("p", { class: "number" }), limits = el("p", { class: "number quiet" }), motion = el("p", { class: "tag" });
  const box = el("div", { class: "plot wide", role: "img" }), caption = el("p", { class: "small quiet wide", text: tell("set.caption") });
  const element = el("div", { class: "set" }, el("div", { class: "wide" }, chooser.element), name, el("div", { class: "stack" }, number.element, decision.element, motion),
    el("div", { class: "stack" }, todo, go, limits), box, caption);
  const strip = stripPlot(box, ctx);
  let picked = null;

  return { element, draw(now) {
    const topics = ctx.setTopics(), topic = ctx.setTopic(picked), value = ctx.valueOf(topic, now);
    chooser.draw(topics.map((each) => [each, nameOf(each, tell)]), topic);
    write(name, topic ? nameOf(topic, tell) : tell("set.nothing"));
    const style = ctx.style(), body = { ...value.body, qty: value.body.qty ?? topic?.split("/").at(-1) };
    number.draw({ ...value, body }, style, tell);
    decision.draw(value, tell);
    const shown = value.state !== "no-data";
    write(motion, !shown || value.state !== "live" ? "" : tell(body.moving === true ? "set.moving" : "set.at-rest"));
    show(motion, motion.textContent !== "");
    const guide = ctx.guide(), todos = shown && body.todo ? [body.todo] : guide.out ? [] : guide.advice;
    lines(todo, todos);
    show(todo, todos.length > 0);
    write(go, shown && isNumber(body.go) ? tell("set.go", { go: one(body.go, body, style) }) : "");
    write(limits, shown ? limitsText(body, style, tell) : "");
    show(box, ctx.ring.points.length > 1 && shown);
    show(caption, ctx.ring.points.length > 1 && shown);
    if (ctx.ring.points.length > 1 && shown) {
      box.setAttribute("aria-label", `${tell("set.caption")} ${number.element.textContent}`);
      strip(ctx.ring, body, now);
    }
  } };
}

/** What can be set or watched: the results of the step, else all that there are. */
export function topicsOf(guide, known) {
  const own = guide.out ? [] : parts(guide.step.results);
  return own.length > 0 ? own : known.results().map((entry) => entry.key);
}
