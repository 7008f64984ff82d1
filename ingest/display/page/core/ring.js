// The last seconds of one value, for the strip: bounded, and broken where nothing was known.

export const SPAN_MS = 30000;
export const MOST_POINTS = 400;

export class Ring {
  constructor() {
    this.points = [];
    this.of = "";
  }

  /** Take a point; `value` null is a gap. Another subject begins anew. */
  add(of, at, value, U) {
    if (of !== this.of) {
      this.of = of;
      this.points = [];
    }
    const last = this.points.at(-1);
    if (value === null && (last === undefined || last.value === null)) return;
    this.points.push({ at, value, U });
    this.trim(at);
  }

  trim(now) {
    let gone = Math.max(0, this.points.length - MOST_POINTS);
    while (gone < this.points.length && now - this.points[gone].at > SPAN_MS) gone += 1;
    if (gone > 0) this.points.splice(0, gone);
  }

  /** Columns for a plot over seconds before now: [x, value, value - U, value + U]. */
  columns(now) {
    const columns = [[], [], [], []];
    for (const { at, value, U } of this.points) {
      const known = value !== null && U !== null;
      columns[0].push((at - now) / 1000);
      columns[1].push(value);
      columns[2].push(known ? value - U : null);
      columns[3].push(known ? value + U : null);
    }
    return columns;
  }
}
