// A sheet of a session as a frame of its own, followed by dose: begun with the moment it was told into the light.
import { button, h, say, show } from "./dom.js";
import { ENDED } from "./followed.js";
import { countdown } from "./moments.js";
import { spotAt } from "./moves.js";
import { t } from "./texts.js";

const SHEET = ["recipe", "recipe_version", "sensitizer", "stack", "target_spread_stops", "reciprocity_exponent"];
const OF_DAY = ["start", "end", "date", "sheets", "spots", "frames", "work", "breaks", "sureness", "name"];

/** Request fields of a sheet's exposure, from what the session was asked with; null where its spot is not known. */
export function fieldsOf(asked, sheet) {
  const scene = Object.fromEntries(Object.entries(asked).filter(([name]) => !OF_DAY.includes(name)));
  const names = new Set(asked.sheets.map((one) => one.name));
  const stem = names.has(sheet.sheet) ? sheet.sheet : sheet.sheet.replace(/ \d+$/, "");
  const own = asked.sheets.find((one) => one.name === stem) ?? {};
  if (own.recipe) for (const name of ["sensitizer", "stack", "recipe_version"]) delete scene[name];
  for (const name of SHEET) if (own[name] !== undefined && own[name] !== null) scene[name] = own[name];
  const spot = asked.spots?.find((one) => one.name === sheet.spot);
  if (asked.spots && !spot) return null;
  if (spot?.saved_spot) scene.saved_spot = spot.saved_spot;
  if (spot?.spot) scene.spot = spot.spot;
  if (sheet.begin) {
    if (!scene.spot) return null; // where it begins cannot be said without the spot's own shape
    scene.spot = spotAt(scene.spot, sheet.begin);
  }
  return { ...scene, name: sheet.sheet, target_j_m2: sheet.target_j_m2 };
}

const keyOf = (desk, sheet) => `${desk.id} ${sheet.sheet_id}`;

/** The frame that follows a sheet, if there is one. */
export const frameOf = (app, desk, sheet) => app.frames.all().find((frame) => frame.ofSheet === keyOf(desk, sheet)) ?? null;

/** Follow a sheet by dose from when it went into the light, and look at it. */
async function follow(app, desk, sheet) {
  const known = frameOf(app, desk, sheet);
  if (known) return app.go("frames", known.id);
  app.alarm.unlock();
  const fields = fieldsOf(desk.record.saved.asked, sheet);
  const begun = desk.events.findLast((event) => event.kind === "started" && event.sheet_id === sheet.sheet_id);
  const { name, sky, ...scene } = fields;
  const light = await app.lights.find(scene).catch(() => null);
  const frame = await app.frames.begin(fields, light, {
    zone: desk.plan.basis.time_zone, startMs: Date.parse(begun?.at ?? sheet.start), ofSheet: keyOf(desk, sheet),
  });
  return app.go("frames", frame.id);
}

/** Told out of the light in the session: its frame is taken in too. */
export async function takeIn(app, desk, sheetId) {
  const frame = frameOf(app, desk, { sheet_id: sheetId });
  if (frame && !ENDED.includes(frame.status)) await app.frames.tell(frame, "finished");
}

/** A button beside a sheet in the light; `turn(nowMs)` keeps its words. */
export function doseButton(app, desk, sheet) {
  const node = button(t("follow.dose"), () => {
    node.disabled = true;
    follow(app, desk, sheet).finally(() => { node.disabled = false; });
  }, { class: "wide dose-of" });
  const turn = (nowMs) => {
    const frame = frameOf(app, desk, sheet);
    show(node, Boolean(frame) || fieldsOf(desk.record.saved.asked, sheet) !== null);
    const stand = frame && !ENDED.includes(frame.status) ? app.frames.stand(frame, nowMs) : null;
    const words = !stand || (!stand.reached && !stand.endMs) ? t("follow.dose")
      : stand.reached ? t("follow.dose.done") : t("follow.dose.left", { left: countdown((stand.endMs - nowMs) / 1000) });
    say(node, words);
    node.setAttribute("aria-label", `${words}: ${sheet.sheet}`);
  };
  return { node, turn };
}

/** One row of the list of what is in the light. */
export const lightRow = (app, desk, sheet) => {
  const words = h("p"), dose = doseButton(app, desk, sheet);
  return { id: sheet.sheet_id, node: h("li", {}, words, dose.node), turn(text, nowMs) {
    say(words, text);
    dose.turn(nowMs);
  } };
};
