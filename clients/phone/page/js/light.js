// The light of the coming days, as the service worked it out: cumulative doses, between whose points is read.
import { withSky, sceneFields } from "./setup.js";

export const LIKELY = "likely";
const LONGEST_MS = 86400000;
const HOLDS_MS = 20 * 60000; // after that a new forecast is worth a question
const MOST_KEPT = 16;
const EARLY_MS = 2500, LATEST_MS = 20000; // a first forecast may take the service seconds

/** Index of the last of rising `values` that is not above `value`. */
function before(values, value) {
  let low = 0, high = values.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (values[middle] <= value) low = middle; else high = middle - 1;
  }
  return low;
}

/** The light of one place, spot and sheet.  Made from an answer of /v1/outlook. */
export class Light {
  constructor(answer, keptMs, asked = null) {
    this.answer = answer;
    this.keptMs = keptMs;
    this.firstMs = answer.first_epoch * 1000;
    this.afterS = answer.after_s;
    this.lastMs = this.firstMs + this.afterS[this.afterS.length - 1] * 1000;
    this.courses = new Map(answer.skies.map((sky) => [sky.sky, sky]));
    this.zone = answer.basis.time_zone;
    this.target = answer.target_j_m2;
    this.told = answer.told ?? null;
    this.asked = asked;
  }

  /** The course of a sky; a clear one is that of the sun out. */
  course(sky) {
    const name = !sky ? LIKELY : sky === "clear" ? "sun-out" : sky;
    return this.courses.get(name) ?? this.courses.get(LIKELY);
  }

  holds(ms) { return ms >= this.firstMs && ms < this.lastMs; }

  /** Dose gathered from the first instant on. */
  doseAt(sky, ms) { return this.readAt(this.course(sky).dose_j_m2, ms); }

  readAt(dose, ms) {
    const at = Math.min(Math.max((ms - this.firstMs) / 1000, 0), this.afterS[this.afterS.length - 1]);
    const index = Math.min(before(this.afterS, at), this.afterS.length - 2);
    const part = (at - this.afterS[index]) / (this.afterS[index + 1] - this.afterS[index]);
    return dose[index] + part * (dose[index + 1] - dose[index]);
  }

  dose(sky, fromMs, toMs) { return this.doseAt(sky, toMs) - this.doseAt(sky, fromMs); }

  /**
   * When `missing` is gathered from `fromMs` on under a sky that stays; null when the dark comes first.  `typical`:
   * in half of the skies that it may stand for, which bring less than their mean.
   */
  endOf(sky, fromMs, missing, typical = false) {
    if (missing <= 0) return fromMs;
    if (!this.holds(fromMs)) return null;
    const course = this.course(sky);
    const likely = typical && this.told && course.sky === LIKELY;
    const dose = likely ? this.told.typical_j_m2 : course.dose_j_m2;
    const wanted = this.readAt(dose, fromMs) + missing / ((typical && course.typical_share) || 1);
    for (let index = before(this.afterS, (fromMs - this.firstMs) / 1000); index + 1 < dose.length; index += 1) {
      const gained = dose[index + 1] - dose[index];
      if (gained <= 0) return null;
      if (dose[index + 1] >= wanted) {
        const part = (wanted - dose[index]) / gained;
        const endMs = this.firstMs + (this.afterS[index] + part * (this.afterS[index + 1] - this.afterS[index])) * 1000;
        return endMs - fromMs > LONGEST_MS ? null : endMs;
      }
    }
    return null;
  }

  /** When the light goes after an instant, null where it does not within what is known. */
  darkAfter(sky, ms) {
    const dose = this.course(sky).dose_j_m2;
    for (let index = before(this.afterS, (ms - this.firstMs) / 1000); index + 1 < dose.length; index += 1) {
      if (dose[index + 1] <= dose[index]) return this.firstMs + this.afterS[index] * 1000;
    }
    return null;
  }

