// Heads: which there are, on which wheel, battery, link, record and health.

import { figure, DASH } from "../core/figure.js";
import { isNumber } from "../core/words.js";
import { button, el, keyed, lines, mark, show, write } from "./dom.js";
import { pager, roomBelow } from "./pager.js";

const FACTS = ["wheel", "battery", "link", "record", "temperature"];
const BAD = ["bad_cobs", "bad_short", "bad_crc", "bad_long", "bad_type", "bad_length", "bad_value"];

export function headsView(ctx) {
  const none = el("p", { text: ctx.tell("heads.none") }), cards = el("div", { class: "cards" });
  const title = el("div", { class: "line" }, el("h2", { text: ctx.tell("nav.heads") })), element = el("div", { class: "stack" }, title, none, cards);
  const kept = new Map(), leaves = pager(cards, () => (ctx.isFar() ? roomBelow(cards) : Infinity), ctx);
  title.append(leaves.button);
  return { element, draw(now) {
    const heads = ctx.known.heads();
    show(none, heads.length === 0);
    keyed(cards, heads, (head) => cardOf(head, ctx), kept);
    for (const head of heads) kept.get(head).draw(now);
    leaves.draw(now);
  } };
}

function cardOf(head, ctx) {
  const { tell } = ctx, state = el("span", { class: "tag" }), readings = el("ul");
  const cells = Object.fromEntries(FACTS.map((name) => [name, el("dd")]));
  const facts = el("dl", { class: "facts" }, ...FACTS.map((name) => el("div", {}, el("dt", { text: tell(`heads.${name}`) }), cells[name])));
  const axle = el("input", { id: `axle-${head}`, inputmode: "numeric", maxlength: 2, "aria-label": tell("heads.axle-number", { head }), placeholder: tell("heads.axle") });
  const put = (side) => button(tell("heads.put", { side: tell(`side.${side}`) }), () => {
    const n = Number(axle.value);
    if (Number.isInteger(n) && n >= 1 && n <= 32) ctx.ask("wheel", { head, axle: n, side });
    else axle.focus();
  });
  const asks = el("details", {}, el("summary", { text: tell("heads.ask") }), el("div", { class: "form" }, axle,
    el("div", { class: "row" }, put("left"), put("right"), button(tell("ask.unmount"), () => ctx.ask("unmount", { head })), button(tell("ask.identify"), () => ctx.ask("identify", { head })))));
  const element = el("article", {}, el("div", { class: "line" }, el("h3", { text: head }), state), facts, el("details", {}, el("summary", { text: tell("heads.readings") }), readings), asks);
  return { element, draw(now) {
    const { known } = ctx, out = known.outage(), is = out ? "no-data" : known.headState(head), status = known.body(`head/${head}/status`);
    mark(state, `tag ${{ online: "", degraded: "partly" }[is] ?? "gone"}`.trim());
    write(state, tell(`head.${is}`) + (out ? `: ${tell(`why.${out}`)}` : status.why ? `: ${tell(`why.${status.why}`)}` : ""));
    write(cells.wheel, Number.isInteger(status.axle) && status.side ? `${tell("place.axle", { n: status.axle })} ${tell(`side.${status.side}`)}` : tell("heads.on-none"));
    const link = known.get(`head/${head}/link`), trust = link ? known.trust(link, now) : { state: "no-data", why: "not-heard" };
    const at = trust.state === "no-data" ? null : link.body, late = trust.state === "last-known" ? `, ${tell("state.last-known")}` : "";
    const none = `${tell("state.no-data")}: ${tell(`why.${trust.why}`)}`;
    write(cells.battery, at === null ? none : isNumber(at.batt_pct) ? `${at.batt_pct.toFixed(0)} %${at.batt_pct < 20 ? `, ${tell("heads.low")}` : ""}${late}` : tell("heads.not-told"));
    write(cells.link, at === null ? none : linkText(at, tell) + late);
    write(cells.temperature, at === null ? none : isNumber(at.temp) ? `${at.temp.toFixed(0)} \u00b0C${late}` : tell("heads.not-told"));
    write(cells.record, recordText(known, head, tell));
    lines(readings, known.channels(head).map((entry) => readingText(entry, ctx, now)));
    show(asks, ctx.mayAsk());
  } };
}

function linkText(body, tell) {
  const bad = BAD.reduce((sum, name) => sum + (isNumber(body[name]) ? body[name] : 0), 0);
  const told = [tell(`link.${body.link}`), tell("heads.rate", { hz: isNumber(body.rate_hz) ? body.rate_hz.toFixed(0) : DASH }), tell("heads.lost", { n: body.lost ?? DASH, bad })];
  if (isNumber(body.rssi_dbm)) told.push(`${String(body.rssi_dbm).replace("-", "\u2212")} dBm`);
  return told.join(", ");
}

function recordText(known, head, tell) {
  const { fault, body } = known.get(`cal/${head}/latest`) ?? { fault: "none", body: {} };
  if (fault || !body.id || known.outage()) return tell("heads.no-record");
  const due = body.due ? `, ${tell("heads.due", { date: String(body.due).slice(0, 10) })}` : "";
  return `${body.id}, ${String(body.issued).slice(0, 10)}${due}${body.why ? `, ${tell(`why.${body.why}`)}` : ""}`;
}

function readingText(entry, ctx, now) {
  const value = ctx.known.value(entry.key, now), name = ctx.tell(`channel.${entry.path[2]}`);
  if (value.state === "no-data") return `${name}: ${ctx.tell("state.no-data")}, ${ctx.tell(`why.${value.why}`)}`;
  const shown = figure(value.body, ctx.style());
  const late = value.state === "last-known" ? `, ${ctx.tell("state.last-known")}` : "";
  return shown === null ? `${name}: ${DASH}` : `${name}: ${shown.value.trim()} \u00b1\u00a0${shown.known ? shown.U : ctx.tell("value.u-unknown")}${late}`;
}
