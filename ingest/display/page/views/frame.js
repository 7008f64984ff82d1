// What stands round every view: the connection, who looks, alerts, the way to the other views.

import { ALERT_LEVEL, word } from "../core/words.js";
import { button, el, keyed, mark, relaid, show, write } from "./dom.js";

export const VIEWS = ["now", "turn", "set", "axles", "heads", "papers", "setup"];
const byId = (id) => document.getElementById(id);

export function frame(ctx) {
  const link = el("span", { class: "tag" }), why = el("span", { class: "quiet" }), kept = new Map();
  byId("link").append(link, " ", why);
  let spoken = null;
  return () => {
    const { tell, known } = ctx, out = known.outage();
    relaid(byId("nav"), JSON.stringify([ctx.view, ctx.settings.lang]), () => VIEWS.map((name) => {
      const each = button(tell(`nav.${name}`), () => ctx.show(name));
      if (name === ctx.view) each.setAttribute("aria-current", "page");
      return each;
    }));
    byId("nav").setAttribute("aria-label", tell("nav.label"));
    write(byId("bay"), ctx.known.bay ?? "");
    mark(link, out ? "tag gone" : "tag");
    write(link, tell(out ? "link.none" : "link.online"));
    write(why, out ? tell(`why.${out}`) : versionText(known, tell));
    write(byId("who"), whoText(ctx));
    write(byId("banner"), out ? `${tell("state.no-data")}: ${tell(`why.${out}`)}. ${tell({ wrong: "login.refused", nobody: "banner.refused" }[ctx.link.refused] ?? "banner.not-live")}` : "");
    show(byId("banner"), out !== "");
    if (spoken !== null && spoken !== out) write(byId("spoken"), out ? tell(`why.${out}`) : tell("link.online"));
    spoken = out;
    drawAlerts(byId("alerts"), known, kept, tell);
    write(byId("foot"), tell("foot"));
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

function drawAlerts(element, known, kept, tell) {
  const active = known.link.connected ? known.under("svc", "alert") : [];
  const rank = (entry) => -ALERT_LEVEL.indexOf(word(entry.body.level, ALERT_LEVEL, "danger"));
  const sorted = active.sort((a, b) => rank(a) - rank(b)).slice(0, 12);
  keyed(element, sorted.map((entry) => entry.key), () => ({ element: el("p") }), kept);
  for (const { key, body, fault, path } of sorted) {
    const level = word(body.level, ALERT_LEVEL, "danger"), line = kept.get(key).element;
    mark(line, level);
    write(line, `${tell(`level.${level}`)}: ${fault ? tell("why.unreadable") : body.text || path[2]}${body.head ? ` (${body.head})` : ""}`);
  }
}
