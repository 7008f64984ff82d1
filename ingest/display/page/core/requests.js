// What was asked of the service, and what came of it: sent, done, refused, or no answer.

export const ANSWER_MS = 5000;
export const AGAIN_MS = 2000;
export const MOST_KEPT = 6;

export class Requests {
  /** @param {() => string} mark draws an id of its own for each request */
  constructor(mark) {
    this.mark = mark;
    this.all = [];
  }

  /** Begin a request; returns it with the fields that go on the wire. */
  begin(name, fields, { replyTo, by }, now) {
    const id = this.mark();
    const wire = { id, reply_to: replyTo, ...(by ? { by } : {}), ...fields };
    const request = { id, name, wire, state: "sent", code: "", text: "", at: now, sentAt: now };
    this.all = [...this.all.slice(1 - MOST_KEPT), request];
    return request;
  }

  /** The request could not leave. */
  unsent(id) {
    this.settle(id, "unsent", "no-connection", "");
  }

  /** Take a reply: only the one to an open request counts. */
  reply(body) {
    if (typeof body.id !== "string") return;
    const ok = body.ok === true;
    this.settle(body.id, ok ? "done" : "refused", String(body.code ?? "failed"), String(body.text ?? ""));
  }

  settle(id, state, code, text) {
    const request = this.all.find((each) => each.id === id);
    if (request?.state === "sent") Object.assign(request, { state, code, text });
  }

  /** Requests to be sent once more; after five seconds without an answer they are given up. */
  due(now) {
    const open = this.all.filter((each) => each.state === "sent");
    for (const each of open) if (now - each.at >= ANSWER_MS) this.settle(each.id, "no-answer", "", "");
    const again = open.filter((each) => each.state === "sent" && now - each.sentAt >= AGAIN_MS);
    for (const each of again) each.sentAt = now;
    return again;
  }

  /** Whether a request of this name is still open: its button waits. */
  waiting(name) {
    return this.all.some((each) => each.name === name && each.state === "sent");
  }
}
