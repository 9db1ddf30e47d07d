// A session as it is worked through: the next step big, told done with one thumb, and the rest planned anew.
import { button, fill, h, say, show } from "../dom.js";
import { glyph, SKY_GLYPHS } from "../glyphs.js";
import { age, clock, clockOn, dayOf, instant, length } from "../moments.js";
import { SKIES } from "../pickers.js";
import { askCalendar } from "../plan_calendar.js";
import { agedLine, dayAfter, instantAt, partsNav, refusal, toldLine } from "../plan_kit.js";
import { lightRow, takeIn } from "../plan_frame.js";
import { planView } from "../plan_show.js";
import { Told } from "../plan_told.js";
import { choices, openSheet } from "../sheet.js";
import { t } from "../texts.js";

const EVERY_MS = 60000, LATE_MS = 60000;

export async function mount(root, app, [id]) {
  const desk = await Told.open(app, id);
  const view = planView(app);
  const p = {
    name: h("h1", { class: "frame-name" }, "…"), when: h("p", { class: "eyebrow", id: "step-when" }), big: h("p", { class: "step-big", id: "step" }),
    until: h("p", { class: "until" }), second: h("p", { class: "small" }), light: h("ul", { class: "in-light" }),
    aged: agedLine(), told: toldLine(), troubles: h("section", { class: "troubles", hidden: true }), summary: h("p", { class: "lead" }),
  };
  p.done = button(t("follow.done"), done, { class: "big go", id: "step-done" });
  p.anew = button(t("follow.anew"), anew, { class: "big", id: "step-late" });
  p.more = button(t("follow.more"), more, { class: "big", id: "step-more" });
  p.thumb = h("section", { class: "thumb", "aria-label": t("now.controls") }, p.done, h("div", { class: "acts" }, p.anew, p.more));
  fill(root, partsNav("session"), p.name, h("section", { class: "paper step-card", "aria-label": t("follow.card") }, p.when, p.big, p.until, p.second),
    p.light, p.aged, p.told, p.troubles, p.summary, view.node, p.thumb);
  let lookedMs = 0, nudged = null, busy = false, drawn = null, rows = [];

  const zone = () => desk.plan.basis.time_zone;
  const at = (time) => clockOn(Date.parse(time), zone(), app.now);

  async function working(work) {
    if (busy) return;
    busy = true;
    app.alarm.hush?.();
    for (const one of [p.done, p.anew]) one.disabled = true;
    say(p.told, t("follow.planning"));
    try {
      await work();
      say(p.told, "");
      if (desk.next) app.tellAloud(`${stepWords(desk.next)}. ${t("follow.at", { time: at(desk.next.start) })}`);
    } catch (error) {
      say(p.told, refusal(error));
    } finally {
      busy = false;
      draw();
    }
  }

  function done() {
    const step = desk.next;
    if (!step) return;
    working(() => {
      if (step.kind === "load") return desk.tell({ kind: "started", sheet_id: step.sheet_id, frame: step.frame, spot: step.spot });
      if (step.kind === "unload") {
        takeIn(app, desk, step.sheet_id);
        return desk.tell({ kind: "ended", sheet_id: step.sheet_id });
      }
      return desk.tick(step);
    });
  }

  function anew() { working(() => desk.planAnew()); }

  function more() {
    openSheet(t("follow.more.title"), (close) => {
      const out = desk.plan.sheets.filter((sheet) => ["planned", "running", "not-fitting"].includes(sheet.state) && !desk.untold.some((event) => event.kind === "dropped" && event.sheet_id === sheet.sheet_id));
      const until = h("input", { id: "break-until", type: "time", required: true });
      const rest = h("form", {
        class: "row", onsubmit: (event) => {
          event.preventDefault();
          const today = dayOf(app.now, zone());
          let untilMs = instantAt(today, until.value, zone());
          if (untilMs !== null && untilMs <= app.now) untilMs = instantAt(dayAfter(today, 1), until.value, zone());
          if (untilMs === null) return;
          close();
          working(() => desk.tell({ kind: "break", until: instant(untilMs) }));
        },
      }, until, h("button", { type: "submit" }, t("follow.break.take")));
      return [
        h("h3", {}, t("follow.cloud")),
        choices(SKIES.map((sky) => ({ label: t(`sky.${sky}`), glyph: glyph(SKY_GLYPHS[sky]), pick: () => { working(() => desk.tell({ kind: "cloud", sky })); } })), close),
        h("h3", {}, t("follow.drop")),
        choices(out.map((sheet) => ({ label: t("follow.drop.one", { sheet: sheet.sheet }), pick: () => { working(() => desk.tell({ kind: "dropped", sheet_id: sheet.sheet_id })); } })), close),
        h("h3", {}, t("follow.break")), h("label", { for: "break-until" }, t("follow.break.until")), rest,
        h("h3", {}, t("follow.rest")),
        choices([
          { label: t("follow.followed"), note: t("follow.followed.note"), pick: () => { working(() => desk.planAnew(true)); } },
          { label: t("follow.calendar"), pick: () => {
            close();
            askCalendar(app, { name: desk.record.saved.name, session: id });
          } },
          { label: t("follow.away"), note: t("follow.away.note"), pick: putAway },
        ], close),
      ];
    });
  }

  async function putAway() {
    try {
      await app.api.ask("POST", `v1/sessions/${encodeURIComponent(id)}/retire`, { headers: { "If-Match": `"${desk.record.saved.version}"` } });
      await app.keep.things.remove(`plan session ${id}`);
      app.go("plan", "session");
    } catch (error) {
      say(p.told, refusal(error));
    }
  }

  const stepWords = (step) => t(`follow.step.${step.kind}`, { sheet: step.sheet, frame: step.frame, spot: step.spot });

  function drawStep(nowMs) {
    const step = desk.next;
    show(p.done, Boolean(step));
    if (!step) {
      say(p.when, "");
      say(p.big, t("follow.over"));
      say(p.until, desk.inLight().length ? t("follow.over.light") : "");
      say(p.second, "");
      return;
    }
    const startMs = Date.parse(step.start), late = nowMs - startMs;
    const state = late > LATE_MS ? "late" : late >= 0 ? "now" : "next";
    p.big.closest(".step-card").dataset.state = state;
    say(p.when, t(`follow.${state}`));
    say(p.big, stepWords(step));
    say(p.until, state === "next" ? t("follow.in", { time: at(step.start), length: length(-late / 1000) })
      : state === "now" ? t("follow.at", { time: at(step.start) }) : t("follow.late.by", { time: at(step.start), length: length(late / 1000) }));
    say(p.second, desk.second ? t("follow.then", { step: stepWords(desk.second), time: at(desk.second.start) }) : "");
    say(p.done, t(`follow.done.${step.kind}`));
    const mark = `${step.id} ${step.start}`;
    if (state !== "next" && nudged !== mark) {
      if (nudged !== null) {
        app.alarm.nudge();
        app.tellAloud(stepWords(step));
      }
      nudged = mark;
    } else if (state === "next" && nudged === null) nudged = "";
  }

  function drawLight(nowMs) {
    const sheets = desk.inLight();
    if (sheets.map((sheet) => sheet.sheet_id).join() !== rows.map((row) => row.id).join()) {
      rows = sheets.map((sheet) => lightRow(app, desk, sheet));
      fill(p.light, rows.map((row) => row.node));
    }
    sheets.forEach((sheet, index) => {
      const begun = desk.untold.find((event) => event.kind === "started" && event.sheet_id === sheet.sheet_id);
      const endMs = begun && sheet.length_s ? Date.parse(begun.at) + sheet.length_s * 1000 : Date.parse(sheet.end);
      const words = Number.isFinite(endMs) && endMs > nowMs ? t("follow.light", { sheet: sheet.sheet, frame: sheet.frame, time: clock(endMs, zone()), length: length((endMs - nowMs) / 1000) })
        : t("follow.light.over", { sheet: sheet.sheet, frame: sheet.frame });
      rows[index].turn(words, nowMs);
    });
  }

  function draw() {
    const { record, plan } = desk;
    if (!plan) {
      say(p.name, t("follow.unknown"));
      show(p.thumb, false);
      show(view.node, false);
      return;
    }
    show(p.thumb, true);
    show(view.node, true);
    const nowMs = app.now;
    say(p.name, record.saved.name);
    say(p.summary, plan.summary);
    drawStep(nowMs);
    drawLight(nowMs);
    for (const one of [p.done, p.anew]) one.disabled = busy;
    const lines = [desk.away && record.keptMs ? t("plan.kept", { age: age((nowMs - record.keptMs) / 1000) }) : "",
      desk.waits && desk.away ? t("follow.untold", { count: desk.waits, n: desk.waits }) : "", record.changed ? t("follow.changed") : ""].filter(Boolean);
    show(p.aged, lines.length > 0);
    say(p.aged, lines.join(" "));
    drawTroubles();
    const state = `${record.saved.version} ${JSON.stringify(desk.untold)} ${JSON.stringify(record.ticks)}`;
    if (state !== drawn) view.draw(plan, (step) => desk.isDone(step));
    drawn = state;
  }

  function drawTroubles() {
    const { refused } = desk.record;
    show(p.troubles, refused.length > 0);
    fill(p.troubles, refused.length ? [h("h2", {}, t("trouble.title")), refused.map((one, index) => h("div", { class: "trouble" },
      h("p", {}, t("follow.refused", { what: one.event ? t(`follow.event.${one.event.kind}`, { sheet: nameOf(one.event.sheet_id) }) : t("follow.anew"), why: one.why })),
      h("div", { class: "row" }, button(t("trouble.leave"), () => desk.forget(index), {}))))] : []);
  }

  const nameOf = (sheetId) => desk.plan.sheets.find((sheet) => sheet.sheet_id === sheetId)?.sheet ?? sheetId ?? "";

  async function look() {
    lookedMs = app.now;
    try {
      await desk.look();
    } catch (error) {
      if (!desk.plan) say(p.name, t("follow.unknown"));
      say(p.told, refusal(error));
    }
    draw();
  }

  desk.onChange = draw;
  draw();
  look();
  return {
    tick(nowMs) {
      if (!desk.plan) return;
      drawStep(nowMs);
      drawLight(nowMs);
      if (nowMs - lookedMs >= EVERY_MS && !busy) {
        look();
        view.refresh();
      }
    },
    changed(what, value) { if (!busy && (what === "visible" || (what === "reach" && value))) look(); },
    leave() {
      desk.onChange = () => {};
      view.leave();
    },
  };
}
