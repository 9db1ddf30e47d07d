// What the screens of the plan share: the way between them, civil days at the place, and answers kept with their age.
import { Away } from "./api.js";
import { h } from "./dom.js";
import { age, dayOf } from "./moments.js";
import { COVERS, sceneFields } from "./setup.js";
import { t } from "./texts.js";

const KEPT = "plan answers", MOST_KEPT = 24, PATIENCE_MS = 20000;
const DAY_MS = 86400000, MINUTE_MS = 60000;

const PARTS = ["days", "session", "month", "year"];
/** Links between the parts of the plan. */
export const partsNav = (current) => h("nav", { class: "plan-parts", "aria-label": t("plan.parts") }, PARTS.map((part) =>
  h("a", { href: part === "days" ? "#/plan" : `#/plan/${part}`, "aria-current": part === current ? "page" : null }, t(`plan.part.${part}`))));

/** A control under its label. */
export const field = (text, control, note) => h("div", { class: "field" }, h("label", { for: control.id }, text), control,
  note ? h("p", { class: "small" }, note) : null);
export const select = (id, options, chosen) => h("select", { id }, options.map(([value, label]) =>
  h("option", { value, selected: String(value) === String(chosen) }, label)));
/** The lines that tell how old an answer is, and what went wrong. */
export const agedLine = () => h("p", { class: "aged", hidden: true });
export const toldLine = () => h("p", { class: "told", role: "status" });

export const refusal = (error) => {
  if (error instanceof Away || error.passing) return t("plan.away");
  const limits = (error.errors ?? []).map((one) => `${one.field}: ${one.limit}`).join("; ");
  return t("now.refused", { why: limits ? `${error.message} (${limits})` : error.message });
};

/**
 * Ask with a body, and keep the answer under `name` and the fields: `{ answer, keptMs }`.  Out of the service's
 * reach the kept one is given, of the same fields only; `more` (a time that is always now) does not tell them apart.
 */
export async function askKept(app, path, name, fields, more = {}) {
  const under = `${path} ${name} ${JSON.stringify(fields)}`;
  const shelf = app.keep.things;
  try {
    const answer = await app.api.post(path, { ...fields, ...more }, { patienceMs: PATIENCE_MS });
    const others = ((await shelf.get(KEPT)) ?? []).filter((one) => one.under !== under);
    await shelf.put([{ under, answer, keptMs: app.now }, ...others].slice(0, MOST_KEPT), KEPT);
    return { answer, keptMs: null };
  } catch (error) {
    if (!(error instanceof Away || error.passing)) throw error;
    const kept = ((await shelf.get(KEPT)) ?? []).find((one) => one.under === under);
    if (!kept) throw error;
    return { answer: kept.answer, keptMs: kept.keptMs };
  }
}

export const keptWords = (app, keptMs) => t("plan.kept", { age: age((app.now - keptMs) / 1000) });

/** Request fields as a query takes them: an aimed frame is told by its two angles, not by a spot. */
export function flatFields(setup) {
  const { spot, ...fields } = sceneFields(setup);
  return spot ? { ...fields, tilt_deg: spot.tilt_deg, aim_azimuth_deg: spot.aim_azimuth_deg } : fields;
}

export const coverOf = (id) => (COVERS.find((cover) => cover.id === id) ?? COVERS[0]).stack;

/** The first instant of a civil day (such as 2026-06-21) in a zone, to the minute. */
export function dayStart(date, zone) {
  const noonMs = Date.parse(`${date}T12:00:00Z`);
  let low = noonMs - 2 * DAY_MS, high = noonMs + 2 * DAY_MS;
  while (high - low > MINUTE_MS) {
    const middle = low + Math.floor((high - low) / (2 * MINUTE_MS)) * MINUTE_MS;
    if (dayOf(middle, zone) < date) low = middle; else high = middle;
  }
  return high;
}

/** The civil day `days` after another. */
export const dayAfter = (date, days) => new Date(Date.parse(`${date}T12:00:00Z`) + days * DAY_MS).toISOString().slice(0, 10);

const clocks = new Map();
/** Minutes on the clock of the zone at an instant. */
export function clockMinutes(ms, zone) {
  if (!clocks.has(zone)) clocks.set(zone, new Intl.DateTimeFormat("en-GB", { timeZone: zone, hour: "2-digit", minute: "2-digit" }));
  const [hours, minutes] = clocks.get(zone).format(ms).split(":").map(Number);
  return hours * 60 + minutes;
}

/** When the clock of the zone shows `time` (HH:MM) on a civil day; the first time of two, null when it skips it. */
export function instantAt(date, time, zone) {
  const [hours, minutes] = time.split(":").map(Number), wanted = hours * 60 + minutes;
  const fromMs = dayStart(date, zone), toMs = dayStart(dayAfter(date, 1), zone);
  // Clocks go by quarters of an hour apart, so a jump to the right minute of the hour finds every candidate.
  for (let ms = fromMs + (wanted % 15) * MINUTE_MS; ms < toMs; ms += 15 * MINUTE_MS) {
    if (clockMinutes(ms, zone) === wanted) return ms;
  }
  return null;
}

export const isDate = (text) => /^\d{4}-\d{2}-\d{2}$/.test(text ?? "") && !Number.isNaN(Date.parse(`${text}T12:00:00Z`));
