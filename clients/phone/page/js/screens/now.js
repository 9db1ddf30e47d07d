// How long from now, until when, and what if the sky changes; start with one tap.
import { Away } from "../api.js";
import { dayChart } from "../chart.js";
import { button, fill, h, say, show } from "../dom.js";
import { glyph, SKY_GLYPHS } from "../glyphs.js";
import { howLong } from "../light.js";
import { age, clockOn, length, offsetName } from "../moments.js";
import { pickRecipe, pickSky, pickSpot } from "../pickers.js";
import { recipeLabel, sceneFields, skyLabel, spotLabel } from "../setup.js";
import { t } from "../texts.js";

const EVERY_MS = 60000;

export async function mount(root, app) {
  const parts = {
    title: h("h1", { class: "answer" }, "…"),
    until: h("p", { class: "until" }),
    sun: h("dd"), cloud: h("dd"), range: h("dd"),
    rangeRow: h("div"), told: h("p", { class: "told", role: "status" }),
    chart: h("figure", { class: "day" }),
    cautions: h("ul", { class: "cautions" }),
    basis: h("div", { class: "small" }),
    aged: h("p", { class: "aged" }),
  };
  fill(parts.rangeRow, h("dt", {}, t("now.range")), parts.range);
  parts.start = button(t("now.start"), start, { class: "big go", id: "start" });
  const picker = (id, pick) => {
    const node = h("button", { type: "button", class: "pick", id: `pick-${id}`, onclick: () => pick(app) });
    parts[id] = node;
    return node;
  };
  fill(root,
    h("section", { class: "paper", "aria-labelledby": "answer-title" },
      h("p", { class: "eyebrow", id: "answer-title" }, t("now.title")),
      parts.title, parts.until,
      h("dl", { class: "ifs" },
        h("div", {}, h("dt", {}, glyph("sun"), t("now.sun")), parts.sun),
        h("div", {}, h("dt", {}, glyph("cloud"), t("now.cloud")), parts.cloud),
        parts.rangeRow),
      parts.aged, parts.told),
    h("div", { class: "beside" },
      parts.chart,
      h("details", { class: "why" }, h("summary", {}, t("now.why")), parts.basis),
      parts.cautions),
    h("section", { class: "thumb", "aria-label": t("now.controls") },
      h("div", { class: "picks" }, picker("sky", pickSky), picker("spot", pickSpot), picker("recipe", pickRecipe)),
      parts.start));

  let askedMs = 0, answered = null, light = null, turn = 0, starting = false;

  async function start() {
    if (starting) return;
    starting = true;
    app.alarm.unlock();
    const frame = await app.frames.start(app.setup, light);
    app.go("frames", frame.id);
  }

  function drawPicks() {
    const { setup } = app;
    const put = (node, sign, label, value) => fill(node, glyph(sign), h("span", { class: "pick-label" }, label), h("span", { class: "pick-value" }, value));
    put(parts.sky, SKY_GLYPHS[setup.sky] ?? "broken", t("now.sky"), skyLabel(setup));
    put(parts.spot, "pin", t("now.spot"), spotLabel(setup));
    put(parts.recipe, "frame", t("now.recipe"), recipeLabel(setup));
  }

  function drawAnswer() {
    const { answer, keptMs } = answered;
    const nowMs = app.now, zone = answer.basis.time_zone;
    if (answer.reached) {
      say(parts.title, length(answer.length_s));
      say(parts.until, t("now.until", { time: clockOn(Date.parse(answer.end), zone, nowMs) }));
    } else {
      say(parts.title, t("now.notnow"));
      say(parts.until, answer.next_start
        ? t("now.next", { time: clockOn(Date.parse(answer.next_start), zone, nowMs), length: length(answer.next_length_s) })
        : t("now.nonext"));
    }
    const other = (node, seconds) => say(node, seconds === null || seconds === undefined ? t("now.never") : length(seconds));
    other(parts.sun, answer.if_sun_stays_s);
    other(parts.cloud, answer.if_cloud_covers_s);
    show(parts.rangeRow, answer.reached && answer.length_low_s !== null);
    if (answer.length_low_s !== null) {
      say(parts.range, answer.length_high_s === null ? t("now.atleast", { low: length(answer.length_low_s) })
        : t("now.between", { low: length(answer.length_low_s), high: length(answer.length_high_s) }));
    }
    show(parts.aged, keptMs !== null);
    if (keptMs !== null) say(parts.aged, t("now.kept", { age: age((nowMs - keptMs) / 1000) }));
    fill(parts.cautions, (answer.cautions ?? [t("caution.eyes")]).map((one) => h("li", {}, one)));
    const { basis } = answer;
    fill(parts.basis, [
      t("basis.sky", { says: basis.sky.says }),
      basis.weather?.provider ? t("basis.weather", { provider: basis.weather.provider, age: age(basis.weather.age_s ?? 0) }) : null,
      basis.weather?.attribution ?? null,
      t("basis.spot", { spot: basis.spot }),
      t("basis.stack", { stack: basis.stack.length ? basis.stack.join(", ") : t("basis.bare"), sensitizer: basis.sensitizer }),
      t("basis.target", { target: Math.round(answer.target_j_m2), source: answer.target_source }),
      t("basis.zone", { zone, offset: offsetName(nowMs, zone) }),
      ...(basis.notes ?? []),
    ].filter(Boolean).map((one) => h("p", {}, one)));
  }

  function drawChart() {
    if (!light || !answered) return;
    const { answer } = answered;
    const startMs = Date.parse(answer.start);
    fill(parts.chart,
      dayChart(light, { sky: app.setup.sky, nowMs: app.now, startMs, endMs: answer.end ? Date.parse(answer.end) : null, zone: light.zone }),
      h("figcaption", { class: "small" }, h("span", { class: "key sun" }, t("chart.key.sun")), h("span", { class: "key cloud" }, t("chart.key.cloud")), h("span", { class: "key taken" }, t("chart.key.taken"))));
  }

  async function ask() {
    const ticket = ++turn;
    askedMs = app.now;
    const fields = sceneFields(app.setup);
    const lightComes = app.lights.find(fields).catch(() => null);
    const take = (found) => {
      if (ticket !== turn) return;
      answered = found;
      show(parts.told, false);
      drawAnswer();
      drawChart();
      parts.start.disabled = false;
    };
    try {
      take(await howLong(app.api, app.lights, app.setup, take));
    } catch (error) {
      if (ticket !== turn) return;
      say(parts.told, app.api.keyWanted ? t("key.wanted") : error instanceof Away ? t("now.away") : t("now.refused", { why: error.message }));
      show(parts.told, true);
      parts.start.disabled = !(error instanceof Away) && !error.passing;
    }
    const came = await lightComes;
    if (ticket !== turn) return;
    light = came;
    drawChart();
  }

  drawPicks();
  show(parts.rangeRow, false);
  show(parts.aged, false);
  show(parts.told, false);
  ask();
  return {
    tick(nowMs) { if (nowMs - askedMs >= EVERY_MS || nowMs < askedMs) ask(); },
    changed(what, reachable) {
      if (what === "setup") drawPicks();
      if (what === "setup" || what === "visible" || what === "key" || (what === "reach" && reachable)) ask();
    },
  };
}
