// A day's slots, best first: what is open, what comes, and what is over; begin one or be reminded of it.
import { fill, h, button, say, show } from "../dom.js";
import { age, clock, clockOn, dayOf, instant, length, percent } from "../moments.js";
import { askCalendar } from "../plan_calendar.js";
import { agedLine, askKept, dayAfter, dayStart, isDate, keptWords, partsNav, refusal, toldLine } from "../plan_kit.js";
import { timeLine } from "../plan_line.js";
import { recipeLabel, sceneFields, spotLabel, withSky } from "../setup.js";
import { t } from "../texts.js";

const EVERY_MS = 300000, LEAST_W_SHARE = 0.004, STEADY = 0.95, CURVE_STEP_S = 600;

export async function mount(root, app, [asked]) {
  const zone = app.zone;
  const today = () => dayOf(app.now, zone);
  const date = asked === "tomorrow" ? dayAfter(today(), 1) : isDate(asked) ? asked : today();
  const isToday = () => date === today();
  const p = {
    title: h("h1", {}), lead: h("p", { class: "lead" }), aged: agedLine(), told: toldLine(),
    line: h("figure", { class: "plan-day" }), coming: h("ol", { class: "slots" }), past: h("section", { class: "slots-past" }),
    basis: h("div", { class: "small" }), cautions: h("ul", { class: "cautions" }),
  };
  p.start = button(t("plan.start"), start, { class: "big go", id: "plan-start" });
  p.remind = button(t("plan.remind"), () => askCalendar(app, { name: spotLabel(app.setup) }), { class: "big", id: "plan-remind" });
  const which = h("nav", { class: "plan-which", "aria-label": t("plan.which") },
    [["", "plan.today", today()], ["/tomorrow", "plan.tomorrow", dayAfter(today(), 1)]].map(([path, word, day]) =>
      h("a", { href: `#/plan${path}`, "aria-current": day === date ? "page" : null }, t(word))));
  fill(root, partsNav("days"), which, p.title, p.lead, p.aged, p.told, h("div", { class: "beside" }, p.line), p.coming, p.past, p.basis, p.cautions,
    h("section", { class: "thumb", "aria-label": t("now.controls") }, h("div", { class: "acts" }, p.start, p.remind)));
  show(p.start, false);

  let askedMs = 0, turn = 0, found = null, light = null, curve = [], starting = false;

  async function start() {
    if (starting) return;
    starting = true;
    app.alarm.unlock();
    const frame = await app.frames.start(app.setup, light);
    app.go("frames", frame.id);
  }

  function named() {
    const day = new Intl.DateTimeFormat(navigator.language || "en", { weekday: "long", day: "numeric", month: "long", timeZone: "UTC" }).format(Date.parse(`${date}T12:00:00Z`));
    return isToday() ? t("plan.today.on", { day }) : date === dayAfter(today(), 1) ? t("plan.tomorrow.on", { day }) : day;
  }

  async function ask() {
    const ticket = ++turn;
    askedMs = app.now;
    const fields = sceneFields(app.setup), nowMs = app.now;
    const sky = isToday() ? app.setup.sky : null;  // what is seen now says nothing of another day
    const [dayMs, endMs] = [dayStart(date, zone), dayStart(dayAfter(date, 1), zone)];
    try {
      const rest = { start: instant(Math.max(nowMs, dayMs)), end: instant(endMs - 1000) };
      const [whole, coming] = await Promise.all([
        askKept(app, "v1/slots", "day", withSky({ ...fields, date, limit: 12 }, sky)),
        isToday() ? askKept(app, "v1/slots", date, withSky({ ...fields, limit: 12 }, sky), rest) : null,
      ]);
      if (ticket !== turn) return;
      found = { whole, coming: coming ?? whole, spanMs: [dayMs, endMs] };
      show(p.told, false);
      draw();
    } catch (error) {
      if (ticket !== turn) return;
      say(p.told, refusal(error));
      show(p.told, true);
    }
    const came = await app.lights.find(fields).catch(() => null);
    if (ticket !== turn) return;
    light = came;
    curve = await curveOf(fields, sky, dayMs, endMs).catch(() => []);
    if (ticket === turn) drawLine();
  }

  /** The light of the day: as the coming days' is known, or asked for a day farther off. */
  async function curveOf(fields, sky, dayMs, endMs) {
    if (light && light.firstMs <= dayMs && light.lastMs >= endMs - 1000) return light.day(sky, dayMs, endMs);
    const { target_j_m2: _, ...scene } = fields;
    const { answer } = await askKept(app, "v1/light", "curve", withSky({ ...scene, start: instant(dayMs), end: instant(endMs - 1000), step_s: CURVE_STEP_S }, sky));
    return answer.time.map((time, index) => ({ ms: Date.parse(time), w_m2: answer.effective_w_m2[index] }));
  }

  const item = (slot, rank, over) => {
    const at = (time) => clock(Date.parse(time), found.whole.answer.basis.time_zone);
    const nowMs = app.now, open = !over && Date.parse(slot.first_start) <= nowMs && Date.parse(slot.last_start) >= nowMs;
    const missed = open && Date.parse(slot.best_start) < nowMs - 600000;
    const range = slot.length_low_s === null ? null : slot.length_high_s === null ? t("now.atleast", { low: length(slot.length_low_s) })
      : t("now.between", { low: length(slot.length_low_s), high: length(slot.length_high_s) });
    return h("li", { class: "slot", id: `slot-${over ? "past" : "at"}-${rank}`, tabindex: "-1", "data-over": over ? "" : null },
      h("p", { class: "slot-head" }, h("b", { class: "slot-rank", "aria-hidden": "true" }, over ? "–" : String(rank)),
        h("span", { class: "slot-time" }, at(slot.best_start)), h("span", { class: "slot-length" }, length(slot.length_s))),
      h("p", {}, h("b", {}, over ? t("plan.over", { time: at(slot.last_start) }) : open ? t(missed ? "plan.open.missed" : "plan.open", { time: at(slot.last_start) })
        : t("plan.starts", { from: at(slot.first_start), to: at(slot.last_start) })), " ", t(`plan.pace.${slot.pace}`)),
      over ? null : h("p", { class: "small" }, [t("plan.why", { why: slot.why }), slot.steadiness < STEADY ? t("plan.least", { least: percent(slot.steadiness) }) : ""].join(" ").trim()),
      range && !over ? h("p", { class: "small" }, t("plan.range", { range })) : null);
  };

  function slotsNow() {
    const nowMs = app.now;
    const overBy = (slot) => Date.parse(slot.last_start) < nowMs;
    const coming = found.coming.answer.slots.filter((slot) => !overBy(slot));
    const openSince = Math.min(nowMs, ...coming.map((slot) => Date.parse(slot.first_start)));
    const past = date <= today() ? found.whole.answer.slots.filter((slot) => overBy(slot) && Date.parse(slot.last_start) < openSince) : [];
    return { coming, past: past.sort((a, b) => Date.parse(b.last_start) - Date.parse(a.last_start)) };
  }

  function draw() {
    const { answer, keptMs } = found.coming, nowMs = app.now, shown = answer.basis.time_zone;
    const { coming, past } = slotsNow();
    say(p.title, named());
    say(p.lead, coming.length ? t("plan.lead", { spot: spotLabel(app.setup), recipe: recipeLabel(app.setup) })
      : answer.next_start ? t("plan.none.next", { time: clockOn(Date.parse(answer.next_start), shown, nowMs), length: length(answer.next_length_s) })
        : past.length ? t("plan.none.over") : t("plan.none"));
    show(p.aged, keptMs !== null);
    if (keptMs !== null) say(p.aged, keptWords(app, keptMs));
    fill(p.coming, coming.map((slot, index) => item(slot, index + 1, false)));
    fill(p.past, past.length ? [h("h2", {}, t(isToday() ? "plan.past" : "plan.past.day")), h("ul", { class: "slots" }, past.map((slot, index) => item(slot, index + 1, true)))] : []);
    show(p.start, isToday() && coming.some((slot) => Date.parse(slot.first_start) <= nowMs + 60000));
    const { weather } = answer.basis;
    fill(p.basis, [t("basis.sky", { says: answer.basis.sky.says }), weather?.provider ? t("basis.weather", { provider: weather.provider, age: age(weather.age_s ?? 0) }) : "",
      weather?.attribution ?? "", t("basis.zone", { zone: shown, offset: offset(shown) })].filter(Boolean).map((one) => h("p", {}, one)));
    fill(p.cautions, answer.cautions.map((one) => h("li", {}, one)));
    drawLine();
  }

  const offset = (shown) => new Intl.DateTimeFormat(navigator.language || "en", { timeZone: shown, timeZoneName: "shortOffset" })
    .formatToParts(found.spanMs[0] + 43200000).find((part) => part.type === "timeZoneName").value;

  function drawLine() {
    if (!found) return;
    const shown = found.whole.answer.basis.time_zone;
    const most = Math.max(0, ...curve.map((point) => point.w_m2));
    const lit = curve.filter((point) => point.w_m2 > most * LEAST_W_SHARE);
    const { coming, past } = slotsNow();
    const edges = [...coming, ...past].flatMap((slot) => [Date.parse(slot.first_start), Date.parse(slot.best_end ?? slot.last_start), Date.parse(slot.last_start)]);
    if (lit.length < 2 && !edges.length) {
      fill(p.line, curve.length ? h("p", { class: "small" }, t("chart.dark")) : []);
      return;
    }
    const all = [...lit.map((point) => point.ms), ...edges];
    const [fromMs, toMs] = [Math.min(...all), Math.max(...all)];
    const strongest = lit.reduce((best, point) => (point.w_m2 > best.w_m2 ? point : best), lit[0] ?? { ms: fromMs, w_m2: 0 });
    const block = (slot, rank, over) => ({
      id: `slot-${over ? "past" : "at"}-${rank}`, kind: slot.pace, state: over ? "done" : "planned", mark: over ? "" : String(rank),
      fromMs: Date.parse(slot.first_start), toMs: Date.parse(slot.last_start),
    });
    const best = coming[0];
    fill(p.line, timeLine({
      fromMs, toMs, zone: shown, nowMs: app.now, width: p.line.clientWidth || 340,
      curves: [{ points: lit }],
      lanes: [
        { label: t("plan.lane.slots"), blocks: [...coming.map((slot, index) => block(slot, index + 1, false)), ...past.map((slot, index) => block(slot, index + 1, true))] },
      ],
      words: [lit.length > 1 ? t("chart.says", { from: clock(fromMs, shown), to: clock(toMs, shown), best: clock(strongest.ms, shown) }) : "",
        best ? t("plan.line.best", { time: clock(Date.parse(best.best_start), shown) }) : ""].filter(Boolean).join(" "),
      touch: (id) => {
        const node = document.getElementById(id);
        node?.scrollIntoView({ block: "center" });
        node?.focus({ preventScroll: true });
      },
    }));
  }

  say(p.title, named());
  const resized = () => drawLine();
  addEventListener("resize", resized);
  ask();
  return {
    tick(nowMs) { if (nowMs - askedMs >= EVERY_MS || nowMs < askedMs) ask(); },
    changed(what, value) { if (what === "setup" || what === "visible" || (what === "reach" && value)) ask(); },
    leave() { removeEventListener("resize", resized); },
  };
}
