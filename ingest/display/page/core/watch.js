// Whether a connection is alive, seen within two seconds: a ping goes out while nothing comes,
// and a silence in spite of it is a loss, whatever the socket says.

export const PING_MS = 600;
export const SILENT_MS = 1500;
export const SLEPT_MS = 3000;

export class Watch {
  constructor() {
    this.heardAt = null;
    this.askedAt = null;
    this.tickedAt = null;
  }

  heard(now) {
    this.heardAt = now;
  }

  /** The socket is gone, or a new one begins. */
  reset() {
    this.heardAt = this.askedAt = null;
  }

  /**
   * Say what is to be done; call it every quarter of a second.
   * @param {number} now monotonic ms
   * @returns {{ping: boolean, lost: boolean, slept: boolean}}
   */
  tick(now) {
    const slept = this.tickedAt !== null && now - this.tickedAt > SLEPT_MS;
    this.tickedAt = now;
    if (this.heardAt === null) return { ping: false, lost: false, slept };
    if (slept) {
      this.heardAt = now; // nobody looked meanwhile: begin to count anew, and ask at once
      this.askedAt = now;
      return { ping: true, lost: false, slept };
    }
    const lost = now - this.heardAt > SILENT_MS;
    const ping = !lost && now - Math.max(this.heardAt, this.askedAt ?? 0) >= PING_MS;
    if (ping) this.askedAt = now;
    return { ping, lost, slept };
  }
}
