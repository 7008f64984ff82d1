// All that has been heard of one bay. Bounded; entries replace each other by topic.

import { pathOf, readBody } from "./read.js";
import { headState, outage, trust } from "./trust.js";
import { isNumber, word, DECISION, UNITS } from "./words.js";

export const MOST_TOPICS = 2000;
const NO_CHANNELS = ["status", "meta", "link", "runout", "sweep"];
const ONCE = ["evt", "reply", "cmd"];

export class Known {
  constructor(bay) {
    this.bay = bay;
    this.entries = new Map();
    this.link = { connected: false, awaited: true };
    this.boot = null;
    this.left = 0; // messages that were left aside, for want of room or of a topic of ours
  }

  /** A connection begins: what was heard before it may have been taken back meanwhile. */
  restart() {
    this.entries.clear();
    this.link.connected = true;
  }

  lost() {
    this.link.connected = this.link.awaited = false;
  }

  /** The machine slept or the page stood still: nothing that was live is so any more. */
  slept() {
    for (const entry of this.entries.values()) entry.retained = true;
  }

  /**
   * Take a message. Returns its entry, or null where it was left aside.
   * @param {{topic: string, payload: Uint8Array|string, retained: boolean}} message
   */
  take(message, now) {
    const place = pathOf(message.topic);
    if (place === null || place.bay !== this.bay) return this.aside();
    const { path } = place, key = path.join("/");
    if (message.payload.length === 0) {
      this.entries.delete(key);
      return null;
    }
    const { body, fault } = readBody(message.payload, path.at(-1) === "meta");
    const entry = { key, path, body, fault, retained: message.retained !== false, at: now };
    if (ONCE.includes(path[0])) return entry; // heard, not kept
    if (key === "svc/status" && this.isLateFarewell(entry)) return null;
    if (!this.entries.has(key) && this.entries.size >= MOST_TOPICS) return this.aside();
    this.entries.set(key, entry);
    return entry;
  }

  aside() {
    this.left += 1;
    return null;
  }

  /** The farewell of an earlier start may come after the birth of this one. */
  isLateFarewell({ body }) {
    if (body.state === "online") this.boot = body.boot;
    return body.state === "offline" && this.boot !== null && body.boot !== this.boot;
  }

  get(key) {
    return this.entries.get(key) ?? null;
  }

  body(key) {
    return this.entries.get(key)?.body ?? {};
  }

  outage() {
    return outage(this.link, this.get("svc/status"));
  }

  headState(name) {
    return headState(this.get(`head/${name}/status`));
  }

  /** How far an entry may be believed now. */
  trust(entry, now) {
    const head = entry.path[0] === "head" ? this.headState(entry.path[1]) : null;
    return trust(entry, { out: this.outage(), head, now });
  }

  /**
   * Read a value: how it stands, and its body with a decision that may be shown.
   * "last-known" and "no-data" never carry one, nor does a value without an uncertainty.
   */
  value(key, now) {
    const entry = this.get(key);
    if (entry === null) return { state: "no-data", why: this.outage() || "not-heard", body: {}, dec: "none" };
    const { state, why } = this.trust(entry, now), { body } = entry;
    if (state === "no-data") return { state, why, body, dec: "none" };
    const q = word(body.q, ["good", "uncertain", "bad", "stale"], "bad");
    if (q === "bad" || q === "stale") return { state: "no-data", why: body.why || q, body, dec: "none" };
    if (!UNITS.includes(body.unit)) return { state: "no-data", why: "bad", body, dec: "none" }; // a number of nobody knows what
    if (!isNumber(body.value)) return { state: "no-data", why: "no-value", body, dec: "none" };
    const solid = state !== "last-known" && isNumber(body.U) && body.U >= 0 && isNumber(body.k);
    const dec = solid ? word(body.dec, DECISION, "none") : "none";
    return { state, why: q === "good" ? "" : body.why || q, body, dec };
  }

  /** Entries whose first levels are these. */
  under(...start) {
    return [...this.entries.values()].filter((e) => start.every((level, i) => e.path[i] === level));
  }

  /** Names of heads: by the wheel they are on, front to rear, then those on none. */
  heads() {
    const rank = (name) => {
      const { axle, side } = this.body(`head/${name}/status`);
      return Number.isInteger(axle) ? 2 * axle + (side === "right") : 1e6;
    };
    return [...new Set(this.under("head").map((e) => e.path[1]))].sort().sort((a, b) => rank(a) - rank(b));
  }

  channels(head) {
    return this.under("head", head).filter((e) => !NO_CHANNELS.includes(e.path[2]));
  }

  /** Results, axle by axle, those of the whole vehicle last. */
  results() {
    const rank = ({ path }) => (path[0] === "vehicle" ? 1e6 : 10 * Number(path[1]) + ["left", "right", "both"].indexOf(path[2]));
    return [...this.entries.values()]
      .filter(({ path }) => (path[0] === "axle" && path.length === 4) || (path[0] === "vehicle" && path.length === 2))
      .sort((a, b) => rank(a) - rank(b) || (a.key < b.key ? -1 : 1));
  }
}
