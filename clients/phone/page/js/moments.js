// Times, lengths, numbers and distances as people read them.  Instants are milliseconds, lengths seconds.
import { t } from "./texts.js";

const locale = () => navigator.language || "en";
const known = new Map();

function format(zone, options) {
  const key = `${zone}|${JSON.stringify(options)}`;
  if (!known.has(key)) known.set(key, new Intl.DateTimeFormat(locale(), { timeZone: zone, ...options }));
  return known.get(key);
}

export const number = (value, digits = 0) =>
  new Intl.NumberFormat(locale(), { maximumFractionDigits: digits }).format(value);
export const percent = (share) => new Intl.NumberFormat(locale(), { style: "percent" }).format(share);

const SHORT = { hour: "2-digit", minute: "2-digit" };
/** Hour and minute at the place, to the nearest minute, as the service rounds it. */
export const clock = (ms, zone) => format(zone, SHORT).format(Math.round(ms / 60000) * 60000);
export const clockSeconds = (ms, zone) => format(zone, { ...SHORT, second: "2-digit" }).format(ms);
/** What the clock on the wall shows: a minute lasts until it is over. */
export const wallClock = (ms, zone) => format(zone, SHORT).format(ms);
/** The civil day at the place. */
export const dayOf = (ms, zone) => new Intl.DateTimeFormat("en-CA", { timeZone: zone }).format(ms);
const dayName = (ms, zone) => format(zone, { weekday: "short", day: "numeric", month: "short" }).format(ms);

/** The time of day, with the date when it is not the day of `now`. */
export const clockOn = (ms, zone, now) =>
  dayOf(ms, zone) === dayOf(now, zone) ? clock(ms, zone) : `${dayName(ms, zone)}, ${clock(ms, zone)}`;

/** The zone's own offset at an instant, such as GMT+1. */
export const offsetName = (ms, zone) =>
  format(zone, { timeZoneName: "shortOffset" }).formatToParts(ms).find((part) => part.type === "timeZoneName").value;

/** A length as one would say it; rounded as the service's sentence is. */
export function length(seconds) {
  let whole = Math.round(seconds);
  if (whole < 120) return t("length.s", { s: number(Math.max(whole, 1)) });
  if (whole < 1200) {
    whole = 10 * Math.round(seconds / 10);
    const rest = whole % 60;
    const minutes = t("length.min", { min: number((whole - rest) / 60) });
    return rest ? `${minutes} ${t("length.s", { s: number(rest) })}` : minutes;
  }
  const minutes = Math.round(seconds / 60);
  if (minutes < 60) return t("length.min", { min: number(minutes) });
  const rest = minutes % 60;
  const hours = t("length.h", { h: number((minutes - rest) / 60) });
  return rest ? `${hours} ${t("length.min", { min: number(rest) })}` : hours;
}

/** A countdown: 9:05, or 1:02:33 from an hour on. */
export function countdown(seconds) {
  const whole = Math.max(Math.ceil(seconds - 1e-6), 0);
  const [hours, minutes, rest] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
  const two = (value) => String(value).padStart(2, "0");
  return hours ? `${hours}:${two(minutes)}:${two(rest)}` : `${minutes}:${two(rest)}`;
}

/** How old something is. */
export function age(seconds) {
  if (seconds < 90) return t("age.now");
  const minutes = Math.round(seconds / 60);
  if (minutes < 90) return t("age.min", { count: minutes, n: number(minutes) });
  const hours = Math.round(minutes / 60);
  if (hours < 36) return t("age.h", { count: hours, n: number(hours) });
  const days = Math.round(hours / 24);
  return t("age.d", { count: days, n: number(days) });
}

/** RFC 3339 in UTC, as the service takes it. */
export const instant = (ms) => new Date(ms).toISOString();

const INCH_M = 0.0254;
/** A distance in the unit the printer chose ("metric" or "inch"). */
export function distance(metres, units) {
  if (units === "inch") return t("unit.in", { n: number(metres / INCH_M, metres < 1 ? 1 : 0) });
  return metres < 1 ? t("unit.cm", { n: number(metres * 100) }) : t("unit.m", { n: number(metres, 2) });
}
/** What was typed in that unit's small measure (cm or in), as metres. */
export const metresOf = (typed, units) => (units === "inch" ? typed * INCH_M : typed / 100);
/** Metres as a number to put into such a field. */
export const typedOf = (metres, units) => Math.round((units === "inch" ? metres / INCH_M : metres * 100) * 10) / 10;
export const smallUnit = (units) => t(units === "inch" ? "unit.in.name" : "unit.cm.name");
