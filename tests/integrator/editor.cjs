// Runs the flow of the kit in the flow editor's own runtime, without its editor:
// node editor.cjs FOLDER FLOW PORT. What the flow shows comes out as lines "TOPIC: TEXT".
const fs = require("fs");
const http = require("http");
const RED = require("node-red");

const [folder, file, port] = process.argv.slice(2);
const flow = JSON.parse(fs.readFileSync(file, "utf8"));
flow.find(node => node.type === "mqtt-broker").port = port;
fs.writeFileSync(`${folder}/flows.json`, JSON.stringify(flow));
RED.init(http.createServer(), {
  userDir: folder,
  flowFile: "flows.json",
  httpAdminRoot: false,
  httpNodeRoot: false,
  functionExternalModules: false,
  telemetry: { enabled: false, updateNotification: false },
  externalModules: { autoInstall: false, palette: { allowInstall: false } },
  logging: {
    lines: {
      level: "info",
      metrics: false,
      handler: () => said => {
        if (said.type === "debug" && said.name === "shown") console.log(said.msg);
        else if (said.level <= 30) console.error(said.type || "", said.msg);
      },
    },
  },
});
RED.start().catch(error => { console.error(error); process.exit(1); });
