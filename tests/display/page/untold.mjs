// Read sentences of the service as JSON; write which of them the page cannot say in German.
import { readFileSync } from "node:fs";
import { sayer } from "../../../ingest/display/page/core/sentences.js";
import { teller } from "../../../ingest/display/page/core/tell.js";

const read = (name) => JSON.parse(readFileSync(new URL(`../../../ingest/display/page/${name}`, import.meta.url), "utf8"));
const say = sayer(read("said/de.json"), teller(read("words/de.json"), read("words/en.json")));
const texts = JSON.parse(readFileSync(0, "utf8"));
process.stdout.write(JSON.stringify({ asked: texts.length, untold: texts.filter((text) => say(text).own) }));
