// What was read or judged while the service was away, told later: each once, by its key, and what is refused
// stays to be seen.  What belongs to an exposure waits until the service knows how that ended.
import { Away } from "./api.js";
import { newId } from "./keep.js";

const NAME = "bench waiting";
const PATIENCE_MS = 15000, AGAIN_MS = 15000;

export class BenchPost {
  static of(app) {
    app.benchPost ??= new BenchPost(app);
    return app.benchPost;
  }

  constructor(app) {
    this.app = app;
    this.busy = null;
    this.list = null;
    this.hopes = new Map();
    setInterval(() => { if (this.list?.some((one) => !one.refused)) this.flush().catch(() => {}); }, AGAIN_MS);
    app.listen((what) => { if (what === "reach" || what === "visible") this.flush().catch(() => {}); });
  }

  async waiting() {
    const kept = this.list === null ? (await this.app.keep.things.get(NAME)) ?? [] : null;
    this.list ??= kept;
    return this.list;
  }

  async store() {
    await this.app.keep.things.put(this.list.map((entry) => ({ ...entry })), NAME);
    this.app.changed("bench", this.list.length);
  }

  /**
   * Tell something: `{ path, body, frame, what }`.  Gives the answer, or null while it waits; `later` hears of an
   * answer that comes after all.
   */
  async tell(entry, later = () => {}) {
    const kept = { ...entry, key: newId(), refused: null };
    (await this.waiting()).push(kept);
    await this.store();
    await this.busy?.catch(() => {});
    const answers = await this.flush();
    if (kept.refused) {
      await this.drop(kept.key); // shown where it was just asked for, with all that was typed still there
      throw Object.assign(new Error(kept.refused), { status: 422 });
    }
    const answer = answers.get(kept.key) ?? null;
    if (!answer) this.hopes.set(kept.key, later);
    return answer;
  }

  async drop(key) {
    this.list = (await this.waiting()).filter((one) => one.key !== key);
    await this.store();
  }

  async again(key) {
    const entry = (await this.waiting()).find((one) => one.key === key);
    if (entry) Object.assign(entry, { refused: null, key: newId() });
    await this.store();
    return this.flush();
  }

  flush() {
    this.busy ??= this.run().finally(() => { this.busy = null; });
    return this.busy;
  }

  async run() {
    const { app } = this;
    const answers = new Map();
    for (const entry of [...(await this.waiting())]) {
      if (entry.refused) continue;
      const body = { ...entry.body };
      if (entry.frame) {
        await app.frames.outbox.flush();
        const frame = app.frames.get(entry.frame);
        if (frame && (!frame.serverId || frame.events.some((event) => event.state === "waiting"))) continue;
        if (frame) body.run_id = frame.serverId;
      }
      try {
        answers.set(entry.key, await app.api.post(entry.path, body, { key: entry.key, patienceMs: PATIENCE_MS }));
        await this.drop(entry.key);
        this.hopes.get(entry.key)?.(answers.get(entry.key));
        this.hopes.delete(entry.key);
      } catch (error) {
        if (error instanceof Away) break;
        if (error.passing) continue;
        if (error.status === undefined) throw error;
        entry.refused = error.message;
        await this.store();
      }
    }
    return answers;
  }
}
