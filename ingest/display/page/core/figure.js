// A value with its uncertainty as text: degrees, minutes or mm, decimal point or comma.

import { expanded, rounded } from "./rounding.js";
import { isNumber, isPlaces } from "./words.js";

export const DASH = "\u2013";
const MINUS = "\u2212", FIGURE_SPACE = "\u2007";
const SIGNS = { deg: "\u00b0", mm: " mm", "mm/m": " mm/m", "[in_i]": " in", Cel: " \u00b0C", s: " s", "%": " %", 1: "" };

export function unitSign(unit) {
  return Object.hasOwn(SIGNS, unit) ? SIGNS[unit] : " ?";
}

/** Write a sign that is always there, or a blank of a digit's width before zero. */
function signed(text) {
  if (text.startsWith("-")) return MINUS + text.slice(1);
  return (/[1-9]/.test(text) ? "+" : FIGURE_SPACE) + text;
}

function marked(text, style) {
  return style.mark === "comma" ? text.replace(".", ",") : text;
}

/** Whole minutes with their degrees: total minutes are rounded, then split; the sign stays. */
function inMinutes(value, U, style) {
  const fine = isNumber(U) && U * 60 < 1 ? 1 : 0;
  const text = rounded(value * 60, fine), minutes = Math.abs(Number(text));
  const degrees = Math.floor(minutes / 60 + 1e-9), rest = (minutes - 60 * degrees).toFixed(fine);
  const sign = minutes === 0 ? FIGURE_SPACE : text.startsWith("-") ? MINUS : "+";
  const value_ = `${sign}${degrees}\u00b0${rest.padStart(fine ? 4 : 2, "0")}\u2032`;
  if (!isNumber(U)) return { value: marked(value_, style), U: "" };
  const steps = 10 ** fine, up = (Math.ceil(U * 60 * steps - 0.05) / steps).toFixed(fine);
  return { value: marked(value_, style), U: marked(`${up}\u2032`, style) };
}

/** A toe as the difference of two distances across a diameter: mm = L sin(angle). */
function inMillimetres(value, U, style) {
  const turn = Math.PI / 180, across = style.diameter_mm;
  const mm = across * Math.sin(value * turn);
  if (!isNumber(U) || U <= 0) return { value: marked(`${signed(rounded(mm, 1))} mm`, style), U: "" };
  const shown = expanded(across * Math.cos(value * turn) * U * turn);
  const places = Math.min(2, shown.places);
  return {
    value: marked(`${signed(rounded(mm, places))} mm`, style),
    U: marked(`${places < shown.places ? (Math.ceil(Number(shown.text) * 100) / 100).toFixed(2) : shown.text} mm`, style),
  };
}

/** Which way an angle is told: mm where the quantity is a toe, for it means nothing elsewhere. */
export function unitFor(body, style) {
  if (body.unit !== "deg") return body.unit;
  if (style.angle === "mm") return /(^|[-/])toe$/.test(body.qty ?? "") ? "mm" : "deg";
  return style.angle === "min" ? "min" : "deg";
}

/**
 * Write value and U of a body.
 * @param {{value: ?number, U: ?number, k: ?number, dp: number, unit: string, qty?: string}} body
 * @param {{angle: string, mark: string, diameter_mm: number}} style
 * @returns {?{value: string, U: string, known: boolean}} null where there is no value to write
 */
export function figure(body, style) {
  if (!isNumber(body.value) || !isPlaces(body.dp)) return null;
  const known = isNumber(body.U) && body.U >= 0 && isNumber(body.k);
  const U = known ? body.U : null, unit = unitFor(body, style);
  const shown = unit === "min" ? inMinutes(body.value, U, style)
    : unit === "mm" && body.unit === "deg" ? inMillimetres(body.value, U, style)
    : inOwnUnit(body, U, style);
  return { value: shown.value, U: known ? shown.U + coverage(body.k, style) : "", known };
}

function inOwnUnit(body, U, style) {
  const sign = unitSign(body.unit);
  return {
    value: marked(signed(rounded(body.value, body.dp)), style) + sign,
    U: U === null ? "" : marked(U > 0 ? expanded(U).text : rounded(U, body.dp), style) + sign,
  };
}

function coverage(k, style) {
  return k === 2 ? "" : marked(`, k = ${k}`, style);
}

/** Write one number of a body's unit, such as a limit or how far to go. */
export function one(number, body, style) {
  if (!isNumber(number)) return DASH;
  const shown = figure({ ...body, value: number, U: null, k: null, dp: isPlaces(body.dp) ? body.dp : 3 }, style);
  return shown ? shown.value.trim() : DASH;
}
