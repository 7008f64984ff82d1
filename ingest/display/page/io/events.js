// For looking on where there is no broker: the server's own stream of messages.

const AGAIN_MS = 1000;

export class Events {
  constructor(on) {
    this.on = on;
    this.stream = null;
    this.login = null;
    this.replyTo = "";
    this.canAsk = false;
  }

  open() {
    const stream = new EventSource("/events");
    this.stream = stream;
    stream.addEventListener("start", () => { this.on.packet(); this.on.connected(); });
    stream.addEventListener("beat", () => this.on.packet());
    stream.addEventListener("message", ({ data }) => { this.on.packet(); this.on.message(JSON.parse(data)); });
    stream.addEventListener("error", () => { if (this.stream === stream) this.again(); });
  }

  again() {
    this.stream?.close();
    this.stream = null;
    this.on.closed();
    setTimeout(() => { if (this.stream === null) this.open(); }, AGAIN_MS);
  }

  ping() {}

  ask() {
    return false;
  }
}
