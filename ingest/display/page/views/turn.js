// The turn of a wheel: readings round it, the fitted curve, how much further to turn.

import { figure, DASH } from "../core/figure.js";
import { expanded } from "../core/rounding.js";
import { curve, within } from "../core/turnpoints.js";
import { isNumber, RUNOUT_STATE, word } from "../core/words.js";
import { button, el, picker, show, write } from "./dom.js";
import { turnPlot } from "./plots.js";

const ASKS = ["turn-begin", "stop-take", "turn-end"];
const FACTS = ["camber", "runout", "phase"];

export function turnView(ctx) {
  const { tell } = ctx;
  const chooser = picker(tell("nav.turn"), (head) => { picked = head; ctx.redraw(); });
  const title = el("h2"), state = el("p"), further = el("p", { class: "act" });
  const progress = el("p", { class: "number" }), box = el("div", { class: "plot", role: "img" }), caption = el("p", { class: "small quiet", text: tell("turn.caption") });
  const cells = Object.fromEntries(FACTS.map((name) => [name, el("dd", { class: "number" })]));
  const facts = el("dl", { class: "facts turned" }, ...FACTS.map((name) => el("div", {}, el("dt", { text: tell(`turn.${name}`) }), cells[name])));
  const asks = el("div", { class: "row" }, ...ASKS.map((name) => button(tell(`ask.${name}`), () => ctx.ask(name, { head: chosen }), name === "stop-take" ? "usual" : "")));
  const element = el("div", { class: "stack" }, chooser.element, el("div", { class: "line" }, title, state), further, progress, box, caption, facts, asks);
  const plot = turnPlot(box, ctx);
  let chosen = null, picked = null;

  return { element, close: plot.close, draw(now) {
    const heads = ctx.known.heads();
    chosen = heads.includes(picked) ? picked : turning(ctx.known, heads);
    chooser.draw(heads.map((head) => [head, headName(ctx, head)]), chosen);
    write(title, chosen === null ? tell("turn.no-head") : headName(ctx, chosen));
    const entry = chosen === null ? null : ctx.known.get(`head/${chosen}/runout`);
    const told = turnOf(ctx, entry, now), body = told.known ? entry.body : {};
    write(state, told.text);
    write(further, furtherText(told.state, body, tell));
    show(further, further.textContent !== "");
    show(asks, ctx.mayAsk() && chosen !== null);
    ASKS.forEach((name, at) => { asks.children[at].disabled = ctx.requests.waiting(name); });
    write(progress, isNumber(body.arc) ? tell("turn.progress", { n: body.n ?? DASH, arc: body.arc.toFixed(0) }) : "");
    for (const name of FACTS) write(cells[name], pairText(body, name, ctx));
    show(facts, isNumber(body.camber) && told.state !== "refused");
    const points = chosen === null || ctx.known.outage() ? [] : ctx.turns.of(chosen);
    show(box, points.length > 1);
    show(caption, points.length > 1);
    if (points.length > 1) {
      box.setAttribute("aria-label", `${tell("turn.caption")} ${progress.textContent}`);
      plot.draw(columns(points, curve(body, points)));
    }
  } };
}

/** The head whose wheel is being turned, else the first one. */
function turning(known, heads) {
  return heads.find((head) => known.body(`head/${head}/runout`).state === "turning") ?? heads[0] ?? null;
}

export function headName(ctx, head) {
  const { axle, side } = ctx.known.body(`head/${head}/status`);
  if (!Number.isInteger(axle) || !["left", "right"].includes(side)) return head;
  return `${head}: ${ctx.tell("place.axle", { n: axle })} ${ctx.tell(`side.${side}`)}`;
}

function turnOf(ctx, entry, now) {
  const { tell } = ctx;
  if (entry === null) return { known: false, state: "", text: ctx.known.outage() ? tell(`why.${ctx.known.outage()}`) : tell("turn.none") };
  const state = word(entry.body.state, RUNOUT_STATE, "refused");
  const { state: trust, why } = ctx.known.trust(entry, now);
  if (trust === "no-data") return { known: false, state: "", text: `${tell("state.no-data")}: ${tell(`why.${why}`)}` };
  if (trust === "last-known" && state === "turning") return { known: true, state, text: `${tell("state.last-known")}, ${tell("state.not-live")}` };
  return { known: true, state, text: tell(`turn.${state}`) };
}

function furtherText(state, body, tell) {
  if (state === "refused") {
    const held = isNumber(body.figure) ? tell("turn.found", { figure: body.figure, limit: isNumber(body.limit) ? body.limit : DASH }) : "";
    return [tell("turn.refused-why", { why: tell(`why.${body.why || "unknown"}`) }), held].filter(Boolean).join(" ");
  }
  if (state !== "turning") return "";
  if (!isNumber(body.camber)) return tell("turn.too-little");
  if (body.further === 0) return tell("turn.enough");
  return isNumber(body.further) ? tell("turn.more", { deg: body.further.toFixed(0) }) : tell("turn.never");
}

function pairText(body, name, ctx) {
  const value = body[name], U = body[`${name}_U`];
  if (!isNumber(value)) return DASH;
  const style = name === "phase" ? { ...ctx.style(), angle: "deg" } : { ...ctx.style(), angle: ctx.style().angle === "min" ? "min" : "deg" };
  const dp = name === "phase" ? (isNumber(U) && U > 0 ? expanded(U).places : 0) : Number.isInteger(body.dp) ? body.dp : 3;
  const shown = figure({ value, U: isNumber(U) ? U : null, k: body.k ?? null, dp, unit: "deg" }, style);
  const told = shown?.value.trim().replace(/^\+/, name === "camber" ? "+" : ""); // an amplitude has no sign
  return shown === null ? DASH : `${told} \u00b1\u00a0${shown.known ? shown.U : ctx.tell("value.u-unknown")}`;
}

function columns(points, fitted) {
  const dots = points.map((p) => ({ x: within(p.rotation), dot: p.tilt, line: null }));
  const line = fitted === null ? [] : Array.from({ length: 91 }, (_, at) => ({ x: 4 * at, dot: null, line: fitted(4 * at) }));
  const all = [...dots, ...line].sort((a, b) => a.x - b.x);
  return [all.map((p) => p.x), all.map((p) => p.dot), all.map((p) => p.line)];
}
