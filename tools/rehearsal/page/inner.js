// Runs inside of the page, before its own script: a clock that is moved by hand, and a broker behind
// the page's WebSocket, so that hours of messages pass as fast as the page takes them. All between
// (the MQTT client, the page, its plots) is what runs at the ramp.

(() => {
  const real = { timeout: setTimeout.bind(globalThis), channel: new MessageChannel(), wall: Date.now() };
  let now = 0, ids = 0, socket = null, frames = [];
  const timers = new Map();

  performance.now = () => now;
  Date.now = () => real.wall + now;
  const timer = (act, wait, every, more) => { ids += 1; timers.set(ids, { at: now + (wait || 0), every, act: () => act(...more) }); return ids; };
  globalThis.setTimeout = (act, wait, ...more) => timer(act, wait, 0, more);
  globalThis.setInterval = (act, wait, ...more) => timer(act, wait, Math.max(1, wait || 0), more);
  globalThis.clearTimeout = globalThis.clearInterval = (id) => timers.delete(id);
  globalThis.setImmediate = (act, ...more) => timer(act, 0, 0, more);
  globalThis.requestAnimationFrame = (act) => { frames.push(act); return frames.length; };

  function runTimers() {
    for (let ran = true; ran; ) {
      ran = false;
      for (const [id, each] of timers) {
        if (each.at > now) continue;
        if (each.every) each.at = now + each.every;
        else timers.delete(id);
        each.act();
        ran = true;
      }
    }
  }
  const breathe = () => new Promise((done) => { real.channel.port1.onmessage = done; real.channel.port2.postMessage(0); });

  /** The broker's end of the WebSocket: MQTT 3.1.1, CONNACK (3.2), SUBACK (3.9), PINGRESP (3.13). */
  class Inner extends EventTarget {
    constructor() {
      super();
      Object.assign(this, { readyState: 0, binaryType: "arraybuffer", bufferedAmount: 0, protocol: "mqtt", url: "inner" });
      setTimeout(() => { socket = this; this.readyState = 1; this.tell("open", new Event("open")); }, 0);
    }
    tell(name, event) { this[`on${name}`]?.(event); this.dispatchEvent(event); }
    give(bytes) { this.tell("message", new MessageEvent("message", { data: bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength) })); }
    send(data) {
      const bytes = new Uint8Array(data.buffer ?? data), kind = bytes[0] >> 4;
      if (kind === 1) this.give(Uint8Array.of(0x20, 2, 0, 0));
      if (kind === 8) { this.give(suback(bytes)); globalThis.feed.greeted = true; }
      if (kind === 12) this.give(Uint8Array.of(0xd0, 0));
    }
    close() { if (this.readyState < 2) { this.readyState = 3; if (socket === this) socket = null; setTimeout(() => this.tell("close", new CloseEvent("close", { wasClean: true, code: 1000 })), 0); } }
  }
  Object.assign(Inner, { CONNECTING: 0, OPEN: 1, CLOSING: 2, CLOSED: 3 });
  globalThis.WebSocket = Inner;

  function suback(bytes) {
    let at = 1;
    while (bytes[at] & 128) at += 1; // the remaining length
    at += 1;
    const [high, low] = [bytes[at], bytes[at + 1]];
    let count = 0;
    for (at += 2; at < bytes.length; count += 1) at += 2 + (bytes[at] << 8) + bytes[at + 1] + 1;
    return Uint8Array.of(0x90, 2 + count, high, low, ...Array(count).fill(0));
  }
  const encoder = new TextEncoder();
  function publish(topic, body, retain) {
    const name = encoder.encode(topic), payload = encoder.encode(body === null ? "" : JSON.stringify(body)), length = 2 + name.length + payload.length;
    const header = [0x30 | (retain ? 1 : 0)];
    for (let rest = length; header.length === 1 || rest > 0; rest >>= 7) header.push((rest & 127) | (rest > 127 ? 128 : 0));
    const packet = new Uint8Array(header.length + length);
    packet.set(header);
    packet.set([name.length >> 8, name.length & 255], header.length);
    packet.set(name, header.length + 2);
    packet.set(payload, header.length + 2 + name.length);
    return packet;
  }

  globalThis.feed = {
    greeted: false,
    messages: 0,
    now: () => now,
    say(topic, body, retain = false) { this.messages += 1; socket?.give(publish(`levelhead/v1/bay1/${topic}`, body, retain)); },
    cut() { socket?.close(); },
    /** Let so much time pass, a step at a time. */
    async pass(ms, step = 100, each = () => {}) {
      for (const end = now + ms; now < end; ) {
        now += step;
        each(now);
        runTimers();
        await breathe();
        runTimers();
        const due = frames;
        frames = [];
        for (const act of due) act(now);
      }
    },
  };
})();
