// The plan of a strip: how many, how far apart, and when each would be covered if it began now.
import { labelled, refusal, selectField, textField, toastLine, wayBack } from "./bench_kit.js";
import { button, fill, h, say, show } from "./dom.js";
import { glyph, SKY_GLYPHS } from "./glyphs.js";
import { age, clockOn, clockSeconds, countdown, length, number } from "./moments.js";
import { pickRecipe, pickSky, pickSpot } from "./pickers.js";
import { recipeLabel, sceneFields, skyLabel, spotLabel, withSky } from "./setup.js";
import { startStrip } from "./strip_book.js";
import { ladder } from "./strip_ladder.js";
import { t } from "./texts.js";

const STEPS = [1 / 4, 1 / 3, 1 / 2, 2 / 3, 1, 1.5];
const EVERY_MS = 60000;
const stepName = (stops) => t("strip.step", { count: stops > 1 ? 2 : 1, n: { 0.25: "¼", 0.5: "½", 1: "1", 1.5: "1½" }[stops] ?? (stops < 0.5 ? "⅓" : "⅔") });

export async function planStrip(root, app) {
  let plan = null, light = null, turn = 0, askedMs = 0, starting = false, left = false;
  const told = toastLine(), summary = h("p", { class: "lead" }), advice = h("div"), strips = h("div"), cautions = h("ul", { class: "cautions" });
  const step = selectField("strip-step", [{ value: "", label: t("strip.step.auto") }, ...STEPS.map((stops) => ({ value: String(stops), label: stepName(stops) }))], "");
  const count = selectField("strip-count", [{ value: "", label: t("strip.count.auto") }, ...Array.from({ length: 11 }, (_, index) => ({ value: String(index + 2), label: number(index + 2) }))], "");
  step.addEventListener("change", ask);
  count.addEventListener("change", ask);
  const name = textField("strip-name", t("strip.name", { recipe: recipeLabel(app.setup) }), { maxlength: 200 });
  const start = button(t("strip.start"), begin, { class: "big go", id: "strip-start", disabled: true });
  const picks = h("div", { class: "picks" });
  fill(root, wayBack("", t("bench.title")), h("h1", {}, t("strip.title")),
    h("p", { class: "small" }, t("strip.lead")),
    h("div", { class: "two" }, labelled(t("strip.step.label"), step), labelled(t("strip.count.label"), count)),
    summary, told, advice,
    h("div", { class: "beside" }, strips, labelled(t("strip.name.label"), name), cautions),
    h("section", { class: "thumb", "aria-label": t("now.controls") }, picks, start));

  function drawPicks() {
    const one = (id, pick, sign, label, value) => h("button", { type: "button", class: "pick", id: `strip-${id}`, onclick: () => pick(app) },
      glyph(sign), h("span", { class: "pick-label" }, label), h("span", { class: "pick-value" }, value));
    fill(picks,
      one("sky", pickSky, SKY_GLYPHS[app.setup.sky] ?? "broken", t("now.sky"), skyLabel(app.setup)),
      one("spot", pickSpot, "pin", t("now.spot"), spotLabel(app.setup)),
      one("recipe", pickRecipe, "frame", t("now.recipe"), recipeLabel(app.setup)));
  }

  const keptName = (fields) => `strip plan ${JSON.stringify(fields)}`;

  async function ask() {
    const ticket = ++turn;
    askedMs = app.now;
    const own = { ...(step.value ? { step_stops: Number(step.value) } : {}), ...(count.value ? { strip_count: Number(count.value) } : {}) };
    const scene = { ...sceneFields(app.setup), ...own };
    app.lights.find(sceneFields(app.setup)).then((found) => { if (ticket === turn) light = found; }).catch(() => {});
    try {
      const answer = await app.api.post("v1/strip", withSky(scene, app.setup.sky), { patienceMs: 15000 });
      await app.keep.things.put({ answer, keptMs: app.now }, keptName(scene));
      if (ticket === turn && !left) draw(answer, null);
    } catch (error) {
      const kept = error.passing === false ? null : await app.keep.things.get(keptName(scene));
      light ??= await app.lights.kept(sceneFields(app.setup)).catch(() => null);
      if (ticket !== turn || left) return;
      if (kept && light?.holds(app.now)) draw(kept.answer, kept.keptMs);
      else {
        plan = null;
        start.disabled = true;
        fill(strips);
        fill(advice);
        say(summary, "");
        say(told, kept || error.passing !== false ? t("strip.away") : refusal(error));
      }
    }
  }

  /** When strip `index` would be covered, begun now: the service's own time, or read from the kept light. */
  function coverMs(answer, keptMs, index) {
    const strip = answer.strips[index];
    if (keptMs === null) return strip.cover_at === null ? null : Date.parse(strip.cover_at);
    return light.endOf(app.setup.sky, app.now, strip.total_j_m2);
  }

  function draw(answer, keptMs) {
    plan = answer;
    const fromMs = keptMs === null ? Date.parse(answer.start) : app.now;
    const { zone } = app;
    const ends = answer.strips.map((_, index) => coverMs(answer, keptMs, index));
    const complete = ends.at(-1) !== null;
    say(told, keptMs === null ? "" : t("strip.kept", { age: age((app.now - keptMs) / 1000) }));
    say(summary, complete ? t("strip.summary", { n: number(answer.strips.length), length: length((ends.at(-1) - fromMs) / 1000), time: clockOn(ends.at(-1), zone, app.now) })
      : t("strip.toolong", { n: number(ends.filter((end) => end !== null).length), of: number(answer.strips.length) }));
    const notes = [];
    if (!complete && answer.next_start) notes.push(h("p", { class: "note" }, t("strip.next", { time: clockOn(Date.parse(answer.next_start), zone, app.now) })));
    if (!answer.handy) {
      notes.push(h("p", { class: "note" }, t("strip.unhandy", { gap: number(answer.shortest_gap_s, 1) })));
      const better = STEPS.find((stops) => answer.handier_step_stops && stops >= answer.handier_step_stops - 1e-3);
      if (better) notes.push(button(t("strip.handier", { step: stepName(better) }), () => {
        step.value = String(better);
        ask();
      }, { class: "wide", id: "strip-handier" }));
    }
    fill(advice, notes);
    const drawn = ladder(answer.strips.length, { label: t("strip.ladder.plan") });
    drawn.draw(answer.strips.map((strip, index) => ({
      mark: "open", name: t("strip.n", { n: strip.strip }), note: besideTarget(strip.target_stops),
      word: ends[index] === null ? t("now.never") : t("strip.at", { after: countdown((ends[index] - fromMs) / 1000), time: clockSeconds(ends[index], zone) }),
    })));
    fill(strips, h("h2", {}, t("strip.ladder.plan")), drawn.node);
    fill(cautions, [...new Set([...answer.cautions, t("caution.eyes")])].map((one) => h("li", {}, one)));
    start.disabled = false;
  }

  async function begin() {
    if (starting || !plan) return;
    starting = true;
    app.alarm.unlock();
    light ??= await app.lights.find(sceneFields(app.setup)).catch(() => null);
    const frame = await startStrip(app, plan, light, name.value.trim() || t("strip.title"));
    app.go("bench", "strip", frame.id);
  }

  drawPicks();
  ask();
  return {
    tick(nowMs) {
      show(told, told.textContent !== "");
      if (nowMs - askedMs > EVERY_MS) ask();
    },
    changed(what) {
      if (what === "setup") {
        name.value = t("strip.name", { recipe: recipeLabel(app.setup) });
        light = null;
        drawPicks();
        ask();
      }
      if (what === "reach") ask();
    },
    leave() { left = true; },
  };
}

/** How far a strip lies from the dose that is expected, in words. */
export function besideTarget(stops) {
  if (stops === null) return "";
  if (Math.abs(stops) < 0.04) return t("strip.asexpected");
  const count = Math.round(Math.abs(stops) * 10) / 10;
  return t(stops < 0 ? "strip.below" : "strip.above", { count, n: number(count, 1) });
}
