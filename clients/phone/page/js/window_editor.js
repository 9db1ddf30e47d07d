// A window by measuring tape, the frame behind it, and the patch of sun that will lie on the table.
import { labelled, numberField, refusal, selectField, typed } from "./bench_kit.js";
import { button, fill, h, say, show } from "./dom.js";
import { clock, metresOf, percent, smallUnit, typedOf } from "./moments.js";
import { ways } from "./setup.js";
import { skylineEditor } from "./skyline_editor.js";
import { t } from "./texts.js";
import { windowDrawing } from "./window_drawing.js";

export const FRESH_WINDOW = {
  kind: "window",
  window: { outward_azimuth_deg: 180, width_m: 1.2, sill_m: 0.1, head_m: 1.4, reveal_depth_m: 0.2, overhang_depth_m: 0, pane: "none", skyline: null },
  frame: { distance_m: 0.6, offset_m: 0, width_m: 0.3, height_m: 0.4, tilt_deg: 0, aim_azimuth_deg: null },
};
const LENGTHS = {
  window: [["width_m", 0.01, 20], ["sill_m", -3, 20], ["head_m", 0.01, 20], ["reveal_depth_m", 0, 3], ["overhang_depth_m", 0, 10]],
  frame: [["distance_m", 0.01, 20], ["offset_m", -20, 20], ["width_m", 0.01, 5], ["height_m", 0.01, 5]],
};

export function windowEditor(app, { spot: given, panes, place }) {
  const spot = structuredClone({ ...FRESH_WINDOW, ...given });
  spot.window = { ...FRESH_WINDOW.window, ...spot.window };
  spot.frame = { ...FRESH_WINDOW.frame, ...spot.frame };
  const { units } = app;
  const told = h("p", { class: "told", role: "status" }), patchTold = h("p", { role: "status" });
  const drawing = windowDrawing();
  let patches = null, at = 0;
  const slider = h("input", { id: "patch-time", type: "range", min: 0, max: 0, step: 1, value: 0, oninput: () => { at = Number(slider.value); drawPatch(); } });
  const patchTime = h("output", { for: "patch-time" }), patchBox = h("div", { hidden: true }, h("label", { for: "patch-time" }, t("window.patch.time"), " ", patchTime), slider);

  const fields = Object.entries(LENGTHS).flatMap(([part, all]) => all.map(([name, low, high]) => {
    const id = `${part}-${name}`;
    const field = numberField(id, typedOf(spot[part][name], units), { min: typedOf(low, units), max: typedOf(high, units), required: true, "data-length": name });
    field.addEventListener("input", () => read(field, (value) => { spot[part][name] = metresOf(value, units); }));
    return [id, labelled(t(`window.${part}.${name}`, { unit: smallUnit(units) }), field)];
  }));
  const angle = (id, value, low, high, more, set) => {
    const field = numberField(id, value, { min: low, max: high, ...more });
    field.addEventListener("input", () => read(field, set));
    return field;
  };
  const outward = angle("window-outward", spot.window.outward_azimuth_deg, 0, 360, { required: true }, (value) => { spot.window.outward_azimuth_deg = value; });
  const facing = selectField("window-facing", [{ value: "", label: t("window.facing.pick") }, ...ways.map(({ azimuth, name }) => ({ value: String(azimuth), label: name() }))], String(spot.window.outward_azimuth_deg), {
    "aria-label": t("window.facing"), onchange: () => {
      if (facing.value === "") return;
      outward.value = facing.value;
      outward.dispatchEvent(new Event("input"));
    },
  });
  const pane = selectField("window-pane", [{ value: "none", label: t("window.pane.none") }, ...panes.map((one) => ({ value: one.id, label: one.label }))], spot.window.pane, { onchange: () => { spot.window.pane = pane.value; changed(); } });
  const tilt = angle("frame-tilt", spot.frame.tilt_deg, 0, 90, { required: true }, (value) => { spot.frame.tilt_deg = value; });
  const opposite = skylineEditor(app, { corners: spot.window.skyline, place, id: "opposite" });
  const labelOf = (id) => fields.find(([one]) => one === id)[1];
  const node = h("div", { class: "window-part" },
    h("div", { class: "drawings" }, drawing.nodes), patchBox, patchTold,
    button(t("window.patch"), look, { class: "wide", id: "window-patch" }), told,
    h("fieldset", {}, h("legend", {}, t("window.title")), h("p", { class: "small" }, t("window.lead")),
      h("div", { class: "two" }, labelled(t("window.outward"), outward), h("div", { class: "field" }, h("p", { class: "label", "aria-hidden": "true" }, t("window.facing")), facing)),
      h("p", { class: "small" }, t("window.outward.note")),
      h("div", { class: "two" }, LENGTHS.window.map(([name]) => labelOf(`window-${name}`))), labelled(t("window.pane"), pane)),
    h("fieldset", {}, h("legend", {}, t("window.frame")), h("p", { class: "small" }, t("window.frame.lead")),
      h("div", { class: "two" }, LENGTHS.frame.map(([name]) => labelOf(`frame-${name}`)), labelled(t("window.tilt"), tilt))),
    h("details", { class: "why", open: Boolean(spot.window.skyline) }, h("summary", {}, t("window.opposite")), opposite.node));

  function read(field, set) {
    const value = typed(field);
    field.setAttribute("aria-invalid", String(value === null || Number.isNaN(value)));
    if (value === null || Number.isNaN(value)) {
      say(told, t("window.bad", { low: field.min, high: field.max }));
      return;
    }
    set(value);
    changed();
  }

  function changed() {
    const bad = spot.window.sill_m >= spot.window.head_m;
    say(told, bad ? t("window.upsidedown") : "");
    patches = null;
    show(patchBox, false);
    say(patchTold, "");
    if (!bad) drawing.draw(spot, null, units);
  }

  function drawPatch() {
    const moment = patches[at];
    const when = clock(Date.parse(moment.time), app.zone);
    say(patchTime, when);
    slider.setAttribute("aria-valuetext", t("window.patch.says", { time: when, share: percent(moment.table_share) }));
    drawing.draw(spot, moment.corners, units);
  }

  async function look() {
    const where = place();
    if (!where) {
      say(patchTold, t("bench.noplace"));
      return;
    }
    say(patchTold, t("move.looking"));
    try {
      const answer = await app.api.post("v1/patch", { ...where, spot: value() }, { patienceMs: 15000 });
      say(patchTold, answer.summary);
      patches = answer.moments;
      show(patchBox, patches.length > 0);
      if (!patches.length) return;
      slider.max = patches.length - 1;
      at = Math.floor(patches.length / 2);
      slider.value = at;
      drawPatch();
    } catch (error) {
      say(patchTold, refusal(error));
    }
  }

  function value() {
    const skyline = opposite.value();
    const made = structuredClone(spot);
    made.window.skyline = skyline;
    if (!skyline) delete made.window.skyline;
    if (made.frame.aim_azimuth_deg === null) delete made.frame.aim_azimuth_deg;
    return made;
  }

  drawing.draw(spot, null, units);
  return { node, value, placed: opposite.placed };
}
