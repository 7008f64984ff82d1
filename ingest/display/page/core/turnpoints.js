// Readings round the wheel: tilt of the shaft over the wheel's rotation, from two live topics.

import { isNumber } from "./words.js";

export const MOST_POINTS = 1500;
export const PAIR_MS = 20;
const TURN = Math.PI / 180;

export class TurnPoints {
  constructor() {
    this.heads = new Map();
  }

  /** Take an entry of a head: its rotation, its tilt, or its run-out, which says while it is turned. */
  take({ path, body, fault, retained }) {
    if (path[0] !== "head" || fault || retained) return;
    const [, head, channel] = path;
    const kept = this.heads.get(head) ?? { id: null, turning: false, rotation: null, tilt: null, points: [] };
    this.heads.set(head, kept);
    if (channel === "runout") {
      const begins = kept.id !== null && body.id !== kept.id && body.state === "turning";
      if (begins) Object.assign(kept, { points: [], rotation: null, tilt: null });
      if (typeof body.id === "string") kept.id = body.id;
      kept.turning = body.state === "turning";
    } else if (channel === "rotation") kept.rotation = pair(body);
    else if (channel === "incl_y") kept.tilt = pair(body);
    else return;
    this.join(kept);
  }

  join(kept) {
    const { rotation, tilt, points } = kept;
    if (!kept.turning || !rotation || !tilt || Math.abs(rotation.ms - tilt.ms) > PAIR_MS) return;
    const last = points.at(-1);
    if (last && last.rotation === rotation.value && last.tilt === tilt.value) return;
    if (points.length >= MOST_POINTS) points.splice(0, MOST_POINTS / 2);
    points.push({ rotation: rotation.value, tilt: tilt.value });
    kept.rotation = kept.tilt = null;
  }

  of(head) {
    return this.heads.get(head)?.points ?? [];
  }
}

function pair(body) {
  return isNumber(body.value) && isNumber(body.ms) ? { value: body.value, ms: body.ms } : null;
}

/** Rotation within one turn. */
export function within(rotation) {
  return ((rotation % 360) + 360) % 360;
}

/**
 * The curve of a fitted run-out, through the middle of its readings.
 * @param {{runout: number, phase: number}} body amplitude and where it is greatest, degrees
 * @param {Array<{rotation: number, tilt: number}>} points
 * @returns {?(rotation: number) => number} null where nothing is fitted yet
 */
export function curve(body, points) {
  if (!isNumber(body.runout) || !isNumber(body.phase) || points.length === 0) return null;
  const wave = (rotation) => body.runout * Math.cos((rotation - body.phase) * TURN);
  const middle = points.reduce((sum, p) => sum + p.tilt - wave(p.rotation), 0) / points.length;
  return (rotation) => middle + wave(rotation);
}
