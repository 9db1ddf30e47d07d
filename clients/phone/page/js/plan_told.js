// A saved session on this phone: its plan as last heard, and what was told of it, which survives silence.
// What is told goes to the service in order, each batch under one key, so that a lost answer never counts twice.
import { Away, Problem } from "./api.js";
import { newId } from "./keep.js";
import { instant } from "./moments.js";

const PATIENCE_MS = 30000, MOST_TURNS = 4;
const BEHIND_MS = 2000; // clocks may differ by so much, and the future is refused

const same = (one, other) => one.kind === other.kind && one.sheet_id === other.sheet_id && Date.parse(one.at) === Date.parse(other.at);

export class Told {
  constructor(app, id, record) {
    this.app = app;
    this.id = id;
    this.record = record;
    this.onChange = () => {};
    this.away = false;
    this.sending = null;
    this.looking = null;
  }

  static async open(app, id) {
    const kept = await app.keep.things.get(`plan session ${id}`);
    return new Told(app, id, kept ?? { saved: null, keptMs: null, waiting: [], batch: null, ticks: {}, refused: [], changed: false });
  }

  get plan() { return this.record.saved?.plan ?? null; }

  /** Everything told that the plan may not know yet. */
  get untold() { return [...(this.record.batch?.body.events ?? []), ...this.record.waiting.map((one) => one.event).filter(Boolean)]; }

  get events() { return [...(this.record.saved?.events ?? []), ...this.untold]; }

  /** Whether something waits to be heard by the service. */
  get waits() { return this.record.waiting.length + (this.record.batch ? 1 : 0); }

  /** Whether a step is over, by the plan or by what was told since. */
  isDone(step) {
    const sheet = this.plan.sheets.find((one) => one.sheet_id === step.sheet_id);
    const has = (kind) => this.untold.some((event) => event.kind === kind && event.sheet_id === step.sheet_id);
    if (!sheet) return step.state === "done";
    if (sheet.state === "dropped" || has("dropped")) return true;
    if (step.kind === "load") return sheet.state !== "planned" || has("started");
    if (step.kind === "expose" || step.kind === "unload") return sheet.state === "done" || has("ended");
    return step.state === "done" || Boolean(this.record.ticks[step.id]);
  }

  /** The first thing that hands have still to do. */
  get next() { return this.plan?.steps.find((step) => step.hands && !this.isDone(step)) ?? null; }

  /** The one after that. */
  get second() {
    const { next } = this;
    return this.plan?.steps.find((step) => step !== next && step.hands && !this.isDone(step)) ?? null;
  }

  /** Sheets in the light by what is known here. */
  inLight() {
    const begun = new Set(this.untold.filter((event) => event.kind === "started").map((event) => event.sheet_id));
    return (this.plan?.sheets ?? []).filter((sheet) => (sheet.state === "running" || begun.has(sheet.sheet_id))
      && !this.untold.some((event) => ["ended", "dropped"].includes(event.kind) && event.sheet_id === sheet.sheet_id));
  }

  async save() {
    await this.app.keep.things.put(this.record, `plan session ${this.id}`);
    this.onChange();
  }

  /** Look at it anew, unless something is on its way. */
  async look() {
    if (this.waits) return this.flush();
    try {
      await this.heard(await this.app.api.get(`v1/sessions/${encodeURIComponent(this.id)}`));
    } catch (error) {
      if (!(error instanceof Away || error.passing)) throw error;
      this.away = true;
      this.onChange();
    }
    return undefined;
  }

  async heard(saved) {
    this.away = false;
    this.record.saved = saved;
    this.record.keptMs = this.app.now;
    await this.save();
  }

  nowText() { return instant(Math.floor((this.app.now - BEHIND_MS) / 1000) * 1000); }

  /** Something happened just now: `{ kind, sheet_id, ... }`. */
  async tell(event) {
    this.record.waiting.push({ event: { at: this.nowText(), ...event } });
    await this.save();
    return this.flush();
  }

  /** Plan the rest anew; `followed`: what was planned before now happened. */
  async planAnew(followed = false) {
    this.record.waiting.push({ followed });
    await this.save();
    return this.flush();
  }

  async tick(step) {
    this.record.ticks[step.id] = this.app.now;
    await this.save();
  }

  async forget(index) {
    this.record.refused.splice(index, 1);
    await this.save();
  }

  flush() {
    this.sending ??= this.send().finally(() => { this.sending = null; });
    return this.sending;
  }

  async send() {
    const { record } = this;
    for (let turns = 0; (record.batch || record.waiting.length) && turns < MOST_TURNS + record.waiting.length;) {
      if (!record.batch) this.gather();
      const { batch } = record;
      try {
        if (!record.saved) await this.heard(await this.app.api.get(`v1/sessions/${encodeURIComponent(this.id)}`));
        batch.version ??= record.saved.version;
        await this.save();
        const saved = await this.app.api.post(`v1/sessions/${encodeURIComponent(this.id)}/replan`, batch.body,
          { key: batch.key, headers: { "If-Match": `"${batch.version}"` }, patienceMs: PATIENCE_MS });
        record.batch = null;
        await this.heard(saved);
      } catch (error) {
        if (error instanceof Away || (error instanceof Problem && error.passing)) {
          this.away = true;
          await this.save();
          return;
        }
        turns += 1;
        if (error instanceof Problem && (error.status === 412 || error.status === 409)) await this.catchUp();
        else await this.refuse(error.message);
      }
    }
  }

  /** One batch of all that waits; after a refusal one by one, so that only the culprit is left out. */
  gather() {
    const { record } = this;
    const taken = record.single ? record.waiting.splice(0, 1) : record.waiting.splice(0);
    if (!record.waiting.length) record.single = false;
    record.batch = { key: newId(), version: null, body: { events: taken.map((one) => one.event).filter(Boolean), followed: taken.some((one) => one.followed) } };
  }

  /** Somebody else changed the session: take theirs, and tell again what they have not heard. */
  async catchUp() {
    const { record } = this, { events, followed } = record.batch.body;
    const saved = await this.app.api.get(`v1/sessions/${encodeURIComponent(this.id)}`);
    record.changed = true;
    const left = events.filter((event) => !saved.events.some((other) => same(event, other)));
    record.batch = null;
    record.waiting = [...left.map((event) => ({ event })), ...(followed || !events.length ? [{ followed }] : []), ...record.waiting];
    await this.heard(saved);
  }

  async refuse(why) {
    const { record } = this, { events, followed } = record.batch.body;
    record.batch = null;
    if (events.length > 1 || (events.length && followed)) {
      record.single = true;
      record.waiting = [...events.map((event) => ({ event })), ...(followed ? [{ followed }] : []), ...record.waiting];
    } else {
      record.refused.push({ event: events[0] ?? null, why });
    }
    await this.save();
  }
}
