// What a request needs to be told before it is sent: reasons, how an item is, what a job is about.

import { parts } from "../core/guide.js";
import { acceptForm, againForm } from "./again.js";
import { button, el, relaid, show, write } from "./dom.js";

const STATES = ["ok", "fault", "absent"];
const LOADS = ["unladen", "laden"];
const MOST_PAIRS = 8;
const OTHER = "";
const still = () => {};

/** A form in place; it stands until it is sent or left. `draw` follows what is heard meanwhile. */
export function formOf(name, guide, ctx, send, open) {
  if (name === "job-check") return checkForm(guide, ctx, send);
  if (name === "job-open") return openForm(ctx, send);
  if (name === "job-tape") return tapeForm(guide, ctx, send);
  if (name === "job-done") return { element: acceptForm(ctx, send, () => open(name)), draw: still };
  if (name === "job-back") return { element: againForm(guide, ctx, send, () => open(name)), draw: still };
  return reasonForm(name, ctx, send, open);
}

function reasonForm(name, ctx, send, open) {
  const { tell } = ctx, field = name === "job-replan" ? "cannot" : name === "job-close" ? "give_up" : "reason";
  const input = el("input", { maxlength: 200, id: "reason", autocomplete: "off" });
  const needed = name !== "job-close";
  return formed(tell(`form.${name}`), [labelled(tell(`field.${field}`), input)], [
    button(tell(`ask.${name}`), () => (needed && !input.value.trim() ? input.focus() : send(name, { [field]: input.value.trim() })), "usual"),
    button(tell("form.leave"), () => open(name)),
  ]);
}

function checkForm(guide, ctx, send) {
  const { tell } = ctx, item = guide.told.item;
  if (!item) return { element: el("p", { text: tell("form.no-item") }), draw: still };
  const note = el("input", { maxlength: 200, id: "note", autocomplete: "off" });
  return formed("", [labelled(tell("field.note"), note)], STATES.map((state) =>
    button(tell(`check.${state}`), () => send("job-check", { item, state, ...(note.value.trim() ? { note: note.value.trim() } : {}) }), state === "ok" ? "usual" : "")));
}

function openForm(ctx, send) {
  const { tell } = ctx, vehicle = offered("vehicle", ctx), limits = offered("limits", ctx);
  const order = el("input", { id: "order", maxlength: 40, autocomplete: "off" });
  const load = chosen("load", LOADS.map((each) => [each, tell(`load.${each}`)]), LOADS[0]);
  const pairs = chosen("pairs", Array.from({ length: MOST_PAIRS }, (_, at) => [String(at + 1), String(at + 1)]), String(pairsOf(ctx)));
  const form = formed(tell("form.job-open"), [
    el("p", { class: "small quiet", text: tell("form.job-open-how") }), vehicle.element, limits.element,
    labelled(tell("field.order"), order), labelled(tell("field.load"), load), labelled(tell("field.pairs"), pairs),
  ], [button(tell("ask.job-open"), () => {
    if (vehicle.lacks() || limits.lacks()) return;
    if (!order.value.trim()) order.focus();
    else send("job-open", { vehicle: vehicle.value(), limits: limits.value(), order: order.value.trim(), load: load.value, pairs: Number(pairs.value) });
  }, "usual")]);
  return { ...form, draw() {
    const { vehicles, limit_sets } = ctx.known.outage() ? {} : ctx.known.body("svc/meta");
    vehicle.draw(choices(vehicles));
    limits.draw(choices(limit_sets));
  } };
}

/** Pairs of heads at hand: those that are heard of. */
function pairsOf({ known }) {
  const there = known.heads().filter((head) => known.headState(head) !== "offline").length;
  return Math.min(MOST_PAIRS, Math.max(1, Math.floor(there / 2) || 2));
}

/** What the service offers, as pairs of id and name; whatever is none of that is left out. */
function choices(from) {
  const found = Array.isArray(from) ? from.filter((each) => each && typeof each.id === "string") : [];
  return found.map(({ id, name }) => [id, typeof name === "string" ? name : ""]);
}

/** A list to choose from where the service tells one, and in any case a line to write an id in. */
function offered(id, ctx) {
  const { tell } = ctx, select = el("select", { id }), about = el("p", { class: "small quiet" });
  const own = el("input", { id: `${id}-own`, maxlength: 32, autocapitalize: "none", autocomplete: "off" });
  const listed = labelled(tell(`field.${id}`), select), written = el("label", { for: own.id }, own);
  const name = document.createTextNode("");
  written.prepend(name);
  let from = [];
  const label = ([value, text]) => (text && id === "vehicle" ? `${text} (${value})` : value);
  const writes = () => from.length === 0 || select.value === OTHER;
  return {
    element: el("div", { class: "form" }, listed, written, about),
    value: () => (writes() ? own.value.trim() : select.value),
    lacks: () => { const empty = writes() && !own.value.trim(); if (empty) own.focus(); return empty; },
    draw(pairs) {
      from = pairs;
      const before = select.options.length > 0 ? select.value : null;
      const laid = relaid(select, JSON.stringify(pairs), () => [...pairs.map((each) => el("option", { value: each[0], text: label(each) })), el("option", { value: OTHER, text: tell("form.other") })]);
      if (laid && before !== null && [OTHER, ...pairs.map(([value]) => value)].includes(before)) select.value = before;
      show(listed, pairs.length > 0);
      show(written, writes());
      name.textContent = tell(pairs.length > 0 ? "form.other-id" : `field.${id}`);
      write(about, id === "limits" && !writes() ? pairs.find(([value]) => value === select.value)?.[1] ?? "" : "");
      show(about, about.textContent !== "");
    },
  };
}

function chosen(id, pairs, value) {
  const select = el("select", { id }, ...pairs.map(([each, text]) => el("option", { value: each, text })));
  select.value = value;
  return select;
}

function tapeForm(guide, ctx, send) {
  const { tell } = ctx, lines = parts(guide.told.lacks, ";");
  const line = lines.length > 0 ? chosen("tape", lines.map((each) => [each, each]), lines[0]) : el("input", { id: "tape", maxlength: 64, autocapitalize: "none", autocomplete: "off" });
  const metres = el("input", { id: "metres", inputmode: "decimal", autocomplete: "off" });
  return formed(tell("form.job-tape"), [labelled(tell("field.line"), line), labelled(tell("field.metres"), metres)], [
    button(tell("ask.job-tape"), () => {
      const read = Number(metres.value.trim().replace(",", "."));
      if (read > 0 && read <= 40) send("job-tape", { line: line.value.trim(), metres: read });
      else metres.focus();
    }, "usual")]);
}

function labelled(text, input) {
  return el("label", { for: input.id, text }, input);
}

function formed(title, fields, buttons) {
  return { element: el("div", { class: "form" }, title ? el("h3", { text: title }) : null, ...fields, el("div", { class: "row" }, ...buttons)), draw: still };
}
