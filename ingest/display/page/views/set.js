// Setting: the number, what to do in words, and a strip of the last 30 s.

import { one } from "../core/figure.js";
import { parts } from "../core/guide.js";
import { lineOf, sideOf } from "../core/lines.js";
import { nameOf } from "../core/names.js";
import { isNumber } from "../core/words.js";
import { el, picker, show, write } from "./dom.js";
import { stripPlot } from "./plots.js";
import { spoken } from "./said.js";
import { decisionBlock, limitsText, numberBlock, pairText } from "./value.js";

/** Numbers that a sweep alone can tell. */
const BY_SWEEP = /\/(caster|lock-angle)$/;

export function setView(ctx) {
  const { tell } = ctx;
  const chooser = picker(tell("nav.set"), (topic) => { picked = ctx.pick(topic); ctx.redraw(); });
  const name = el("h2", { class: "wide sentence" }), number = numberBlock(), decision = decisionBlock();
  const todo = el("ul", { class: "act" }), go = el("p", { class: "number" }), limits = el("p", { class: "number quiet" }), last = el("p", { class: "number last" }), motion = el("p", { class: "tag" });
  const box = el("div", { class: "plot", role: "img" }), caption = el("p", { class: "small quiet", text: tell("set.caption") });
  const element = el("div", { class: "set" }, el("div", { class: "wide" }, chooser.element), name, el("div", { class: "stack" }, number.element, el("div", { class: "line" }, decision.element, motion), last),
    el("div", { class: "stack" }, todo), el("div", { class: "stack" }, go, limits), el("div", { class: "stack strip" }, box, caption));
  const strip = stripPlot(box, ctx);
  let picked = null;

  return { element, close: strip.close, draw(now) {
    const topics = ctx.setTopics(), topic = ctx.setTopic(picked), value = ctx.valueOf(topic, now);
    chooser.draw(topics.map((each) => [each, nameOf(each, tell)]), topic);
    write(name, topic ? nameOf(topic, tell) : tell("set.nothing"));
    const style = ctx.style(), body = { ...value.body, qty: value.body.qty ?? topic?.split("/").at(-1) };
    number.draw({ ...value, body }, style, tell);
    decision.draw({ ...value, why: value.why === "moving" ? "" : value.why }, tell);
    const shown = value.state !== "no-data";
    const turning = ctx.guide().step.doing === "adjust" && !ctx.guide().asks.includes("job-adjust");
    const follows = value.state === "live" ? (body.moving === true ? "set.moving" : "set.at-rest") : turning && value.state === "stands" && BY_SWEEP.test(topic) ? "set.next-sweep" : "";
    const swept = !shown && ctx.guide().step.doing === "adjust" && BY_SWEEP.test(topic ?? "") ? lastSwept(ctx.known, topic) : null;
    write(last, swept === null ? "" : tell("set.last-sweep", { figure: pairText(swept, style, tell) }));
    show(last, swept !== null);
    write(motion, shown && follows ? tell(follows) : "");
    show(motion, motion.textContent !== "");
    const guide = ctx.guide(), todos = guide.out ? [] : todosOf(shown ? body.todo : "", guide.advice);
    spoken(todo, todos, ctx);
    show(todo, todos.length > 0);
    write(go, shown && isNumber(body.go) ? tell("set.go", { go: one(body.go, body, style) }) : "");
    write(limits, shown ? limitsText(body, style, tell) : "");
    show(box, ctx.ring.points.length > 1 && shown);
    show(caption, ctx.ring.points.length > 1 && shown);
    if (ctx.ring.points.length > 1 && shown) {
      box.setAttribute("aria-label", `${tell("set.caption")} ${number.element.textContent}`);
      strip.draw(ctx.ring, body, now);
    }
  } };
}

/** What the job took of the last sweep, where the number itself does not stand any more. */
function lastSwept(known, topic) {
  const line = lineOf(known, topic), found = ["left", "found"].map((side) => sideOf(line, side)).find(({ value }) => isNumber(value));
  return line.stale === true ? null : found ?? null;
}

/** What to turn by the newest value; where that was cut short, the advice of the second before it. */
function todosOf(todo, advice) {
  if (!todo) return advice;
  if (!todo.endsWith("\u2026")) return [todo];
  return advice.length > 0 ? advice : [todo.slice(0, Math.max(todo.lastIndexOf(";"), 0)) || todo];
}

/** What can be set or watched: the results of the step, else all that there are. */
export function topicsOf(guide, known) {
  const own = guide.out ? [] : parts(guide.step.results);
  return own.length > 0 ? own : known.results().map((entry) => entry.key);
}
