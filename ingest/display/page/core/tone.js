// How a value sounds as it comes home: higher the nearer, steady when home, nothing without data.

import { isNumber } from "./words.js";

export const LOW_HZ = 220;
export const HIGH_HZ = 880;
const FAR_IN_U = 30;

/**
 * Return the tone of a value that is being turned.
 * @param {{state: string, body: object, dec: string}} value
 * @returns {?{hz: number, beat_s: number}} beat 0: steady. null: silent
 */
export function toneOf({ state, body, dec }) {
  if (state !== "live" || !isNumber(body.go) || !isNumber(body.U) || body.U <= 0) return null;
  const far = Math.min(1, Math.abs(body.go) / (FAR_IN_U * body.U));
  const hz = LOW_HZ * (HIGH_HZ / LOW_HZ) ** (1 - Math.sqrt(far));
  const home = dec === "inside" && Math.abs(body.go) <= body.U;
  return { hz: Math.round(hz), beat_s: home ? 0 : 0.12 + 0.5 * Math.sqrt(far) };
}
