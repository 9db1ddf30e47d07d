// Exposures under way.  Each lives on the phone first and is told to the service as soon as that can be reached;
// what the service says of it goes before what the phone reads from the kept light.
import { Away } from "./api.js";
import { ENDED, endAhead, followed } from "./followed.js";
import { newId } from "./keep.js";
import { Light } from "./light.js";
import { instant } from "./moments.js";
import { Outbox } from "./outbox.js";
import { sceneFields, withSky, zoneOf } from "./setup.js";
import { t } from "./texts.js";

export { ENDED };
const FRESH_MS = 90000; // an answer of the service speaks for so long
const FORGET_MS = 7 * 86400000;
const phoneZone = () => Intl.DateTimeFormat().resolvedOptions().timeZone;
const RENEW_MS = 10 * 60000, SOON_MS = 60000; // a forecast is renewed every few minutes at most

/** Request fields of a frame's light, as it was put out. */
function lightFields({ body }) {
  const { name, start, sky, target_spread_stops, strip, ...fields } = body;
  return fields;
}

/** Everything known that happened, as told, in the order it counts. */
const happened = (frame, counts = () => true) =>
  frame.events.filter((event) => event.state !== "refused" && counts(event)).sort((a, b) => a.atMs - b.atMs || a.order - b.order);

export class FrameDesk {
  constructor(api, keep, lights) {
    Object.assign(this, { api, keep, lights });
    this.frames = new Map();
    this.lightOf = new Map();
    this.renewedMs = new Map();
    this.onChange = () => {};
    this.onFlushed = () => {};
    this.outbox = new Outbox(api, keep, this);
  }

  async open() {
    for (const frame of await this.keep.frames.all()) {
      if (ENDED.includes(frame.status) && this.api.now() - frame.startMs > FORGET_MS && !this.troubles(frame).length) {
        await this.keep.frames.remove(frame.id);
        await this.keep.things.remove(`light of ${frame.id}`);
        continue;
      }
      this.frames.set(frame.id, frame);
      const held = await this.keep.things.get(`light of ${frame.id}`);
      if (held) this.lightOf.set(frame.id, held.map(({ fromMs, again, answer, keptMs, asked }) => ({ fromMs, again, light: new Light(answer, keptMs, asked) })));
    }
    await this.outbox.open();
  }

  get(id) { return this.frames.get(id); }

  /** All, those under way first, newest first. */
  all() {
    const rank = (frame) => (ENDED.includes(frame.status) ? 1 : 0);
    return [...this.frames.values()].sort((a, b) => rank(a) - rank(b) || b.startMs - a.startMs);
  }

  underWay() { return this.all().filter((frame) => !ENDED.includes(frame.status)); }

  /** Put a sheet into the light, now; `more` holds a name or request fields of its own. */
  start(setup, light, more = {}) {
    return this.begin({ ...withSky(sceneFields(setup), setup.sky), ...more }, light, { zone: zoneOf(setup) });
  }

  /** The same by request fields, also for a sheet that went out a little earlier. */
  async begin(fields, light, { zone, startMs = this.api.now(), ofSheet }) {
    const number = 1 + Math.max(0, ...[...this.frames.values()].map((frame) => Number(/\d+$/.exec(frame.name)?.[0] ?? 0)));
    const name = fields.name ?? t("frame.name", { n: number });
    const frame = {
      id: newId(), serverId: null, name, startMs, zone: light?.zone ?? zone,
      body: { ...fields, name, start: instant(startMs) },
      target: fields.target_j_m2 ?? light?.target ?? null, events: [], answer: null, status: "running", rang: false, lost: false, ...(ofSheet ? { ofSheet } : {}),
    };
    this.frames.set(frame.id, frame);
    if (light) await this.keepLight(frame, startMs, light);
    await this.save(frame);
    await this.outbox.add({ frame: frame.id, kind: "start", body: frame.body });
    return frame;
  }

  /** Light for a frame from a moment on; `again`: newer light of where it lies, in place of the newer one before. */
  async keepLight(frame, fromMs, light, again = false) {
    const before = (this.lightOf.get(frame.id) ?? []).filter((one) => one.fromMs < fromMs);
    if (again && before.at(-1)?.again) before.pop();
    const held = [...before, { fromMs, light, again }];
    this.lightOf.set(frame.id, held);
    const plain = held.map((one) => ({ fromMs: one.fromMs, again: one.again, answer: one.light.answer, asked: one.light.asked, keptMs: one.light.keptMs }));
    await this.keep.things.put(plain, `light of ${frame.id}`);
  }

  lightAt(frame) {
    const held = this.lightOf.get(frame.id);
    if (!held?.length) return null;
    const lightAt = (ms) => held.findLast((one) => one.fromMs <= ms)?.light ?? held[0].light;
    lightAt.marks = held.map((one) => one.fromMs);
    return lightAt;
  }

