// How far a message may be believed now: the four rules of staleness, in their order.
// Times are the reader's own monotonic clock in ms; no two clocks are compared.

import { HEAD_STATE, isNumber, word } from "./words.js";

/**
 * Why nothing at all can be believed; "" when the service is there.
 * @param {{connected: boolean, awaited: boolean}} link `awaited`: the page opened a moment ago
 * @param {?object} status the entry of svc/status
 */
export function outage(link, status) {
  if (!link.connected) return link.awaited ? "connecting" : "no-connection";
  if (!status) return link.awaited ? "connecting" : "no-service";
  if (status.fault) return "unreadable";
  const api = String(status.body.api ?? "1.0");
  if (status.body.state === "online" && !/^1\.\d{1,4}$/.test(api)) return "other-version";
  return status.body.state === "online" ? "" : "service-offline";
}

/** State of a head by its status entry: one that is not known or not readable is offline. */
export function headState(status) {
  return status && !status.fault ? word(status.body.state, HEAD_STATE, "offline") : "offline";
}

/**
 * Return how an entry may be shown.
 * @param {{body: object, retained: boolean, at: number, fault: string}} entry
 * @param {{out: string, head: ?string, now: number}} around `out` from outage(); `head` the state
 *   of the head that it came from, null for what comes from none
 * @returns {{state: "live"|"stands"|"last-known"|"no-data", why: string}}
 */
export function trust(entry, { out, head, now }) {
  if (out) return none(out); // (a) the service
  if (head === "offline") return none("head-offline"); // (b) the head
  if (entry.fault) return none("unreadable");
  const { ttl } = entry.body;
  if (!isNumber(ttl) || ttl < 0) return none("unreadable");
  // (d) before (c): a retained reading has no age that our clock could tell, and is never live.
  if (entry.retained && ttl > 0) return { state: "last-known", why: "retained" };
  if (ttl > 0 && now - entry.at > ttl * 1000) return none("silent"); // (c) its time is over
  return { state: ttl > 0 ? "live" : "stands", why: "" };
}

function none(why) {
  return { state: "no-data", why };
}
