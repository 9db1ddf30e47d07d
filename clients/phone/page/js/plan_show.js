// A plan as it is looked at: frames, hands and tray over the light, every step in words, and what does not fit.
import { button, fill, h, say, show } from "./dom.js";
import { clock, length, percent } from "./moments.js";
import { timeLine } from "./plan_line.js";
import { t } from "./texts.js";

const NARROW_PX = 380, AROUND_MS = 300000;
const AT_FRAME = ["load", "expose", "move", "unload"];

const ms = (time) => Date.parse(time);

/** Nodes of a plan and how to draw it; `isDone(step)` says what has been told since. */
export function planView(app) {
  const p = {
    line: h("figure", { class: "plan-session" }), step: h("p", { class: "plan-said", role: "status" }),
    list: h("ol", { class: "steps" }), left: h("section"), advice: h("section"), bound: h("p", { class: "small" }), cautions: h("ul", { class: "cautions" }),
    curves: h("p", { class: "small" }),
  };
  p.before = button(t("plan.step.before"), () => turn(-1), { class: "big" });
  p.after = button(t("plan.step.after"), () => turn(1), { class: "big" });
  p.walk = h("div", { class: "acts" }, p.before, p.after);
  p.steps = h("details", { class: "why", open: document.documentElement.clientWidth <= NARROW_PX }, h("summary", {}, t("plan.steps")), p.list);
  const node = h("div", { class: "beside" }, p.line, p.curves, p.step, p.walk, p.left, p.advice, p.steps, p.bound, p.cautions);
  let plan = null, chosen = null, isDone = () => false;

  const zone = () => plan.basis.time_zone;
  const stateOf = (step) => (isDone(step) ? "done" : step.state);
  const words = (step) => t("plan.step.line", {
    from: clock(ms(step.start), zone()), to: clock(ms(step.end), zone()), says: step.says, state: stateOf(step) === "planned" ? "" : t(`plan.state.${stateOf(step)}`),
  }).trim();

  function pick(id) {
    chosen = id;
    const step = plan.steps.find((one) => one.id === id);
    say(p.step, step ? words(step) : "");
    drawLine();
  }

  function turn(by) {
    const index = plan.steps.findIndex((one) => one.id === chosen);
    const next = plan.steps[index < 0 ? 0 : Math.min(Math.max(index + by, 0), plan.steps.length - 1)];
    if (next) pick(next.id);
  }

  function lanes() {
    const block = (step) => ({ id: step.id, kind: step.kind, state: stateOf(step), fromMs: ms(step.start), toMs: ms(step.end), mark: step.kind === "expose" ? step.sheet : "" });
    const frames = [...new Set(plan.steps.map((step) => step.frame).filter(Boolean))].sort((a, b) => a.localeCompare(b, undefined, { numeric: true }));
    return [
      ...frames.map((frame) => ({ label: frame, blocks: plan.steps.filter((step) => step.frame === frame && AT_FRAME.includes(step.kind)).map(block) })),
      { label: t("plan.lane.tray"), blocks: plan.steps.filter((step) => step.kind === "wash" || step.kind === "soak").map(block) },
    ];
  }

  function drawLine() {
    if (!plan?.steps.length) {
      fill(p.line);
      return;
    }
    const nowMs = app.now;
    const fromMs = Math.min(...plan.steps.map((step) => ms(step.start))) - AROUND_MS;
    const toMs = Math.max(...plan.steps.map((step) => ms(step.end))) + AROUND_MS;
    fill(p.line, timeLine({
      fromMs, toMs, zone: zone(), nowMs, width: p.line.clientWidth || 340, chosen, touch: pick,
      curves: plan.light.map((one) => ({ points: one.time.map((time, index) => ({ ms: ms(time), w_m2: one.effective_w_m2[index] })) })),
      lanes: lanes(),
      pauses: plan.steps.filter((step) => step.kind === "break").map((step) => ({ fromMs: ms(step.start), toMs: ms(step.end) })),
      words: t("plan.line.session", { summary: plan.summary }),
    }), h("figcaption", { class: "small keys" }, ["expose", "hands", "soak"].map((kind) => h("span", { class: "plan-key", "data-kind": kind }, t(`plan.key.${kind}`))),
      plan.steps.some((step) => step.kind === "break") ? h("span", { class: "plan-key", "data-kind": "break" }, t("plan.key.break")) : null));
  }

  function draw(newPlan, done = () => false) {
    plan = newPlan;
    isDone = done;
    drawLine();
    const found = plan.steps.find((step) => step.id === chosen);
    say(p.step, found ? words(found) : plan.steps.length ? t("plan.step.touch") : "");
    show(p.walk, plan.steps.length > 0);
    show(p.steps, plan.steps.length > 0);
    show(p.curves, plan.light.length > 1);
    say(p.curves, plan.light.length > 1 ? t("plan.curves", { first: plan.light[0].spot, others: plan.light.slice(1).map((one) => one.spot).join(", ") }) : "");
    fill(p.list, plan.steps.map((step) => h("li", { "data-state": stateOf(step), "data-step": step.id },
      h("b", {}, t("plan.span", { from: clock(ms(step.start), zone()), to: clock(ms(step.end), zone()) })), " ", step.says,
      step.chance === null ? null : h("span", { class: "small" }, " ", t("plan.chance", { chance: percent(step.chance) })),
      stateOf(step) === "planned" ? null : h("span", { class: "small" }, " ", t(`plan.state.${stateOf(step)}`)))));
    const out = plan.sheets.filter((sheet) => sheet.state === "not-fitting");
    fill(p.left, out.length ? [h("h2", {}, t("plan.left", { count: out.length })), h("ul", { class: "cautions" }, out.map((sheet) => h("li", { "data-reason": sheet.reason }, sheet.says)))] : []);
    fill(p.advice, plan.advice.length ? [h("h2", {}, t("plan.advice")), plan.advice.map((one) => h("p", {}, one))] : []);
    say(p.bound, plan.bound_says);
    fill(p.cautions, plan.cautions.map((one) => h("li", {}, one)));
  }

  const resized = () => drawLine();
  addEventListener("resize", resized);
  return { node, draw, refresh: () => plan && drawLine(), leave: () => removeEventListener("resize", resized) };
}

/** Each sheet in a line: when it is in the light, or why it is not. */
export const sheetRows = (plan) => plan.sheets.filter((sheet) => sheet.start && sheet.state !== "dropped").map((sheet) => h("li", { "data-sheet": sheet.sheet_id },
  h("b", { class: "sheet-time" }, clock(ms(sheet.start), plan.basis.time_zone)), h("span", { class: "sheet-name" }, sheet.sheet),
  h("span", { class: "sheet-length" }, sheet.length_s ? length(sheet.length_s) : ""), h("span", { class: "small sheet-where" }, t("plan.where", { frame: sheet.frame, spot: sheet.spot }))));
