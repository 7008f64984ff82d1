// What the service says in English, in the reader's language where the sentence is a known one; else
// it stays the service's own words, and is to be shown as such.

import { isResult, nameOf } from "./names.js";

const WHERE = "axles? [\\d, and]+(?: left| right)?", NUMBER = "[\\d.]+", WHEEL = "[LR]\\d+|P";
const KINDS = { n: "\\d+", m: "\\d+", rest: "\\d+", list: "[\\d, ]+", figure: NUMBER, figure2: NUMBER, where: WHERE, there: WHERE, sign: "[+-]?", ...Object.fromEntries(["wheel", "wheel2", "wheel3", "wheel4"].map((name) => [name, WHEEL])) };
const SENTENCE = /(?<=[.?!]) +(?=[A-Z])/, CLAUSE = /; +/;
const NUMBERS = /^\d+(\.\d+)?( mm( \+ \d+(\.\d+)? mm)*)?$/;
const DEEPEST = 4, MOST_KEPT = 200;

/**
 * Return what translates.
 * @param {?object} table sentences with {places} in English, and the same in the reader's language;
 *   null where the reader's language is English
 * @param {(key: string, values?: object) => string} tell
 * @param {string} mark the decimal mark: what is translated has the reader's
 * @returns {(text: string) => {text: string, own: boolean}} `own`: the words are the service's own
 */
export function sayer(table, tell, mark = ".") {
  const rules = table === null ? [] : compiled(table);

  /** `way`: whether a place may hold more than one sentence, as what a person wrote may. */
  function one(text, depth, way = "within") {
    const end = text.endsWith(".") ? "." : "", bare = end ? text.slice(0, -1) : text;
    for (const { to, [way]: pattern } of rules) {
      const found = pattern.exec(bare);
      if (found) return to.replace(/\{(\w+)\}/g, (_, name) => inner(found.groups[name] ?? "", depth + 1)) + end;
    }
    return null;
  }

  /** A part of a sentence: a result's name, words that are known, or a list of such, else as it stands. */
  function inner(text, depth) {
    if (isResult(text)) return nameOf(text, tell);
    if (NUMBERS.test(text)) return text.replaceAll(".", mark);
    if (depth > DEEPEST) return text;
    return one(text, depth) ?? text.split(", ").map((part) => one(part, depth) ?? part).join(", ");
  }

  function apart(text, by, join, next) {
    const parts = text.split(by), told = parts.map(next);
    return told.includes(null) ? null : told.join(join);
  }

  /** A sentence; one that begins another may begin with a capital that it has not by itself. */
  function sentence(text) {
    const small = text.charAt(0).toLowerCase() + text.slice(1);
    return one(text, 0) ?? (small === text ? null : one(small, 0)) ?? apart(text, CLAUSE, "; ", (clause) => one(clause, 0));
  }

  function told(whole) {
    if (isResult(whole)) return { text: nameOf(whole, tell), own: false };
    if (table === null || !/[a-z]/.test(whole)) return { text: whole, own: false };
    const found = one(whole, 0) ?? apart(whole, SENTENCE, " ", (each) => like(sentence(each), each)) ?? one(whole, 0, "across");
    return found === null ? { text: whole, own: true } : { text: like(found, whole), own: false };
  }

  const before = new Map(); // a page draws many times a second what changes now and then
  return (text) => {
    const whole = String(text ?? "");
    if (!before.has(whole)) {
      if (before.size >= MOST_KEPT) before.clear();
      before.set(whole, told(whole));
    }
    return before.get(whole);
  };
}

/** Begin as the English does: a title may be inside a sentence or stand alone. */
function like(told, english) {
  return told !== null && /^[A-Z]/.test(english) ? told.charAt(0).toUpperCase() + told.slice(1) : told;
}

/** The longest sentence first: what says more goes before what fits more. */
function compiled(table) {
  const plain = (text) => text.replace(/[.*+?^${}()|[\]\\]/g, "\\$&");
  const pattern = (from, any) => new RegExp(`^${from.split(/(\{\w+\})/).map((part) => (/^\{\w+\}$/.test(part) ? `(?<${part.slice(1, -1)}>${KINDS[part.slice(1, -1)] ?? any})` : plain(part))).join("")}$`);
  return Object.entries(table)
    .map(([from, to]) => [from.replace(/\.$/, ""), to.replace(/\.$/, "")])
    .sort(([a], [b]) => b.replace(/\{\w+\}/g, "").length - a.replace(/\{\w+\}/g, "").length)
    .map(([from, to]) => ({ to, within: pattern(from, "(?:(?![.?!] +[A-Z]|; ).)+?"), across: pattern(from, ".+?") }));
}