  /** Newer light for the frames under way, where the forecast may have changed; `atOnce` when back in reach. */
  async renewLight(atOnce = false) {
    for (const frame of this.underWay()) {
      const light = this.lightAt(frame)?.(this.api.now());
      const nowMs = this.api.now();
      if (!light || nowMs - light.keptMs < (atOnce ? SOON_MS : RENEW_MS) || nowMs - (this.renewedMs.get(frame.id) ?? 0) < SOON_MS) continue;
      this.renewedMs.set(frame.id, nowMs);
      try {
        const newer = await this.lights.find(light.asked ?? lightFields(frame), { fresh: true });
        if (!ENDED.includes(frame.status) && newer.keptMs > light.keptMs) await this.keepLight(frame, this.api.now(), newer, true);
      } catch {
        // the one that is kept goes on
      }
    }
  }

  /** Tell that something happened at `atMs`; kept here at once, told to the service when it can be. */
  async tell(frame, kind, { atMs = this.api.now(), ...fields } = {}) {
    const earliest = Math.max(atMs, frame.startMs);
    const event = { eventId: newId(), kind, atMs: earliest, order: frame.events.length, sequence: null, state: "waiting", ...fields };
    frame.events.push(event);
    if (kind === "uncovered" || kind === "target") frame.rang = false;
    this.restate(frame);
    await this.save(frame);
    await this.outbox.add({
      frame: frame.id, kind: "event", eventId: event.eventId,
      body: { kind, at: instant(earliest), event_id: event.eventId, ...fields },
    });
    return event;
  }

  restate(frame) {
    const waiting = frame.events.some((event) => event.state === "waiting");
    const byHand = followed(frame, null, happened(frame), Infinity).status;
    // a phone a second ahead of the service starts frames that are not quite begun there
    const theirs = frame.answer?.status === "ready" ? "running" : frame.answer?.status;
    frame.status = theirs && !waiting && !frame.answer.events_ahead ? theirs : byHand;
  }

  async save(frame) {
    await this.keep.frames.put(frame);
    this.onChange(frame);
  }

  /** The service's word on an exposure. */
  async heard(frame, answer) {
    const known = frame.answer;
    if (known && (answer.version < known.version || (answer.version === known.version && Date.parse(answer.at) < Date.parse(known.at)))) return;
    Object.assign(frame, { serverId: answer.id, answer, target: answer.target_j_m2, lost: false });
    if (answer.basis?.time_zone) frame.zone = answer.basis.time_zone;
    this.restate(frame);
    await this.save(frame);
  }

  /** Events as the service has them, also those told from elsewhere. */
  async heardEvents(frame, items) {
    for (const item of items) {
      const own = frame.events.find((event) => event.eventId === item.event_id);
      if (own) {
        Object.assign(own, { sequence: item.sequence, state: "kept" });
      } else if (item.kind !== "started") {
        frame.events.push({
          eventId: item.event_id, kind: item.kind, atMs: Date.parse(item.at), order: frame.events.length,
          sequence: item.sequence, state: "kept", sky: item.payload?.sky, vouchedS: item.payload?.vouched_s, elsewhere: true,
        });
      }
    }
    this.restate(frame);
    await this.save(frame);
  }

  /** What did not fit, for the printer to decide. */
  troubles(frame) {
    return [
      ...(frame.refused ? [{ what: "start", problem: frame.refused }] : []),
      ...(frame.lost ? [{ what: "lost", problem: null }] : []),
      ...frame.events.filter((event) => event.state === "refused" && !event.settled)
        .map((event) => ({ what: "event", event, problem: event.problem })),
    ];
  }

  /** Leave a refused event out for good; it stays in the frame's list. */
  async leaveOut(frame, event) {
    event.settled = true;
    await this.save(frame);
  }

  /** Tell a refused event, or a whole exposure, once more. */
  async again(frame, trouble) {
    if (trouble.what === "event") {
      Object.assign(trouble.event, { state: "waiting", problem: null });
      const { kind, eventId, atMs, sky, spot } = trouble.event;
      await this.save(frame);
      await this.outbox.add({ frame: frame.id, kind: "event", eventId, body: { kind, at: instant(atMs), event_id: eventId, sky, spot } });
      return;
    }
    Object.assign(frame, { refused: null, lost: false, serverId: null, answer: null });
    for (const event of frame.events) if (!event.settled) Object.assign(event, { state: "waiting", sequence: null });
    this.restate(frame);
    await this.save(frame);
    await this.outbox.add({ frame: frame.id, kind: "start", body: frame.body });
    for (const event of happened(frame)) {
      const { kind, eventId, atMs, sky, spot } = event;
      await this.outbox.add({ frame: frame.id, kind: "event", eventId, body: { kind, at: instant(atMs), event_id: eventId, sky, spot } });
    }
  }

