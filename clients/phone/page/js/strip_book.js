// A test strip in the light.  It is a frame whose dose is that of its last strip; `frame.strip` holds what
// each strip is to have, and when each was covered.
const LONGEST_STEP_MS = 5000;
const TAKEN_BACK = 0.98; // a strip that was called is called off only when its dose falls below this share

export const isStrip = (frame) => Boolean(frame.strip);
const openOnes = (frame) => frame.strip.totals.slice(frame.strip.covers.length);
/** Number, from 1, of the strip to be covered next; null when all are. */
export const nextStrip = (frame) => (openOnes(frame).length ? frame.strip.covers.length + 1 : null);
export const isLast = (frame, number) => number === frame.strip.totals.length;

/** Begin: `plan` is an answer of /v1/strip, or one that was kept. */
export async function startStrip(app, plan, light, name) {
  const frame = await app.frames.start(app.setup, light, { name, target_j_m2: plan.dose_j_m2 });
  frame.strip = {
    ladder: plan.ladder, totals: plan.strips.map((strip) => strip.total_j_m2),
    stops: plan.strips.map((strip) => strip.target_stops), covers: [], due: [], reading: null, told: null,
  };
  await app.frames.save(frame);
  return frame;
}

/**
 * When each strip has its dose: `[{ number, atMs, past }]`, `atMs` null where the light goes first.  Times ahead
 * are read from the kept light, in step with the end that is shown for the whole frame.
 */
export function coversOf(desk, frame, nowMs) {
  const stand = desk.stand(frame, nowMs);
  const light = desk.lightAt(frame)?.(nowMs) ?? null;
  const { totals, due } = frame.strip;
  const missing = totals.at(-1) - stand.dose;
  let share = 1;
  if (light && stand.source === "service" && stand.endMs > nowMs && missing > 0) {
    const gained = light.dose(stand.sky, nowMs, stand.endMs);
    if (gained > 0) share = gained / missing;
  }
  const ahead = (left) => {
    if (light) return light.endOf(stand.sky, nowMs, left * share);
    const rate = frame.answer?.effective_w_m2 ?? 0;
    return rate > 0 ? nowMs + (left / rate) * 1000 : null;
  };
  return totals.map((total, index) => {
    const left = total - stand.dose;
    const past = left <= 0 || due[index] !== undefined;
    return { number: index + 1, past, atMs: past ? due[index] ?? nowMs : ahead(left) };
  });
}

/**
 * Write down when strips came to be due; true when one just did.  Phone and service differ by a second or so,
 * which must not call a strip off again; a sky told late may.
 */
export function notice(desk, frame, nowMs) {
  const { strip } = frame;
  const stand = desk.stand(frame, nowMs);
  const seen = strip.seen ?? { ms: frame.startMs, dose: 0 };
  const light = desk.lightAt(frame)?.(seen.ms) ?? null;
  let found = false;
  strip.totals.forEach((total, index) => {
    if (strip.due[index] !== undefined && strip.covers[index] === undefined && stand.dose < TAKEN_BACK * total) {
      delete strip.due[index];
      found = true;
    }
    if (strip.due[index] !== undefined || stand.dose < total) return;
    const share = (total - seen.dose) / Math.max(stand.dose - seen.dose, 1e-9);
    const even = seen.ms + Math.min(Math.max(share, 0), 1) * (nowMs - seen.ms);
    const read = light && nowMs - seen.ms > LONGEST_STEP_MS ? light.endOf(stand.sky, seen.ms, total - seen.dose) : null;
    strip.due[index] = Math.min(read ?? even, nowMs);
    found = true;
  });
  strip.seen = { ms: nowMs, dose: stand.dose };
  return found;
}

/** The next strip is covered; with the last, the sheet is taken in. */
export async function coverNext(app, frame) {
  const number = nextStrip(frame);
  if (number === null) return;
  const nowMs = app.now;
  frame.strip.covers.push(nowMs);
  await app.frames.save(frame);
  if (isLast(frame, number)) {
    app.alarm.hush();
    frame.rang = true;
    await app.frames.tell(frame, "finished", { atMs: nowMs });
  }
}

export async function uncoverLast(app, frame) {
  frame.strip.covers.pop();
  await app.frames.save(frame);
}

const APART_MS = 500;

/**
 * The strips as they can be read: `[{ number, upTo, atMs, told }]`, `atMs` when each was covered, as told or else
 * when it was due.  Strips that were taken in together have one dose, and are one: from `number` to `upTo`.
 */
export function readable(frame) {
  const stoppedMs = frame.answer?.stopped ? Date.parse(frame.answer.stopped)
    : frame.events.findLast((event) => event.kind === "finished")?.atMs ?? frame.startMs;
  const { totals, covers, due } = frame.strip;
  const found = [];
  totals.forEach((_, index) => {
    const atMs = Math.min(covers[index] ?? due[index] ?? stoppedMs, stoppedMs);
    const before = found.at(-1);
    if (before && atMs - before.atMs < APART_MS) before.upTo = index + 1;
    else found.push({ number: index + 1, upTo: index + 1, atMs, told: covers[index] !== undefined });
  });
  return found;
}
