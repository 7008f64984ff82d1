// The way to the broker: MQTT over this server's own WebSocket. Messages are handed on as they come.

import mqtt from "../fetched/mqtt.esm.js";

const AGAIN_MS = 1000;
const REFUSED = [4, 5, 134, 135]; // bad user or password, not authorised: 3.1.1 and 5
const BRANCHES = ["svc/#", "head/#", "axle/#", "vehicle/#", "job/#", "cal/#", "evt/job"];

/** A name of its own for this page: two pages of one user never push each other out. */
export function drawName() {
  const bytes = crypto.getRandomValues(new Uint8Array(6));
  return `display-${[...bytes].map((each) => each.toString(16).padStart(2, "0")).join("")}`;
}

export class Broker {
  /**
   * @param {string} bay
   * @param {{message, packet, connected, closed, refused, guest}} on what is called when something
   *   happens
   * @param {boolean} home whether the broker may be one that lets everybody of this machine in
   */
  constructor(bay, on, home) {
    this.root = `levelhead/v1/${bay}`;
    this.on = on;
    this.name = drawName();
    this.login = null;
    this.home = home;
    this.client = null;
    this.timer = null;
  }

  /** Where answers to this page go: the broker lets each user hear their own alone. */
  get replyTo() {
    return `${this.root}/reply/${this.login?.user ?? this.name}`;
  }

  open() {
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const client = mqtt.connect(`${scheme}://${location.host}/mqtt`, {
      protocolVersion: 4, // what every broker speaks
      clientId: this.name, clean: true, keepalive: 15, connectTimeout: 4000,
      reconnectPeriod: 0, resubscribe: false, queueQoSZero: false,
      timerVariant: "native", // the other kind starts a worker from text, which the policy forbids
      ...this.credentials(),
    });
    this.client = client;
    const mine = (act) => (...got) => { if (this.client === client) act(...got); };
    client.on("connect", mine(() => this.connected(client)));
    client.on("message", mine((topic, payload, packet) => this.on.message({ topic, payload, retained: packet.retain })));
    client.on("packetreceive", mine(() => this.on.packet()));
    client.on("error", mine((error) => this.failed(error)));
    client.on("close", mine(() => this.again()));
  }

  /** At home with a name and a password of nobody: a broker that knows users turns them away. */
  credentials() {
    if (this.login) return { username: this.login.user, password: this.login.password };
    return this.home ? { username: this.name, password: drawName() } : {};
  }

  connected(client) {
    this.on.connected();
    client.subscribe([...BRANCHES.map((each) => `${this.root}/${each}`), this.replyTo], { qos: 0 });
  }

  failed(error) {
    if (!REFUSED.includes(error.code)) return;
    this.drop();
    if (!this.home || this.login) return this.on.refused();
    this.home = false; // this broker knows users: we are none of them, but may be let look on
    this.on.guest();
    this.open();
  }

  /** Come back by ourselves, a second later. */
  again() {
    this.drop();
    this.on.closed();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.open(), AGAIN_MS);
  }

  drop() {
    const client = this.client;
    this.client = null;
    client?.end(true);
  }

  /** Log in, or out with null, and begin anew. */
  as(login) {
    clearTimeout(this.timer);
    this.login = login;
    this.drop();
    this.open();
  }

  ping() {
    if (this.client?.connected) this.client.sendPing();
  }

  /** Send a request. Returns false where there is no connection: nothing waits to be sent later. */
  ask(name, wire) {
    if (!this.client?.connected) return false;
    // Under the user's own name, which the broker's permissions hold: so the service knows who asks.
    const own = this.login ? `/${this.login.user}` : "";
    this.client.publish(`${this.root}/cmd/${name}${own}`, JSON.stringify(wire), { qos: 0 });
    return true;
  }
}