  /** Ask the service how a frame stands. */
  async refresh(frame) {
    if (!frame.serverId) return;
    try {
      await this.heard(frame, await this.api.get(`v1/runs/${frame.serverId}`));
    } catch (error) {
      if (error.status === 404 && !frame.lost) {
        frame.lost = true;
        await this.save(frame);
      } else if (!(error instanceof Away) && !error.passing && error.status !== 404) throw error;
    }
  }

  /** Exposures that were begun elsewhere and are under way. */
  async adopt() {
    await this.outbox.flush(); // else one of our own, just told, would look like somebody else's
    const known = (id) => [...this.frames.values()].some((frame) => frame.serverId === id);
    const found = [];
    for (const status of ["running", "covered"]) found.push(...(await this.api.get(`v1/runs?status=${status}&limit=20`)).runs);
    for (const item of found) {
      if (known(item.id) || this.outbox.waitsFor(item)) continue;
      const answer = await this.api.get(`v1/runs/${item.id}`);
      if (known(item.id)) continue;
      const frame = {
        id: item.id, serverId: item.id, name: item.name || t("frame.unnamed"),
        startMs: Date.parse(answer.start ?? item.created), zone: answer.basis.time_zone ?? phoneZone(), body: {},
        target: item.target_j_m2, events: [], answer, status: item.status, rang: answer.reached, lost: false, adopted: true,
      };
      this.frames.set(frame.id, frame);
      await this.heardEvents(frame, (await this.api.get(`v1/runs/${item.id}/events`)).events);
    }
  }

  /**
   * How a frame stands at `nowMs`.  By the service's newest answer while that is fresh and nothing waits to be
   * told; else by that answer and the kept light: what the events still untold change, and the time since.
   */
  stand(frame, nowMs = this.api.now()) {
    const { answer } = frame;
    const light = this.lightAt(frame);
    const waiting = frame.events.some((event) => event.state === "waiting") || (!frame.serverId && !frame.adopted);
    const atMs = answer ? Date.parse(answer.at) : null;
    const fresh = answer && !waiting && !frame.lost && answer.events_ahead === 0 && Math.abs(nowMs - atMs) < FRESH_MS;
    const ended = ENDED.includes(frame.status);
    const target = frame.target;
    const result = { source: "service", heardMs: atMs, status: frame.status, target, waiting, sky: null };
    if (answer && (ended || !light ? !waiting : fresh)) {
      const running = frame.status === "running";
      const sinceS = Math.max((nowMs - atMs) / 1000, 0);
      const endMs = answer.reached ? Date.parse(answer.reached_at ?? answer.at) : answer.end ? Date.parse(answer.end) : null;
      const shiftMs = frame.status === "covered" ? Math.max(nowMs - atMs, 0) : 0; // its end moves on with the clock
      const dose = ended || !running ? answer.dose_j_m2 : answer.dose_j_m2 + answer.effective_w_m2 * sinceS;
      return {
        ...result, source: "service", dose, share: dose / target, sky: answer.sky?.seen ?? null, says: answer.sky?.says,
        endMs: endMs === null ? null : answer.reached ? endMs : endMs + shiftMs,
        lowMs: answer.end_low ? Date.parse(answer.end_low) + shiftMs : null,
        highMs: answer.end_high ? Date.parse(answer.end_high) + shiftMs : null,
        reached: !ended && (answer.reached || (running && endMs !== null && endMs <= nowMs)),
        sunMs: answer.if_sun_stays_s === null ? null : atMs + shiftMs + answer.if_sun_stays_s * 1000,
        cloudMs: answer.if_cloud_covers_s === null ? null : atMs + shiftMs + answer.if_cloud_covers_s * 1000,
        advice: answer.advice, stale: !fresh && !ended,
      };
    }
    if (!light || !target) return { ...result, source: "none", dose: 0, share: 0, endMs: null, reached: false };
    const stopMs = ended ? Math.min(nowMs, Math.max(...frame.events.filter((one) => ENDED.includes(one.kind)).map((one) => one.atMs), frame.startMs)) : nowMs;
    const now = followed(frame, light, happened(frame), stopMs);
    let dose = now.dose;
    if (answer && !frame.lost) {
      const told = happened(frame, (event) => event.sequence !== null && event.sequence <= answer.last_sequence);
      dose += answer.dose_j_m2 - followed(frame, light, told, Math.min(atMs, stopMs)).dose;
    }
    const here = light(nowMs);
    const from = (sky) => here.endOf(sky, nowMs, target - dose);
    const sky = now.seen?.sky ?? frame.body.sky ?? null;
    const reached = !ended && dose >= target;
    return {
      ...result, source: "phone", keptMs: here.keptMs, dose, share: dose / target, sky,
      says: here.course(sky).says, reached,
      endMs: reached ? now.reachedMs ?? nowMs : ended ? null : endAhead(here, now, nowMs, target - dose),
      lowMs: null, highMs: null, sunMs: from("sun-out"), cloudMs: from("covered"), advice: null, stale: false,
    };
  }
}
