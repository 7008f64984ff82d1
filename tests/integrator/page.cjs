// Runs the script of display.html without a browser: node page.cjs FILE QUERY
// What it writes into the page is printed as a line where it changes.
const fs = require("fs");
const vm = require("vm");

const [script] = fs.readFileSync(process.argv[2], "utf8").match(/(?<=<script>)[^]*(?=<\/script>)/);
const page = { what: {}, value: {}, word: {} };
vm.runInNewContext(script, {
  URLSearchParams, TextEncoder, TextDecoder, Uint8Array, performance, setTimeout, setInterval,
  WebSocket: require("ws"),
  location: { search: process.argv[3] },
  document: { getElementById: name => page[name] },
});
let shown = "";
setInterval(() => {
  const now = `${page.value.textContent} ${page.word.textContent}`;
  if (now !== shown) console.log(now);
  shown = now;
}, 20);
