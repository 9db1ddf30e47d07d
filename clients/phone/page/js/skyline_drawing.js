// The skyline drawn all the way round, north to north; corners can be dragged, or moved with the arrow keys.
import { fill, s } from "./dom.js";
import { number } from "./moments.js";
import { ways } from "./setup.js";
import { elevationAt, HIGHEST, LOWEST, turned } from "./skyline_points.js";
import { t } from "./texts.js";

const W = 360, H = 200, TOP = 14, GROUND = 168, REACH = 22;
const toX = (azimuth) => azimuth, toY = (elevation) => GROUND - (elevation / HIGHEST) * (GROUND - TOP);

/**
 * `get()` gives the corners; `move(index, azimuth, elevation)` and `add(azimuth, elevation)` are told of changes.
 * `sun` may be a list of `{ azimuth, elevation }` to draw the sun's way.
 */
export function skylineDrawing({ get, move, add, label }) {
  const hill = s("path", { class: "sky-hill" }), sunWay = s("path", { class: "sky-sun" });
  const pointer = s("path", { class: "sky-pointer" });
  const handles = s("g");
  const node = s("svg", { viewBox: `0 0 ${W} ${H}`, class: "skyline", role: "group", "aria-label": label },
    [30, 60].map((up) => s("path", { class: "sky-grid", d: `M0 ${toY(up)}H${W}` })),
    [30, 60].map((up) => s("text", { class: "sky-word", x: 3, y: toY(up) - 3 }, `${up}°`)),
    sunWay, hill, s("path", { class: "sky-ground", d: `M0 ${GROUND}H${W}` }),
    ways.filter((_, index) => index % 2 === 0).map(({ azimuth, name }) => s("text", { class: "sky-word", x: azimuth === 0 ? 3 : toX(azimuth), y: H - 6, "text-anchor": azimuth === 0 ? "start" : "middle" }, name())),
    pointer, handles);
  let dragged = null;

  const clamp = (value, low, high) => Math.min(Math.max(value, low), high);

  function place(event) {
    const box = node.getBoundingClientRect();
    const x = ((event.clientX - box.left) / box.width) * W, y = ((event.clientY - box.top) / box.height) * H;
    return [clamp(Math.round(x), 0, 359), clamp(Math.round(((GROUND - y) / (GROUND - TOP)) * HIGHEST), LOWEST, HIGHEST)];
  }

  node.addEventListener("pointerdown", (event) => {
    const handle = event.target.closest?.(".sky-corner");
    if (handle) {
      dragged = Number(handle.dataset.index);
      node.setPointerCapture(event.pointerId);
      event.preventDefault();
      handle.focus();
    }
  });
  node.addEventListener("pointermove", (event) => { if (dragged !== null) dragged = move(dragged, ...place(event)); });
  for (const kind of ["pointerup", "pointercancel"]) node.addEventListener(kind, () => { dragged = null; });
  node.addEventListener("click", (event) => { if (!event.target.closest?.(".sky-corner")) add(...place(event)); });
  node.addEventListener("keydown", (event) => {
    const index = event.target.dataset?.index;
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (index === undefined || !step) return;
    event.preventDefault();
    const [azimuth, elevation] = get()[Number(index)];
    const by = event.shiftKey ? 5 : 1;
    const now = move(Number(index), turned(azimuth + by * step[0]), clamp(elevation + by * step[1], LOWEST, HIGHEST));
    handles.children[now]?.focus();
  });

  return {
    node,
    draw() {
      const corners = get();
      const round = corners.length ? [[0, elevationAt(corners, 0)], ...corners.filter(([azimuth]) => azimuth > 0), [360, elevationAt(corners, 360)]] : [[0, 0], [360, 0]];
      hill.setAttribute("d", `M0 ${H - 22}${round.map(([azimuth, elevation]) => `L${toX(azimuth)} ${toY(elevation).toFixed(1)}`).join("")}L${W} ${H - 22}Z`);
      while (handles.children.length > corners.length) handles.lastChild.remove();
      corners.forEach(([azimuth, elevation], index) => {
        if (!handles.children[index]) {
          handles.append(s("g", { class: "sky-corner", tabindex: 0, role: "slider", "data-index": index, "aria-valuemin": LOWEST, "aria-valuemax": HIGHEST, "aria-orientation": "vertical" },
            s("circle", { r: REACH, class: "sky-reach" }), s("circle", { r: 7, class: "sky-dot" })));
        }
        const handle = handles.children[index];
        handle.setAttribute("transform", `translate(${toX(azimuth)} ${toY(elevation).toFixed(1)})`);
        handle.setAttribute("aria-label", t("skyline.corner", { n: index + 1 }));
        handle.setAttribute("aria-valuenow", elevation);
        handle.setAttribute("aria-valuetext", t("skyline.corner.says", { azimuth: number(azimuth, 1), elevation: number(elevation, 1) }));
      });
    },
    sun(way) {
      sunWay.setAttribute("d", way.map(({ azimuth, elevation }, index) =>
        `${index && Math.abs(azimuth - way[index - 1].azimuth) < 180 ? "L" : "M"}${toX(azimuth).toFixed(1)} ${toY(elevation).toFixed(1)}`).join(""));
    },
    point(azimuth, elevation) {
      pointer.setAttribute("d", azimuth === null ? "" : `M${toX(azimuth) - 9} ${toY(elevation)}h18M${toX(azimuth)} ${toY(elevation) - 9}v18`);
    },
    clear() { fill(handles); },
  };
}