  /** Mean light between the points of the day of `ms`, for drawing: `[{ ms, w_m2 }]`. */
  day(sky, fromMs, toMs) {
    const dose = this.course(sky).dose_j_m2;
    const found = [];
    for (let index = 0; index + 1 < dose.length; index += 1) {
      const middleMs = this.firstMs + 500 * (this.afterS[index] + this.afterS[index + 1]);
      if (middleMs < fromMs || middleMs > toMs) continue;
      found.push({ ms: middleMs, w_m2: (dose[index + 1] - dose[index]) / (this.afterS[index + 1] - this.afterS[index]) });
    }
    return found;
  }
}

/** Fetches, keeps and finds the light for set-ups. */
export class LightDesk {
  constructor(api, keep) {
    this.api = api;
    this.keep = keep;
    this.known = new Map();
  }

  /** The light for request fields without sky and start: fresh if it can be had, else what was kept. */
  async find(fields, { fresh = false } = {}) {
    const name = JSON.stringify(fields);
    const kept = await this.kept(fields);
    const nowMs = this.api.now();
    if (kept && !fresh && nowMs - kept.keptMs < HOLDS_MS && kept.holds(nowMs + 6 * 3600000)) return kept;
    try {
      const answer = await this.api.post("v1/outlook", fields, { patienceMs: LATEST_MS });
      const light = new Light(answer, this.api.now(), fields);
      this.known.set(name, light);
      await this.store(name, light);
      return light;
    } catch (error) {
      if (kept?.holds(nowMs)) return kept;
      throw error;
    }
  }

  async kept(fields) {
    const name = JSON.stringify(fields);
    if (!this.known.has(name)) {
      const held = (await this.keep.things.get("lights")) ?? [];
      for (const { name: other, answer, keptMs } of held) {
        if (!this.known.has(other)) this.known.set(other, new Light(answer, keptMs, JSON.parse(other)));
      }
    }
    return this.known.get(name) ?? null;
  }

  async store(name, light) {
    const held = ((await this.keep.things.get("lights")) ?? []).filter((one) => one.name !== name);
    held.unshift({ name, answer: light.answer, keptMs: light.keptMs });
    await this.keep.things.put(held.slice(0, MOST_KEPT), "lights");
  }
}

/**
 * How long from now: the service's own answer, or, out of its reach, read from the light that was kept.  While
 * the service takes its time, `early` is given what the kept light says.
 */
export async function howLong(api, desk, setup, early) {
  const fields = sceneFields(setup);
  const byLight = async () => {
    const light = await desk.kept(fields);
    return light?.holds(api.now()) ? { answer: fromLight(light, setup.sky, api.now()), keptMs: light.keptMs } : null;
  };
  const timer = setTimeout(async () => {
    const found = await byLight();
    if (found) early(found);
  }, EARLY_MS);
  try {
    const answer = await api.post("v1/exposure", withSky(fields, setup.sky), { patienceMs: LATEST_MS });
    return { answer, keptMs: null };
  } catch (error) {
    const found = error.passing === false ? null : await byLight();
    if (!found) throw error;
    return found;
  } finally {
    clearTimeout(timer);
  }
}

/** The same fields as an answer of the service, as far as they can be read from its kept light. */
export function fromLight(light, sky, nowMs) {
  const end = (name) => light.endOf(name, nowMs, light.target);
  const seconds = (endMs) => (endMs === null ? null : (endMs - nowMs) / 1000);
  const endMs = end(sky);
  const basis = light.answer.basis;
  return {
    start: new Date(nowMs).toISOString(),
    end: endMs === null ? null : new Date(endMs).toISOString(),
    length_s: seconds(endMs),
    length_low_s: null,
    length_high_s: null,
    reached: endMs !== null,
    if_sun_stays_s: seconds(end("sun-out")),
    if_cloud_covers_s: seconds(end("covered")),
    next_start: null,
    target_j_m2: light.target,
    target_spread_stops: light.answer.target_spread_stops,
    target_source: light.answer.target_source,
    cautions: null,
    basis: { ...basis, sky: { ...basis.sky, says: light.course(sky).says } },
  };
}
