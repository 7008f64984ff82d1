// The remote: what may be asked now, and what came of what was asked.

import { WITH_REASON } from "../core/guide.js";
import { sweepOf, usualOf } from "../core/steering.js";
import { button, el, keyed, relaid, show, write } from "./dom.js";
import { formOf } from "./forms.js";
import { speak, spoken } from "./said.js";

export function remoteView(ctx) {
  const note = el("p"), hold = holdPart(ctx), buttons = el("div", { class: "row" }), form = el("div"), list = el("ol", { class: "asked", "aria-live": "polite" });
  const element = el("div", { class: "stack" }, note, form, hold.element, buttons, list);
  const kept = new Map();
  let opened = null, inside = null, answered = null;

  const open = (name) => {
    opened = opened === name ? null : name;
    form.dataset.key = "";
    if (opened === "job-back") ctx.askJob("job-events", {}); // which tasks are done
    ctx.redraw();
  };
  const send = (name, filled) => { opened = null; ctx.askJob(name, filled); };

  return { element, draw(now) {
    const guide = ctx.guide(), { tell } = ctx, may = ctx.mayAsk();
    write(note, may || guide.out ? "" : tell("remote.login"));
    show(note, note.textContent !== "");
    const asks = may ? guide.asks : [];
    if (opened !== null && !asks.includes(opened)) opened = null;
    const late = ctx.requests.all.findLast((each) => each.name === "job-done");
    if (["outside", "not-found"].includes(late?.code) && late.id !== answered && late.wire.task === guide.task) { opened = "job-done"; answered = late.id; }
    const direct = buttonsOf(asks, guide), usual = asks.includes("sweep-begin") ? usualOf(sweepOf(ctx.known, guide, now).state) : asks[0];
    const waits = usual === "sweep-begin" ? guide.waits : [];
    hold.draw(waits);
    const first = direct.find(({ name }) => name === usual && name !== "job-close" && waits.length === 0);
    relaid(buttons, JSON.stringify([direct, first, waits.length > 0, ctx.settings.lang]), () => direct.map((each) => {
      const { name, label, filled } = each, made = button(tell(label), () => (WITH_REASON.includes(name) || name === "job-close" ? open(name) : send(name, filled)), each === first ? "usual" : "");
      if (waits.length > 0 && name === "sweep-begin") made.setAttribute("aria-describedby", hold.element.id);
      return made;
    }));
    direct.forEach(({ name }, at) => { buttons.children[at].disabled = ctx.requests.waiting(name); });
    const shown = opened ?? asks.find((name) => ["job-check", "job-open", "job-tape"].includes(name)) ?? "";
    const key = JSON.stringify([shown, guide.told.item ?? guide.told.title, guide.task, ctx.settings.lang, shown === "job-tape" ? guide.lacks : shown === "job-back" ? ctx.history.done(guide.job).length : 0]);
    relaid(form, key, () => { inside = shown ? formOf(shown, guide, ctx, send, open) : null; return inside ? [inside.element] : []; });
    inside?.draw();
    drawAsked(list, kept, ctx);
  } };
}

/** That a sweep would be refused now, and why, where the view above does not say so. */
function holdPart(ctx) {
  const waiting = el("ul"), element = el("div", { class: "said", id: "hold" }, el("p", { text: ctx.tell("sweep.not-yet") }), waiting);
  return { element, draw(waits) {
    spoken(waiting, waits, ctx);
    show(element, waits.length > 0);
    show(waiting, ctx.view !== "now");
  } };
}

/** A button for each request that needs no form; where nobody says how far a sweep goes, two for it. */
function buttonsOf(asks, { step }) {
  const direct = asks.filter((name) => !(name === "job-check" || name === "job-open" || name === "job-tape"));
  const sweep = { name: "sweep-begin", label: "ask.sweep-begin", filled: {} }, stops = { ...sweep, label: "form.sweep-stops", filled: { stops: true } };
  const sweeps = { true: [stops], false: [sweep] }[step.stops] ?? [sweep, stops];
  return direct.flatMap((name) => (name === "sweep-begin" ? sweeps : [{ name, label: `ask.${name}`, filled: {} }]));
}

function drawAsked(list, kept, ctx) {
  const { requests, tell } = ctx;
  const recent = requests.all.slice(-3).reverse();
  keyed(list, recent.map((each) => each.id), () => {
    const word = el("b"), what = el("span"), said = el("span");
    return { element: el("li", {}, word, what, said), word, what, said };
  }, kept);
  for (const each of recent) {
    const { word, what, said } = kept.get(each.id);
    write(word, tell(`asked.${each.state}`));
    const own = { unsent: tell("why.no-connection"), "no-answer": tell("asked.silent") }[each.state] ?? "";
    // Where the sentence is none that this page can say in its language, the code's words go before it.
    const coded = each.state === "refused" && (!each.text || ctx.say(each.text).own) ? tell(`code.${each.code}`) : "";
    write(what, [tell(`ask.${each.name}`), own, coded].filter(Boolean).join(": ") + (each.text ? ": " : ""));
    speak(said, each.text, ctx);
  }
}
