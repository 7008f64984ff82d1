// What the service says in English, told in the reader's language: whole, in parts, or as its own words.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import { sayer } from "../../../ingest/display/page/core/sentences.js";
import { teller } from "../../../ingest/display/page/core/tell.js";

const WORDS = new URL("../../../ingest/display/page/", import.meta.url);
const read = (name) => JSON.parse(readFileSync(new URL(name, WORDS), "utf8"));
const de = sayer(read("said/de.json"), teller(read("words/de.json"), read("words/en.json")));
const en = sayer(null, teller(read("words/en.json"), {}));

test("a known sentence is told with its values, in parts where it is of parts", () => {
  assert.deepEqual(de("mount heads on axles 2 and 3"), { text: "Messköpfe an Achsen 2 und 3", own: false });
  assert.deepEqual(de("no head on axle 1 left; mount one and say where it is"), { text: "kein Messkopf an Achse 1 links; einen anbringen und sagen, wo er ist", own: false });
  assert.equal(de("axle/1/left/camber is not settled yet; wait, or look at its head").text, "Achse 1 links, Sturz ruht noch nicht; warten, oder nach dem Messkopf sehen");
  assert.equal(de("Take the heads off axle 4. Clamp a head to each wheel of axle 1; say which head is where.").own, false);
  assert.equal(de("axle/4/both/total-toe").text, "Achse 4, Gesamtspur");
});

test("what is not known whole stays as it was said, and is marked", () => {
  for (const text of ["mount heads on axles 2 and 3, gently", "Take the heads off axle 4. And sing.", "<b>begin</b>", "x".repeat(1000)]) {
    assert.deepEqual(de(text), { text, own: true });
  }
  assert.deepEqual(de(""), { text: "", own: false });
  assert.deepEqual(de(undefined), { text: "", own: false });
});

test("in English nothing is marked, and a result is called by its name", () => {
  assert.deepEqual(en("mount heads on axle 2"), { text: "mount heads on axle 2", own: false });
  assert.equal(en("axle/1/left/camber").text, "axle 1 left, camber");
});

test("a place holds no further sentence, nor a further clause; a list is told item by item", () => {
  const told = de("A simulated vehicle stands on this ramp: rigid-8x4, limits pellowmere-17. Lead the job from here; simulated hands clamp, turn, steer and adjust as each step asks.");
  assert.equal(told.own, false);
  assert.doesNotMatch(told.text, /Lead|hands/);
  assert.deepEqual(de("not determined yet: toe L1, toe R1, heading axle 2 and 22 more; still to be read: L1 to L2, L2 to L1, R1 to R2 and 17 more"), { text: "noch nicht bestimmt: Spur L1, Spur R1, Richtung Achse 2 und 22 weitere; noch zu lesen: L1 nach L2, L2 nach L1, R1 nach R2 und 17 weitere", own: false });
  assert.equal(de("not determined: toe L1; add direction L1 to L2 (with heads on L1 and L2 at once)").text, "nicht bestimmt: Spur L1; ergänzen: Richtung L1 nach L2 (mit Messköpfen an L1 und L2 zugleich)");
});

test("what a person wrote may be of several sentences, and stands as it was written", () => {
  assert.deepEqual(de("Given up: Sold. Taken away today. See that whatever was loosened is tight."), { text: "Aufgegeben: Sold. Taken away today. Nachsehen, dass alles Gelöste fest ist.", own: false });
});

test("every place of a translation is one of its sentence", () => {
  for (const [from, to] of Object.entries(read("said/de.json"))) {
    const places = (text) => (text.match(/\{\w+\}/g) ?? []).sort();
    assert.deepEqual(places(to), places(from), from);
  }
});

test("amounts in what is translated have the reader's decimal mark", () => {
  const comma = sayer({ "put in {n} of {figure} mm; it holds {what}": "{n} zu {figure} mm einlegen; es enthält {what}" }, (key) => key, ",");
  assert.equal(comma("put in 1 of 0.5 mm; it holds 3 mm + 0.5 mm").text, "1 zu 0,5 mm einlegen; es enthält 3 mm + 0,5 mm");
});
