// A skyline, by pointing the phone, by drawing, or by typing rows of azimuth and elevation.
import { button, fill, h, say } from "./dom.js";
import { instant } from "./moments.js";
import { missing, pointAlong } from "./skyline_sensor.js";
import { skylineDrawing } from "./skyline_drawing.js";
import { HIGHEST, LOWEST, MOST, withCorner } from "./skyline_points.js";
import { t } from "./texts.js";

const DAY_MS = 86400000;

/** `place()` gives the fields of the place, or null; `value()` is the list of pairs, null where there is no corner. */
export function skylineEditor(app, { corners: given, place, id = "skyline" }) {
  let corners = (given ?? []).map((pair) => [...pair]);
  const rows = h("ol", { class: "corners" }), told = h("p", { class: "told", role: "status" });
  const drawing = skylineDrawing({ get: () => corners, move, add, label: t("skyline.drawing") });
  const azimuth = h("input", { id: `${id}-azimuth`, type: "number", inputmode: "decimal", min: 0, max: 359.9, step: "any" });
  const elevation = h("input", { id: `${id}-elevation`, type: "number", inputmode: "decimal", min: LOWEST, max: HIGHEST, step: "any" });
  const more = button(t("skyline.add"), () => {
    if (!azimuth.value || !elevation.value || !azimuth.checkValidity() || !elevation.checkValidity()) {
      say(told, t("skyline.add.bad", { low: LOWEST, high: HIGHEST }));
      return;
    }
    add(Number(azimuth.value), Number(elevation.value));
    azimuth.value = elevation.value = "";
    azimuth.focus();
  }, { id: `${id}-add` });

  function move(index, at, up) {
    const rest = corners.filter((_, other) => other !== index);
    if (rest.some(([other]) => Math.abs(other - at) < 0.5)) return index; // corners do not pass through one another
    const moved = withCorner(rest, at, up);
    corners = moved;
    draw();
    return moved.findIndex(([other]) => Math.abs(other - Math.round(at * 10) / 10) < 0.05);
  }

  function add(at, up) {
    if (corners.length >= MOST) {
      say(told, t("skyline.most", { n: MOST }));
      return corners.length;
    }
    corners = withCorner(corners, at, up);
    say(told, "");
    draw();
    return corners.length;
  }

  function draw() {
    drawing.draw();
    corners.forEach(([at, up], index) => {
      const row = rows.children[index] ?? rows.appendChild(makeRow());
      const [one, other, cross] = row.querySelectorAll("input, button");
      row.dataset.index = index;
      if (document.activeElement !== one) one.value = at;
      if (document.activeElement !== other) other.value = up;
      one.setAttribute("aria-label", t("skyline.row.azimuth", { n: index + 1 }));
      other.setAttribute("aria-label", t("skyline.row.elevation", { n: index + 1 }));
      cross.setAttribute("aria-label", t("skyline.row.less", { n: index + 1 }));
    });
    while (rows.children.length > corners.length) rows.lastChild.remove();
  }

  function makeRow() {
    const field = (min, max) => h("input", { type: "number", inputmode: "decimal", min, max, step: "any", onchange: change });
    const row = h("li", { class: "corner" }, field(0, 359.9), field(LOWEST, HIGHEST), button("×", () => {
      corners = corners.filter((_, index) => index !== Number(row.dataset.index));
      draw();
      azimuth.focus();
    }, { class: "cross" }));
    function change() {
      const [one, other] = row.querySelectorAll("input");
      if (!one.value || !other.value || !one.checkValidity() || !other.checkValidity()) {
        say(told, t("skyline.add.bad", { low: LOWEST, high: HIGHEST }));
        return;
      }
      say(told, "");
      move(Number(row.dataset.index), Number(one.value), Number(other.value));
    }
    return row;
  }

  async function sunWay() {
    const where = place();
    if (!where) return;
    try {
      const from = Math.floor(app.now / 600000) * 600000;
      const light = await app.api.post("v1/light", { ...where, start: instant(from), end: instant(from + DAY_MS), step_s: 600 });
      drawing.sun(light.solar_azimuth_deg.map((azimuth_deg, index) => ({ azimuth: azimuth_deg, elevation: 90 - light.solar_zenith_deg[index] }))
        .filter((one) => one.elevation > 0));
    } catch {
      drawing.sun([]); // without the service the drawing lacks the sun's way, nothing else
    }
  }

  const lack = missing(app);
  const pointButton = button(t("skyline.point"), async () => {
    const refused = await pointAlong(app, { mark: add, place: place(), seen: (at, up) => drawing.point(at, up) });
    say(told, refused ?? "");
  }, { class: "big wide", id: `${id}-point` });
  const node = h("fieldset", { class: "skyline-part" }, h("legend", {}, t("skyline.title")),
    h("p", { class: "small" }, t("skyline.lead")),
    lack ? h("p", { class: "note" }, lack) : pointButton,
    drawing.node, told,
    h("div", { class: "corner-head", "aria-hidden": "true" }, h("span", {}, t("skyline.azimuth")), h("span", {}, t("skyline.elevation"))),
    rows,
    h("div", { class: "corner new" }, h("div", {}, h("label", { for: azimuth.id }, t("skyline.new.azimuth")), azimuth), h("div", {}, h("label", { for: elevation.id }, t("skyline.new.elevation")), elevation), more));
  draw();
  sunWay();
  return { node, value: () => (corners.length ? corners.map((pair) => [...pair]) : null), placed: sunWay };
}
