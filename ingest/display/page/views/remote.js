// The remote: what may be asked now, and what came of what was asked.

import { WITH_REASON } from "../core/guide.js";
import { sweepOf, usualOf } from "../core/steering.js";
import { button, el, keyed, relaid, show, write } from "./dom.js";
import { formOf } from "./forms.js";
import { speak } from "./said.js";

export function remoteView(ctx) {
  const note = el("p"), buttons = el("div", { class: "row" }), form = el("div"), list = el("ol", { class: "asked", "aria-live": "polite" });
  const element = el("div", { class: "stack" }, note, form, buttons, list);
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
    const direct = buttonsOf(asks), usual = asks.includes("sweep-begin") ? usualOf(sweepOf(ctx.known, guide, now).state) : asks[0];
    relaid(buttons, JSON.stringify([asks, usual, ctx.settings.lang]), () => direct.map(({ name, label, filled }) =>
      button(tell(label), () => (WITH_REASON.includes(name) || name === "job-close" ? open(name) : send(name, filled)), label === `ask.${usual}` && name !== "job-close" ? "usual" : "")));
    direct.forEach(({ name }, at) => { buttons.children[at].disabled = ctx.requests.waiting(name); });
    const shown = opened ?? asks.find((name) => ["job-check", "job-open", "job-tape"].includes(name)) ?? "";
    const key = JSON.stringify([shown, guide.told.item ?? guide.told.title, guide.task, ctx.settings.lang, shown === "job-tape" ? guide.lacks : shown === "job-back" ? ctx.history.done(guide.job).length : 0]);
    relaid(form, key, () => { inside = shown ? formOf(shown, guide, ctx, send, open) : null; return inside ? [inside.element] : []; });
    inside?.draw();
    drawAsked(list, kept, ctx);
  } };
}

/** A button for each request that needs no form; a sweep is begun to both sides, or to the stops. */
function buttonsOf(asks) {
  const direct = asks.filter((name) => !(name === "job-check" || name === "job-open" || name === "job-tape"));
  return direct.flatMap((name) => [{ name, label: `ask.${name}`, filled: {} }, ...(name === "sweep-begin" ? [{ name, label: "form.sweep-stops", filled: { stops: true } }] : [])]);
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
