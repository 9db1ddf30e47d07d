// Following frames by the service's word: a stream for the frame that is looked at, a question now and then for
// the others, and questions only where streams do not come through.
import { ENDED } from "./frames.js";

const POLL_MS = 15000, OTHERS_MS = 30000, RETRY_MS = 20000;

export class Follower {
  constructor(api, desk) {
    Object.assign(this, { api, desk });
    this.shown = null;
    this.source = null;
    this.of = null;
    this.askedMs = new Map();
    this.retryMs = 0;
  }

  /** Look at one frame, or at none. */
  look(id) {
    this.shown = id;
    this.turn(true);
  }

  /** Called every second or so, and at once when something changed. */
  turn(atOnce = false) {
    const nowMs = Date.now();
    const frame = this.shown ? this.desk.get(this.shown) : null;
    const wanted = frame?.serverId && !frame.lost && !ENDED.includes(frame.status) ? frame.serverId : null;
    if (this.of !== wanted) this.close();
    if (wanted && !this.source && (atOnce || nowMs >= this.retryMs)) this.openStream(frame).catch(() => {});
    for (const one of this.desk.underWay()) {
      const streams = one.serverId === this.of && this.source?.readyState === EventSource.OPEN;
      if (!one.serverId || one.lost || (streams && !atOnce)) continue;
      const every = one.id === this.shown ? POLL_MS : OTHERS_MS;
      if (atOnce || nowMs - (this.askedMs.get(one.id) ?? 0) >= every) {
        this.askedMs.set(one.id, nowMs);
        this.desk.refresh(one).catch(() => {});
      }
    }
  }

  async openStream(frame) {
    const address = `v1/runs/${frame.serverId}/stream`;
    Object.assign(this, { of: frame.serverId, retryMs: Date.now() + RETRY_MS });
    // a stream can send no key; a ticket opens it instead, once
    const ticket = this.api.key ? (await this.api.post("v1/tickets", {})).ticket : null;
    if (this.of !== frame.serverId || this.source) return;
    const source = new EventSource(ticket ? `${address}?ticket=${ticket}` : address);
    this.source = source;
    source.addEventListener("state", (event) => {
      const answer = JSON.parse(event.data);
      this.api.reached(true);
      this.desk.heard(frame, answer);
    });
    source.addEventListener("told", (event) => this.desk.heardEvents(frame, [JSON.parse(event.data)]));
    source.addEventListener("error", () => {
      if (source.readyState === EventSource.CLOSED && this.source === source) this.close();
    });
  }

  close() {
    this.source?.close();
    this.source = null;
    this.of = null;
  }
}
