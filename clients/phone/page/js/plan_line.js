// A line of time: the light as a hill, and below it lanes of what happens in it.  Touching a lane finds the
// nearest block, because ten minutes of a long day are narrower than any thumb.
import { h, s } from "./dom.js";
import { clock } from "./moments.js";
import { clockMinutes } from "./plan_kit.js";

const HILL = 84, TOP = 8, EDGE = 8, LANE = 46, LABEL = 15, FOOT = 20;
const QUARTER_MS = 900000, APART = 46;
const STEPS_MIN = [15, 30, 60, 120, 180, 240, 360];

/**
 * `curves` are `[{ points: [{ ms, w_m2 }] }]`, the first one filled; `lanes` are `[{ label, blocks: [{ id, kind,
 * fromMs, toMs, state, mark }] }]`; `pauses` are `[{ fromMs, toMs }]`.  `touch(id)` hears which block was meant.
 */
export function timeLine({ fromMs, toMs, zone, nowMs, width, curves, lanes, pauses = [], words, touch, chosen }) {
  const W = Math.max(Math.round(width), 260);
  const x = (ms) => EDGE + ((Math.min(Math.max(ms, fromMs), toMs) - fromMs) / (toMs - fromMs)) * (W - 2 * EDGE);
  const base = TOP + HILL, height = base + lanes.length * (LANE + LABEL) + FOOT;
  const most = Math.max(1e-9, ...curves.flatMap((curve) => curve.points.map((point) => point.w_m2)));
  const y = (w_m2) => base - (w_m2 / most) * HILL;
  const path = (points) => points.map((point, index) => `${index ? "L" : "M"}${x(point.ms).toFixed(1)} ${y(point.w_m2).toFixed(1)}`).join("");
  const within = (points) => points.filter((point) => point.ms >= fromMs && point.ms <= toMs);

  const svg = s("svg", { viewBox: `0 0 ${W} ${height}`, width: W, height, class: "chart plan-line", role: "img", "aria-label": words });
  curves.forEach((curve, index) => {
    const points = within(curve.points);
    if (points.length < 2) return;
    if (!index) svg.append(s("path", { class: "chart-likely", d: `${path(points)}L${x(points.at(-1).ms).toFixed(1)} ${base}L${x(points[0].ms).toFixed(1)} ${base}Z` }));
    svg.append(s("path", { class: index ? "chart-cloud" : "chart-sun", d: path(points) }));
  });
  for (const pause of pauses) svg.append(hatch(x(pause.fromMs), x(pause.toMs), base, height - FOOT));
  svg.append(s("path", { class: "chart-base", d: `M${EDGE / 2} ${base}H${W - EDGE / 2}` }));
  const shownHours = hours(fromMs, toMs, zone, W);
  for (const ms of shownHours) svg.append(s("path", { class: "plan-hour", d: `M${x(ms).toFixed(1)} ${TOP}V${height - FOOT}` }));
  if (nowMs >= fromMs && nowMs <= toMs) svg.append(s("path", { class: "chart-now", d: `M${x(nowMs).toFixed(1)} 2V${height - FOOT}` }));
  lanes.forEach((lane, index) => {
    const top = base + index * (LANE + LABEL);
    svg.append(s("text", { class: "plan-lane", x: EDGE, y: top + LABEL }, lane.label));
    for (const block of lane.blocks) {
      const [left, right] = [x(block.fromMs), x(block.toMs)];
      svg.append(s("rect", {
        class: "plan-block", "data-kind": block.kind, "data-state": block.state ?? "planned", "data-on": block.id === chosen ? "" : null,
        x: left.toFixed(1), y: top + LABEL + 4, width: Math.max(right - left, 2.5).toFixed(1), height: LANE - 12, rx: 3,
      }));
      if (block.mark && right - left > 7 * block.mark.length + 4) {
        svg.append(s("text", { class: "plan-mark", "data-kind": block.kind, x: ((left + right) / 2).toFixed(1), y: top + LABEL + LANE / 2 + 2 }, block.mark));
      }
    }
  });
  for (const ms of shownHours) svg.append(s("text", { class: "chart-hour", x: x(ms).toFixed(1), y: height - 5 }, clock(ms, zone)));
  svg.addEventListener("click", (event) => {
    const box = svg.getBoundingClientRect(), scale = W / box.width;
    const [atX, atY] = [(event.clientX - box.left) * scale, (event.clientY - box.top) * scale];
    const lane = lanes[Math.floor((atY - base) / (LANE + LABEL))];
    const away = (block) => Math.max(x(block.fromMs) - atX, atX - x(block.toMs), 0);
    const blocks = (lane ? [lane] : lanes).flatMap((one) => one.blocks);
    if (blocks.length) touch?.(blocks.reduce((best, block) => (away(block) < away(best) ? block : best)).id);
  });
  return h("div", { class: "plan-line-box" }, svg);
}

/** Slanted lines where nobody is there. */
function hatch(left, right, top, bottom) {
  let d = "";
  for (let at = left - (bottom - top); at < right; at += 9) {
    const from = Math.max(at, left), to = Math.min(at + (bottom - top), right);
    if (to > from) d += `M${from.toFixed(1)} ${(bottom - (from - at)).toFixed(1)}L${to.toFixed(1)} ${(bottom - (to - at)).toFixed(1)}`;
  }
  return s("path", { class: "plan-pause", d });
}

/** Instants at which the clock of the place shows round times, so far apart that they can be read. */
function hours(fromMs, toMs, zone, width) {
  const most = (width - 2 * EDGE) / APART;
  const every = STEPS_MIN.find((minutes) => (toMs - fromMs) / 60000 / minutes <= most) ?? 480;
  const found = [];
  for (let ms = Math.ceil(fromMs / QUARTER_MS) * QUARTER_MS; ms <= toMs; ms += QUARTER_MS) {
    const share = (ms - fromMs) / (toMs - fromMs);
    if (clockMinutes(ms, zone) % every === 0 && share * width > 22 && (1 - share) * width > 22) found.push(ms);
  }
  return found;
}
