// What the service has still to be told, in the order it happened.  Every entry keeps its key, so that a
// repetition counts once; what is refused is shown with its frame, never dropped.
import { Away } from "./api.js";
import { newId } from "./keep.js";

const SLOW_MS = 15000;
const KEY_LIVES_MS = 20 * 3600000; // the service forgets keys after a day

export class Outbox {
  constructor(api, keep, desk) {
    Object.assign(this, { api, keep, desk });
    this.waiting = [];
    this.busy = null;
    this.timer = null;
  }

  async open() {
    this.waiting = (await this.keep.outbox.all()).sort((a, b) => a.order - b.order);
  }

  get count() { return this.waiting.length; }

  waitsFor(item) {
    return this.waiting.some((entry) => entry.kind === "start" && entry.tried
      && Math.abs(Date.parse(entry.body.start) - Date.parse(item.created)) < 1000);
  }

  async add(entry) {
    const kept = { ...entry, key: newId(), tried: false, addedMs: this.api.now() };
    kept.order = await this.keep.outbox.put(kept);
    this.waiting.push(kept);
    this.flush();
  }

  /** Tell what waits; comes back by itself while the service is away. */
  flush() {
    this.busy ??= this.run().finally(() => {
      this.busy = null;
      this.desk.onFlushed();
    });
    return this.busy;
  }

  async run() {
    clearTimeout(this.timer);
    const held = new Set();
    for (let index = 0; index < this.waiting.length;) {
      const entry = this.waiting[index];
      const frame = this.desk.get(entry.frame);
      if (!frame) {
        await this.done(entry);
        continue;
      }
      if (held.has(entry.frame) || (entry.kind === "event" && !frame.serverId)) {
        index += 1;
        continue;
      }
      try {
        await this.tell(entry, frame);
        await this.done(entry);
      } catch (error) {
        if (error instanceof Away || error.passing) {
          this.timer = setTimeout(() => this.flush(), SLOW_MS);
          if (error instanceof Away) return;
          held.add(entry.frame);
          index += 1;
        } else if (error.status === undefined) {
          throw error;
        } else {
          await this.refuse(entry, frame, error);
          if (entry.kind === "start") held.add(entry.frame);
        }
      }
    }
  }

  async tell(entry, frame) {
    if (entry.kind === "start") {
      const late = entry.tried && this.api.now() - entry.addedMs > KEY_LIVES_MS ? await this.begunAlready(entry) : null;
      await this.tries(entry);
      await this.desk.heard(frame, late ?? (await this.api.post("v1/runs", entry.body, { key: entry.key })));
      return;
    }
    await this.tries(entry);
    const told = await this.api.post(`v1/runs/${frame.serverId}/events`, entry.body, { key: entry.key });
    const own = frame.events.find((event) => event.eventId === entry.eventId);
    if (own) Object.assign(own, { sequence: told.event.sequence, state: "kept" });
    await this.desk.heard(frame, told.run);
  }

  /** Keep that an entry may have arrived, before it is sent. */
  async tries(entry) {
    if (entry.tried) return;
    entry.tried = true;
    await this.keep.outbox.put(entry);
  }

  async begunAlready(entry) {
    const startMs = Date.parse(entry.body.start);
    const { runs } = await this.api.get("v1/runs?limit=200");
    const found = runs.find((run) => run.name === entry.body.name && Math.abs(Date.parse(run.created) - startMs) < 1000);
    return found ? this.api.get(`v1/runs/${found.id}`) : null;
  }

  async done(entry) {
    this.waiting = this.waiting.filter((other) => other !== entry);
    await this.keep.outbox.remove(entry.order);
  }

  async refuse(entry, frame, error) {
    const problem = { status: error.status, detail: error.message };
    if (error.status === 404 && entry.kind === "event") frame.lost = true;
    if (entry.kind === "start") frame.refused = problem;
    const own = frame.events.find((event) => event.eventId === entry.eventId);
    if (own) Object.assign(own, { state: "refused", problem });
    this.desk.restate(frame);
    await this.done(entry);
    await this.desk.save(frame);
  }
}
