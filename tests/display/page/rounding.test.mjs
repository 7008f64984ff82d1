// Rounding and figures. Sources: JCGM 100:2008 (GUM) 7.2.6 for 10.47 -> 11, 28.05 -> 28 and
// 10.058 with 0.027; ties to even after ISO 80000-1, from memory; the rest was worked by hand.
import assert from "node:assert/strict";
import { test } from "node:test";
import { figure, one, unitFor } from "../../../ingest/display/page/core/figure.js";
import { expanded, rounded } from "../../../ingest/display/page/core/rounding.js";

const DEG = { angle: "deg", mark: "point", diameter_mm: 500 };
const MINUTES = { ...DEG, angle: "min" };

test("an uncertainty has two digits, rounded upward but for a hair", () => {
  for (const [U, text] of [[10.47, "11"], [28.05, "28"], [0.0587, "0.059"], [0.0312, "0.032"], [0.027, "0.027"], [0.0996, "0.10"], [0.00995, "0.010"], [0.0012, "0.0012"], [120.2, "120"]]) {
    assert.equal(expanded(U).text, text);
  }
});

test("a value ends where its uncertainty ends, ties go to the even digit", () => {
  for (const [y, U, text] of [[-0.4231, 0.0587, "-0.423"], [-0.0004, 0.0312, "0.000"], [10.05762, 0.027, "10.058"], [0.125, 0.0996, "0.12"], [5, 0.00995, "5.000"], [1234.5, 120.2, "1230"], [89.99996, 0.0012, "90.0000"]]) {
    assert.equal(rounded(y, expanded(U).places), text);
  }
});

test("very large and very small numbers are written without an exponent", () => {
  assert.equal(rounded(1e21, 0), "1000000000000000000000");
  assert.equal(rounded(1e-9, 3), "0.000");
  assert.equal(rounded(-2.5, 0), "-2");
});

test("degrees and minutes round the total minutes, then split; the sign stays, zero has none", () => {
  const at = (value) => figure({ value, U: 0.02, k: 2, dp: 3, unit: "deg" }, MINUTES).value.trim();
  assert.equal(at(-0.08), "\u22120\u00b005\u2032");
  assert.equal(at(0.9995), "+1\u00b000\u2032");
  assert.equal(at(-0.004), "0\u00b000\u2032");
  assert.equal(at(-1.5), "\u22121\u00b030\u2032");
});

test("an uncertainty in minutes is rounded upward, and below one minute a decimal is kept", () => {
  assert.equal(figure({ value: 0.1, U: 0.0201, k: 2, dp: 3, unit: "deg" }, MINUTES).U, "2\u2032");
  const fine = figure({ value: 0.0583, U: 0.01, k: 2, dp: 4, unit: "deg" }, MINUTES);
  assert.equal(fine.value, "+0\u00b003.5\u2032");
  assert.equal(fine.U, "0.6\u2032");
});

test("a toe in mm is L sin(angle); nothing but a toe is told in mm", () => {
  // 0.25 deg across 500 mm: 500 * sin(0.25 deg) = 2.1817 mm; U 0.01 deg = 0.0873 mm
  const mm = { ...DEG, angle: "mm" };
  const shown = figure({ value: 0.25, U: 0.01, k: 2, dp: 3, unit: "deg", qty: "total-toe" }, mm);
  assert.deepEqual(shown, { value: "+2.18 mm", U: "0.09 mm", known: true });
  assert.equal(unitFor({ unit: "deg", qty: "camber" }, mm), "deg");
  assert.equal(unitFor({ unit: "deg", qty: "toe-out-on-turns" }, mm), "deg");
});

test("a comma is put where it is asked for, and k stands beside U where it is not 2", () => {
  const shown = figure({ value: -0.5, U: 0.1, k: 2.3, dp: 2, unit: "deg" }, { ...DEG, mark: "comma" });
  assert.deepEqual(shown, { value: "\u22120,50\u00b0", U: "0,10\u00b0, k = 2,3", known: true });
});

test("what is no number is no figure, and an uncertainty without its k is not known", () => {
  for (const value of [null, "1", NaN, Infinity, undefined, {}]) assert.equal(figure({ value, U: 0.1, k: 2, dp: 2, unit: "deg" }, DEG), null);
  for (const dp of [-1, 10, 1.5, null]) assert.equal(figure({ value: 1, U: 0.1, k: 2, dp, unit: "deg" }, DEG), null);
  assert.equal(figure({ value: 1, U: 0.1, k: null, dp: 2, unit: "deg" }, DEG).known, false);
  assert.equal(figure({ value: 1, U: -0.1, k: 2, dp: 2, unit: "deg" }, DEG).known, false);
  assert.equal(one(null, { unit: "deg", dp: 2 }, DEG), "\u2013");
});
