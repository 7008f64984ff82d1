// The two plots. Lines are told apart by kind and by words at their ends, not by colour.

/* global uPlot */
import { one } from "../core/figure.js";
import { isNumber } from "../core/words.js";
import { roomBelow } from "./pager.js";

function colours() {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(name).trim();
  return { ink: of("--ink"), quiet: of("--quiet"), rule: of("--rule"), band: of("--band"), edge: of("--edge") };
}

const LEAST_PX = 180;

/** Text in a plot: as large as the page's, within what leaves room for the plot. */
function fontPx() {
  return Math.max(14, Math.min(40, parseFloat(getComputedStyle(document.body).fontSize) * 0.6));
}

function axis(colour, size, values) {
  return { stroke: colour.quiet, font: `${fontPx()}px system-ui`, grid: { stroke: colour.rule, width: 1 }, space: 2.4 * fontPx(), ticks: { show: false }, size: size * Math.max(1, fontPx() / 14), values };
}

/** Make a plot that follows its box, and is made anew for another theme or another decimal mark. */
class Plot {
  constructor(box, options) {
    this.box = box;
    this.options = options;
    this.key = null;
    this.plot = null;
  }

  draw(key, data) {
    const width = Math.max(160, Math.floor(this.box.clientWidth)), room = roomBelow(this.box);
    const height = Math.round(Math.max(LEAST_PX, Math.min(0.5 * width, room >= LEAST_PX ? room : 0.36 * innerHeight)));
    const colour = colours(), own = JSON.stringify([key, width, Math.round(height / 8), colour]);
    if (own !== this.key) {
      this.plot?.destroy();
      this.key = own;
      this.plot = new uPlot({ width, height, padding: [fontPx() / 2, 1.5 * fontPx(), 0, 0], legend: { show: false }, cursor: { show: false }, select: { show: false }, ...this.options(colour) }, data, this.box);
    } else this.plot.setData(data);
  }

  /** Let go of it: the library listens to the window for as long as a plot is not destroyed. */
  close() {
    this.plot?.destroy();
    this.plot = this.key = null;
  }
}

/** The last 30 s: the value, its uncertainty as a band, its limits as two lines. */
export function stripPlot(box, ctx) {
  let body = {};
  const text = (number) => one(number, body, ctx.style());
  const plot = new Plot(box, (colour) => ({
    scales: { x: { time: false, range: [-30, 0] }, y: { range: (_, low, high) => spread(low, high, body) } },
    axes: [{ ...axis(colour, 30, (_, at) => at.map((s) => (s === 0 ? ctx.tell("plot.now") : `${s} s`.replace("-", "\u2212")))), splits: () => [-30, -20, -10, 0] }, axis(colour, 78, (_, at) => at.map(text))],
    series: [
      {},
      { stroke: colour.ink, width: 2.5, points: { show: false } },
      { stroke: colour.edge, width: 1, dash: [3, 3], points: { show: false } },
      { stroke: colour.edge, width: 1, dash: [3, 3], points: { show: false } },
    ],
    bands: [{ series: [3, 2], fill: colour.band }],
    hooks: { draw: [(u) => limitLines(u, body, colour, ctx.tell)] },
  }));
  return { close: () => plot.close(), draw(ring, current, now) {
    body = current;
    ring.trim(now);
    plot.draw([ctx.style(), current.unit, current.lo, current.hi], ring.columns(now));
  } };
}

/** Both limits stand in the picture, unless they are so far off that nothing else could be read. */
function spread(low, high, { lo, hi, U }) {
  const least = isNumber(U) ? 2 * U : 0.01;
  let [bottom, top] = isNumber(low) && isNumber(high) ? [low, high] : [0, 0];
  for (const limit of [lo, hi]) {
    if (!isNumber(limit)) continue;
    bottom = Math.min(bottom, limit);
    top = Math.max(top, limit);
  }
  const room = Math.max(least, 0.12 * (top - bottom));
  return [bottom - room, top + room];
}

function limitLines(u, { lo, hi }, colour, tell) {
  const { ctx, bbox } = u, ratio = devicePixelRatio || 1;
  ctx.save();
  ctx.strokeStyle = ctx.fillStyle = colour.ink;
  ctx.lineWidth = 2 * ratio;
  ctx.textAlign = "left";
  ctx.setLineDash([]);
  ctx.font = `${fontPx() * ratio}px system-ui`;
  for (const [limit, word, above] of [[lo, tell("plot.low"), false], [hi, tell("plot.high"), true]]) {
    if (!isNumber(limit)) continue;
    const y = u.valToPos(limit, "y", true), text = fontPx() * ratio, below = !above && y + 1.2 * text < bbox.top + bbox.height;
    ctx.beginPath();
    ctx.moveTo(bbox.left, y);
    ctx.lineTo(bbox.left + bbox.width, y);
    ctx.stroke();
    ctx.textBaseline = below ? "top" : "bottom";
    ctx.fillText(word, bbox.left + 6 * ratio, below ? y + 3 * ratio : y - 3 * ratio);
  }
  ctx.restore();
}

/** Readings round the wheel as dots, the fitted curve as a line. */
export function turnPlot(box, ctx) {
  const text = (number) => one(number, { unit: "deg", dp: 2 }, { ...ctx.style(), angle: ctx.style().angle === "min" ? "min" : "deg" });
  const plot = new Plot(box, (colour) => ({
    scales: { x: { time: false, range: [0, 360] }, y: { range: (_, low, high) => spread(low, high, { U: 0.005 }) } },
    axes: [{ ...axis(colour, 30, (_, at) => at.map((d) => `${d}\u00b0`)), splits: () => [0, 90, 180, 270, 360] }, axis(colour, 78, (_, at) => at.map(text))],
    series: [
      {},
      { stroke: colour.ink, width: 0, paths: () => null, points: { show: true, size: 6, stroke: colour.ink, fill: colour.ink } },
      { stroke: colour.ink, width: 2, dash: [7, 4], points: { show: false }, spanGaps: true },
    ],
  }));
  return { close: () => plot.close(), draw: (columns) => plot.draw([ctx.style()], columns) };
}
