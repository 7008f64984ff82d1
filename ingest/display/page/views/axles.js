// Axles: every result as it was found and as it is left, its limits and the decision.

import { DASH } from "../core/figure.js";
import { lineOf, linesOf, sideOf } from "../core/lines.js";
import { isResult, nameOf } from "../core/names.js";
import { isNumber } from "../core/words.js";
import { el, keyed, show, write } from "./dom.js";
import { pager, roomBelow } from "./pager.js";
import { decisionBlock, limitsText, pairText } from "./value.js";

export function axlesView(ctx) {
  const { tell } = ctx, none = el("p", { text: tell("axles.none") }), body = el("tbody");
  const heads = ["what", "found", "left", "limits", "decision"];
  const table = el("table", {}, el("thead", {}, el("tr", {}, ...heads.map((each) => el("th", { scope: "col", text: tell(`axles.${each}`) })))), body);
  const note = el("p", { class: "small quiet", text: tell("axles.note") });
  const title = el("div", { class: "line" }, el("h2", { text: tell("nav.axles") }));
  const element = el("div", { class: "stack" }, title, none, el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": tell("nav.axles") }, table), note);
  const kept = new Map(), leaves = pager(body, () => (ctx.isFar() ? roomBelow(table) : Infinity), ctx);
  title.append(leaves.button);
  return { element, draw(now) {
    const rows = ctx.isFar() ? limitedFirst(rowsOf(ctx.known), ctx.known) : rowsOf(ctx.known);
    show(none, rows.length === 0);
    show(table, rows.length > 0);
    keyed(body, rows, (topic) => rowOf(topic, ctx), kept);
    for (const topic of rows) kept.get(topic).draw(now);
    leaves.draw(now);
  } };
}

/** Topics of results and of the lines of a job, in the order of the axles. */
function rowsOf(known) {
  const lined = linesOf(known).map((line) => line.topic).filter((topic) => isResult(topic ?? ""));
  const rank = (topic) => (topic.startsWith("axle/") ? Number(topic.split("/")[1]) : 1e6);
  return [...new Set([...lined, ...known.results().map((entry) => entry.key)])].sort((a, b) => rank(a) - rank(b));
}

/** Where few are seen at a time, those that somebody has set a limit for come first. */
function limitedFirst(topics, known) {
  const limited = (topic) => [known.body(topic), lineOf(known, topic)].some(({ lo, hi }) => isNumber(lo) || isNumber(hi));
  return [...topics.filter(limited), ...topics.filter((topic) => !limited(topic))];
}

function rowOf(topic, ctx) {
  const { tell } = ctx;
  const cell = (name, className) => el("td", { class: className, "data-title": tell(`axles.${name}`) });
  const found = cell("found", "number"), left = cell("left", "number"), limits = cell("limits", "number"), decided = cell("decision", "");
  const decision = decisionBlock("");
  decided.append(decision.element);
  const element = el("tr", {}, el("th", { scope: "row", text: nameOf(topic, tell) }), found, left, limits, decided);
  return { element, draw(now) {
    const value = ctx.known.value(topic, now), line = lineOf(ctx.known, topic);
    const qty = topic.split("/").at(-1), style = ctx.style();
    write(found, pairText(sideOf(line, "found"), style, tell));
    write(left, value.state === "no-data" ? DASH : pairText({ ...value.body, qty, dec: "none" }, style, tell));
    write(limits, limitsText({ ...(value.state === "no-data" ? line : value.body), qty }, style, tell) || DASH);
    decision.draw(line.stale === true && value.state !== "no-data" ? { ...value, state: "no-data", why: "holds-no-longer" } : value, tell);
  } };
}
