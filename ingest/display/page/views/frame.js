// What stands round every view: the connection, who looks, alerts, the way to the other views.

import { ALERT_LEVEL, word } from "../core/words.js";
import { button, el, keyed, mark, relaid, show, write } from "./dom.js";
import { pager } from "./pager.js";
import { speak, spoken } from "./said.js";

export const VIEWS = ["now", "turn", "set", "axles", "heads", "papers", "setup"];
const PLACES = { danger: "alerts", warning: "warnings", note: "notes" };
const CAREFUL = ["now", "turn", "set"];
const CAREFUL_PART = 0.26; // of the screen's height, for the lines of it
const byId = (id) => document.getElementById(id);

export function frame(ctx) {
  const link = el("span", { class: "tag" }), why = el("span", { class: "quiet" });
  byId("link").append(link, " ", why);
  let before = null;
  const careful = cautions(ctx), told = { danger: new Map(), warning: new Map(), note: new Map() };
  const warnings = pager(byId("warnings"), () => (ctx.isFar() ? 0.18 : 0.3) * innerHeight, ctx);
  byId("warnings").after(warnings.button);
  const views = ways(ctx);
  return () => {
    const { tell, known } = ctx, out = known.outage();
    views();
    write(byId("bay"), ctx.known.bay ?? "");
    mark(link, out ? "tag gone" : "tag");
    write(link, tell(out ? "link.none" : "link.online"));
    write(why, out ? tell(`why.${out}`) : versionText(known, tell));
    write(byId("who"), whoText(ctx));
    write(byId("banner"), out ? `${tell("state.no-data")}: ${tell(`why.${out}`)}. ${tell({ wrong: "login.refused", nobody: "banner.refused" }[ctx.link.refused] ?? "banner.not-live")}` : "");
    show(byId("banner"), out !== "" && out !== "connecting");
    if (before !== null && before !== out) write(byId("spoken"), out ? tell(`why.${out}`) : tell("link.online"));
    before = out;
    drawAlerts(told, ctx);
    warnings.draw(performance.now());
    careful(performance.now());
    write(byId("foot"), tell("foot"));
  };
}

/** The way to the other views; on a wall, where letters take the room, only once it is asked for. */
function ways(ctx) {
  const nav = byId("nav");
  let open = false;
  const turn = (is) => { open = is; ctx.redraw(); };
  return () => {
    const { tell, view } = ctx, far = ctx.isFar();
    nav.setAttribute("aria-label", tell("nav.label"));
    relaid(nav, JSON.stringify([view, ctx.settings.lang, far, open]), () => {
      const made = VIEWS.filter((name) => !far || open || name === view).map((name) => {
        const each = button(tell(`nav.${name}`), () => { open = false; ctx.show(name); });
        if (name === view) each.setAttribute("aria-current", "page");
        return each;
      });
      const more = far ? button(tell("nav.label"), () => turn(!open)) : null;
      more?.setAttribute("aria-expanded", open);
      return more ? [...made, more] : made;
    });
  };
}

/** A newer minor version is read as far as it is known, and said to be newer. */
function versionText(known, tell) {
  const minor = Number(String(known.body("svc/status").api ?? "1.0").split(".")[1]);
  return minor > 0 ? tell("link.newer", { api: known.body("svc/status").api }) : "";
}

function whoText(ctx) {
  if (ctx.about.at_home) return ctx.tell("who.at-home");
  return ctx.source.login ? ctx.tell("who.user", { user: ctx.source.login.user }) : ctx.tell("who.nobody");
}

/** Dangers stand above all else, all of them; warnings below, by pages; notes wait at the end. */
function drawAlerts(told, ctx) {
  const { known } = ctx;
  const active = known.link.connected ? known.under("svc", "alert") : [];
  const rank = (entry) => -ALERT_LEVEL.indexOf(word(entry.body.level, ALERT_LEVEL, "danger"));
  const sorted = active.sort((a, b) => rank(a) - rank(b)).slice(0, 12);
  for (const level of ALERT_LEVEL) {
    drawLines(byId(PLACES[level]), sorted.filter(({ body }) => word(body.level, ALERT_LEVEL, "danger") === level), told[level], ctx);
  }
}

function drawLines(element, sorted, kept, ctx) {
  const { tell } = ctx;
  keyed(element, sorted.map((entry) => entry.key), () => { const head = el("span"), text = el("span"); return { element: el("p", {}, head, text), head, text }; }, kept);
  for (const { key, body, fault, path } of sorted) {
    const level = word(body.level, ALERT_LEVEL, "danger"), { element: line, head, text } = kept.get(key);
    mark(line, level);
    write(head, `${tell(`level.${level}`)}${body.head ? ` (${body.head})` : ""}: ${fault ? tell("why.unreadable") : ""}`);
    speak(text, fault ? "" : body.text || path[2], ctx);
  }
}

/** The cautions of the present step stand at the bottom of every view of the work, page by page. */
function cautions(ctx) {
  const box = byId("cautions"), title = el("h2", { id: "careful" }), list = el("ul");
  const leaves = pager(list, () => CAREFUL_PART * innerHeight, ctx);
  box.append(el("div", { class: "head" }, title, leaves.button), list);
  return (now) => {
    const { caution } = ctx.guide();
    write(title, ctx.tell("now.cautions"));
    spoken(list, caution, ctx);
    show(box, caution.length > 0 && CAREFUL.includes(ctx.view));
    if (!box.hidden) leaves.draw(now);
  };
}
