// The list of sheets for a session as the printer writes it down, kept on the phone, and the request it makes.
import { dayOf, instant } from "./moments.js";
import { dayAfter, instantAt } from "./plan_kit.js";
import { sceneFields, spotLabel, withSky } from "./setup.js";
import { t } from "./texts.js";

const NAME = "plan draft", SHORT = 60;
export const MOST = { sheets: 60, frames: 20, breaks: 12, spots: 4 };
export const HERE = "here"; // the spot that is set for the whole page

const EMPTY = { day: "today", from: "", until: "", frames: 2, spots: [{ id: HERE }], sheets: [], breaks: [] };
export const newSheet = (number) => ({ name: t("session.sheet", { n: number }), count: 1, recipe: null, spot: null, priority: 1, doneBy: "" });

export const draftOf = async (app) => ({ ...EMPTY, ...(await app.keep.things.get(NAME)) });
export const keepDraft = (app, draft) => app.keep.things.put(draft, NAME);

export const countOf = (draft) => draft.sheets.reduce((sum, sheet) => sum + sheet.count, 0);
export const nameOfSpot = (app, spot) => (spot.id === HERE ? spotLabel(app.setup) : spot.name).slice(0, SHORT);

/** A time that a draft names cannot be: `what` it is of. */
export class BadTime extends Error {}

/**
 * The request of a draft: `{ fields, more, notes }`, where `more` holds a start that is only "now".  Times are of
 * the session's day; one that is not after the first hands is of the night after it.
 */
export function requestOf(app, draft) {
  const { setup, zone, now } = app;
  const today = dayOf(now, zone), date = draft.day === "today" ? today : dayAfter(today, 1);
  const { spot, saved_spot, ...scene } = sceneFields(setup);
  const notes = [];
  const clockAt = (time, what, day = date) => {
    const ms = instantAt(day, time, zone);
    if (ms === null) throw new BadTime(t("session.notime", { time, what }));
    return ms;
  };
  const fromMs = draft.from ? clockAt(draft.from, t("session.from")) : null;
  const after = (time, what) => (draft.from && time <= draft.from ? clockAt(time, what, dayAfter(date, 1)) : clockAt(time, what));
  const fields = { ...(draft.day === "today" ? withSky(scene, setup.sky) : scene) }, more = {};
  const toMs = draft.until ? after(draft.until, t("session.until")) : null;
  if (toMs !== null) fields.end = instant(toMs);
  const late = date === today && (fromMs === null ? toMs !== null : fromMs < now);
  if (late) {
    more.start = instant(Math.ceil(now / 60000) * 60000);
    if (fromMs !== null) notes.push(t("session.fromnow", { time: draft.from }));
  } else if (fromMs !== null) {
    fields.start = instant(fromMs);
  }
  if (toMs === null || (!late && fromMs === null)) fields.date = date;
  fields.spots = draft.spots.map((one) => {
    const name = nameOfSpot(app, one);
    if (one.id === HERE) return { name, ...(saved_spot ? { saved_spot } : spot ? { spot } : {}) };
    return { name, saved_spot: one.id, ...(one.window && one.moves ? { moves: "table" } : {}) };
  });
  fields.frames = [{ name: t("session.frame"), count: draft.frames }];
  fields.sheets = draft.sheets.map((sheet) => {
    const where = draft.spots.find((one) => one.id === sheet.spot);
    return {
      name: sheet.name, count: sheet.count, priority: sheet.priority,
      ...(sheet.recipe ? { recipe: sheet.recipe.id } : {}),
      ...(where ? { spots: [nameOfSpot(app, where)] } : {}),
      ...(sheet.doneBy ? { done_by: instant(after(sheet.doneBy, sheet.name)) } : {}),
    };
  });
  if (draft.breaks.length) {
    fields.breaks = draft.breaks.map((one) => {
      const begins = after(one.from, t("session.break")), ends = clockAt(one.until, t("session.break"), dayOf(begins, zone));
      return { start: instant(begins), end: instant(ends > begins ? ends : clockAt(one.until, t("session.break"), dayAfter(dayOf(begins, zone), 1))) };
    });
  }
  return { fields, more, notes };
}
