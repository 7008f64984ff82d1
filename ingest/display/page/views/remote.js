// The remote: what may be asked now, and what came of what was asked.

import { parts, WITH_REASON } from "../core/guide.js";
import { button, el, keyed, relaid, show, write } from "./dom.js";

const STATES = ["ok", "fault", "absent"];

export function remoteView(ctx) {
  const note = el("p"), buttons = el("div", { class: "row" }), form = el("div"), list = el("ol", { class: "asked", "aria-live": "polite" });
  const element = el("div", { class: "stack" }, note, form, buttons, list);
  const kept = new Map();
  let opened = null;

  const open = (name) => { opened = opened === name ? null : name; form.dataset.key = ""; ctx.redraw(); };
  const send = (name, filled) => { opened = null; ctx.askJob(name, filled); };

  return { element, draw() {
    const guide = ctx.guide(), { tell } = ctx, may = ctx.mayAsk();
    write(note, may || guide.out ? "" : tell("remote.login"));
    show(note, note.textContent !== "");
    const asks = may ? guide.asks : [];
    if (opened !== null && !asks.includes(opened)) opened = null;
    const direct = asks.filter((name) => !(name === "job-check" || name === "job-open" || name === "job-tape"));
    relaid(buttons, JSON.stringify([asks, ctx.settings.lang]), () => direct.map((name) =>
      button(tell(`ask.${name}`), () => (WITH_REASON.includes(name) || name === "job-close" ? open(name) : send(name, {})), name === asks[0] && name !== "job-close" ? "usual" : "")));
    direct.forEach((name, at) => { buttons.children[at].disabled = ctx.requests.waiting(name); });
    const shown = opened ?? asks.find((name) => ["job-check", "job-open", "job-tape"].includes(name)) ?? "";
    const key = JSON.stringify([shown, guide.told.item ?? guide.told.title, guide.task, ctx.settings.lang, shown === "job-tape" ? guide.lacks : 0]);
    relaid(form, key, () => (shown ? [formOf(shown, guide, ctx, send, open)] : []));
    drawAsked(list, kept, ctx);
  } };
}

function drawAsked(list, kept, { requests, tell }) {
  const recent = requests.all.slice(-3).reverse();
  keyed(list, recent.map((each) => each.id), () => {
    const word = el("b"), what = el("span");
    return { element: el("li", {}, word, what), word, what };
  }, kept);
  for (const each of recent) {
    const { word, what } = kept.get(each.id);
    write(word, tell(`asked.${each.state}`));
    const said = each.text || (each.state === "unsent" ? tell("why.no-connection") : "");
    write(what, [tell(`ask.${each.name}`), each.state === "refused" && !said ? tell(`code.${each.code}`) : said].filter(Boolean).join(": "));
  }
}

/** A form in place; it stands until it is sent or left. */
function formOf(name, guide, ctx, send, open) {
  if (name === "job-check") return checkForm(guide, ctx, send);
  if (name === "job-open") return openForm(ctx, send);
  if (name === "job-tape") return tapeForm(guide, ctx, send);
  const { tell } = ctx, field = name === "job-replan" ? "cannot" : name === "job-close" ? "give_up" : "reason";
  const input = el("input", { maxlength: 200, id: "reason", autocomplete: "off" });
  const needed = name === "job-skip" || name === "job-replan";
  return formed(tell(`form.${name}`), [labelled(tell(`field.${field}`), input)], [
    button(tell(`ask.${name}`), () => (needed && !input.value.trim() ? input.focus() : send(name, { [field]: input.value.trim() })), "usual"),
    button(tell("form.leave"), () => open(name)),
  ]);
}

function checkForm(guide, ctx, send) {
  const { tell } = ctx, item = guide.told.item;
  if (!item) return el("p", { text: tell("form.no-item") });
  const note = el("input", { maxlength: 200, id: "note", autocomplete: "off" });
  return formed("", [labelled(tell("field.note"), note)], STATES.map((state) =>
    button(tell(`check.${state}`), () => send("job-check", { item, state, ...(note.value.trim() ? { note: note.value.trim() } : {}) }), state === "ok" ? "usual" : "")));
}

function openForm(ctx, send) {
  const { tell } = ctx, { vehicles = [], limit_sets = [] } = ctx.known.body("svc/meta");
  const vehicle = choice("vehicle", vehicles), limits = choice("limits", limit_sets);
  const order = el("input", { id: "order", maxlength: 40, autocomplete: "off" });
  return formed(tell("form.job-open"), [
    el("p", { class: "small quiet", text: tell("form.job-open-how") }), labelled(tell("field.vehicle"), vehicle), labelled(tell("field.limits"), limits), labelled(tell("field.order"), order),
  ], [button(tell("ask.job-open"), () => {
    const empty = [vehicle, limits, order].find((each) => !each.value.trim());
    if (empty) empty.focus();
    else send("job-open", { vehicle: vehicle.value.trim(), limits: limits.value.trim(), order: order.value.trim() });
  }, "usual")]);
}

/** A list to choose from where the service told one, else a line to write in. */
function choice(id, from) {
  const known = Array.isArray(from) ? from.filter((each) => typeof each === "string") : [];
  if (known.length === 0) return el("input", { id, maxlength: 32, autocapitalize: "none", autocomplete: "off" });
  return el("select", { id }, ...known.map((each) => el("option", { value: each, text: each })));
}

function tapeForm(guide, ctx, send) {
  const { tell } = ctx, line = choice("tape", parts(guide.told.lacks, ";"));
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
  return el("div", { class: "form" }, title ? el("h3", { text: title }) : null, ...fields, el("div", { class: "row" }, ...buttons));
}
