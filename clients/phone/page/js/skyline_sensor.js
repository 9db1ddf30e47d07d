// Pointing the phone along the horizon: live azimuth and elevation of its long edge, and a button to mark.
import { button, fill, h, say, show } from "./dom.js";
import { labelled, numberField, typed } from "./bench_kit.js";
import { instant, number } from "./moments.js";
import { openSheet } from "./sheet.js";
import { pointing, turned } from "./skyline_points.js";
import { t } from "./texts.js";

const SILENT_MS = 2500;

/** What is missing for pointing, or null where it can be tried. */
export function missing(app) {
  if (!app.secure) return t("skyline.insecure", { origin: location.origin });
  return "DeviceOrientationEvent" in window ? null : t("skyline.nosensor");
}

/** Ask for the sensors; must come straight from a tap where the phone wants to be asked. */
async function allowed() {
  const ask = window.DeviceOrientationEvent?.requestPermission;
  return !ask || (await ask.call(window.DeviceOrientationEvent)) === "granted";
}

/**
 * Opens the pointing panel.  `mark(azimuth, elevation)` is told of each mark and gives how many there are;
 * `place` (fields of a place) allows the compass to be set by the sun's shadow.
 */
export async function pointAlong(app, { mark, place, seen }) {
  let granted = false;
  try {
    granted = await allowed();
  } catch {
    granted = false;
  }
  if (!granted) return t("skyline.refused");
  let offset = (await app.keep.things.get("compass offset")) ?? 0;
  let now = null, heard = false, silent = null;
  const names = "ondeviceorientationabsolute" in window ? ["deviceorientationabsolute", "deviceorientation"] : ["deviceorientation"];
  const p = { azimuth: h("b", {}, "–"), elevation: h("b", {}, "–"), told: h("p", { role: "status" }), sunTold: h("p", { class: "small", role: "status" }), count: h("p", { class: "small", "aria-live": "polite" }) };
  const offsetField = numberField("compass-offset", offset, { min: -180, max: 180 });

  const hear = (event) => {
    // an event without a north is of use only while there is none with one
    const found = pointing(event);
    if (!found || (now?.north && !found.north)) return;
    heard = true;
    now = found;
    const azimuth = found.azimuth === null ? null : turned(found.azimuth + offset);
    say(p.azimuth, azimuth === null ? "–" : `${number(azimuth)}°`);
    say(p.elevation, `${number(found.elevation, 1)}°`);
    say(p.told, found.azimuth === null ? t("skyline.nocompass") : found.north ? "" : t("skyline.nonorth"));
    markButton.disabled = azimuth === null;
    seen(azimuth, found.elevation);
  };
  const markButton = button(t("skyline.mark"), () => {
    const count = mark(turned(now.azimuth + offset), now.elevation);
    app.alarm.buzz([60]);
    say(p.count, t("skyline.marked", { count, n: number(count) }));
  }, { class: "big go wide point-mark", id: "skyline-mark", disabled: true });

  function setOffset(value) {
    offset = value;
    offsetField.value = Math.round(value * 10) / 10;
    app.keep.things.put(value, "compass offset");
  }
  offsetField.addEventListener("change", () => {
    const value = typed(offsetField);
    if (value !== null && !Number.isNaN(value)) setOffset(value);
  });

  /** The phone lies along a shadow, its long edge toward the sun: then its true azimuth is the sun's own. */
  async function bySun() {
    if (now?.azimuth === null || now === null) return;
    const measured = now.azimuth;
    try {
      const from = app.now;
      const light = await app.api.post("v1/light", { ...place, start: instant(from), end: instant(from + 1000), step_s: 1 });
      if (light.solar_zenith_deg[0] > 85) {
        say(p.sunTold, t("skyline.sun.low"));
        return;
      }
      setOffset(((light.solar_azimuth_deg[0] - measured + 540) % 360) - 180);
      say(p.sunTold, t("skyline.sun.done", { sun: number(light.solar_azimuth_deg[0]), by: number(offset, 1) }));
    } catch {
      say(p.sunTold, t("bench.away"));
    }
  }

  for (const name of names) addEventListener(name, hear);
  silent = setTimeout(() => { if (!heard) say(p.told, t("skyline.silent")); }, SILENT_MS);
  await openSheet(t("skyline.point.title"), (close) => [
    h("p", { class: "note" }, t("caution.eyes")),
    h("p", {}, t("skyline.point.how")),
    h("dl", { class: "ifs readout" }, h("div", {}, h("dt", {}, t("skyline.azimuth")), h("dd", { id: "live-azimuth" }, p.azimuth)), h("div", {}, h("dt", {}, t("skyline.elevation")), h("dd", { id: "live-elevation" }, p.elevation))),
    p.told, markButton, p.count,
    h("details", {}, h("summary", {}, t("skyline.north")), h("p", { class: "small" }, t("skyline.magnetic")),
      labelled(t("skyline.offset"), offsetField, t("skyline.offset.note")),
      place ? [h("p", { class: "small" }, t("skyline.sun.how")), button(t("skyline.sun"), bySun, { class: "wide", id: "skyline-sun" }), p.sunTold] : null),
    button(t("skyline.enough"), close, { class: "big wide" }),
  ]);
  clearTimeout(silent);
  for (const name of names) removeEventListener(name, hear);
  seen(null, null);
  return null;
}
