// A value with its decision, as every view shows it.

import { DASH, figure, one } from "../core/figure.js";
import { DECISION, isNumber, word } from "../core/words.js";
import { el, mark, shape, write } from "./dom.js";

/** Number and U; a dash in a dashed outline where there is no data. */
export function numberBlock(className = "figure") {
  const main = el("span", { class: "main" }), U = el("span", { class: "u" });
  const element = el("p", { class: `number ${className}` }, main, U);
  return {
    element,
    draw({ state, body }, style, tell) {
      const shown = state === "no-data" ? null : figure(body, style);
      mark(element, `number ${className} ${shown ? state : "no-data"}`);
      write(main, shown ? shown.value : ` ${DASH} `);
      write(U, shown ? ` \u00b1\u00a0${shown.known ? shown.U : tell("value.u-unknown")}` : "");
    },
  };
}

/** The word that says how a value stands: its decision, or why there is none. */
export function standing({ state, why, body, dec }, tell) {
  if (state === "no-data") return { name: "none", word: tell("state.no-data"), more: tell(`why.${why}`) };
  if (state === "last-known") return { name: "none", word: tell("state.last-known"), more: tell("state.not-live") };
  const more = why ? tell(`why.${why}`) : "";
  if (dec !== "none") return { name: dec, word: tell(`state.${dec}`), more };
  if (!isNumber(body.U)) return { name: "", word: tell("state.undecided-no-u"), more };
  const limits = isNumber(body.lo) || isNumber(body.hi);
  return { name: "", word: tell(limits ? "state.no-decision" : "state.no-limits"), more };
}

export function decisionBlock(className = "decision") {
  const sign = shape(), word = el("strong"), more = el("span", { class: "small" });
  const element = el("p", { class: className }, sign.element, word, more);
  return {
    element,
    draw(value, tell) {
      const told = standing(value, tell);
      sign.element.toggleAttribute("hidden", told.name === "");
      if (told.name) sign.set(told.name);
      write(word, told.word);
      write(more, told.more ? ` ${told.more}` : "");
    },
  };
}

/** A value and its U on one line, with its decision where it has one. */
export function pairText(body, style, tell) {
  const shown = figure(body, style);
  if (shown === null) return DASH;
  const dec = word(body.dec, DECISION, "none");
  return `${shown.value.trim()}\u00a0\u00b1\u00a0${shown.known ? shown.U : tell("value.u-unknown")}${dec === "none" ? "" : `, ${tell(`state.${dec}`)}`}`;
}

/** Limits in words: from, to, or both. */
export function limitsText(body, style, tell) {
  const low = isNumber(body.lo) ? one(body.lo, body, style) : null;
  const high = isNumber(body.hi) ? one(body.hi, body, style) : null;
  if (low !== null && high !== null) return tell("limits.both", { low, high });
  if (low !== null) return tell("limits.low", { low });
  return high !== null ? tell("limits.high", { high }) : "";
}
