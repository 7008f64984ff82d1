// Reads {document, bad, said: [[message, payload]...]} and holds it to the official parser and to ajv.
// Prints {version, channels, complaints, bad, refused}: `bad` are the complaints about that document,
// `refused` the numbers of what ajv does not let through.
const { Parser } = require("@asyncapi/parser");
const Ajv = require("ajv");

const { document, bad, said } = JSON.parse(require("fs").readFileSync(0, "utf8"));
const parser = new Parser();
const errors = diagnostics => diagnostics.filter(each => each.severity < 2).map(each => each.message);

async function held() {
  const parsed = await parser.parse(JSON.stringify(document));
  const spoilt = await parser.parse(JSON.stringify(bad));
  const ajv = new Ajv({ strict: false });
  const checks = {};
  for (const [name, message] of Object.entries(document.components.messages)) {
    checks[name] = ajv.compile(message.payload.schema);
  }
  return {
    version: parsed.document && parsed.document.version(),
    channels: parsed.document && parsed.document.channels().all().length,
    complaints: errors(parsed.diagnostics),
    bad: errors(spoilt.diagnostics),
    refused: said.flatMap(([name, payload], number) => (checks[name](payload) ? [] : [number])),
  };
}

held().then(found => console.log(JSON.stringify(found)));
