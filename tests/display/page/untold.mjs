// Read sentences of the service as JSON; write which of them the page cannot say in German, and which
// it says half in English: words that are English alone are none of its translation.
import { readFileSync } from "node:fs";
import { sayer } from "../../../ingest/display/page/core/sentences.js";
import { teller } from "../../../ingest/display/page/core/tell.js";

const ENGLISH = /\b(the|of|and|or|is|it|its|to|from|with|turn|turned|seen|wheel|wheels|head|heads|axle|axles|left|right|rear|front|forward|rearward|wedge|degrees)\b/;
const read = (name) => JSON.parse(readFileSync(new URL(`../../../ingest/display/page/${name}`, import.meta.url), "utf8"));
const say = sayer(read("said/de.json"), teller(read("words/de.json"), read("words/en.json")));
const texts = JSON.parse(readFileSync(0, "utf8")), told = texts.map((text) => say(text));
process.stdout.write(JSON.stringify({ asked: texts.length, untold: texts.filter((_, at) => told[at].own), half: told.filter(({ own, text }) => !own && ENGLISH.test(text)).map(({ text }) => text) }));
