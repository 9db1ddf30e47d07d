// The day's light as a drawing: what is likely, what a clear sky would give, what cloud would leave, and the
// stretch that the exposure takes out of it.
import { s } from "./dom.js";
import { clock } from "./moments.js";
import { t } from "./texts.js";

const W = 360, H = 132, BASE = 108, TOP = 10;

export function dayChart(light, { sky, nowMs, startMs, endMs, zone }) {
  const [fromMs, toMs] = dayAround(light, startMs);
  const all = light.day("sun-out", fromMs, toMs).filter((point) => point.w_m2 > 0);
  if (all.length < 2) return s("svg", { viewBox: `0 0 ${W} ${H}`, class: "chart", role: "img", "aria-label": t("chart.dark") });
  const [firstMs, lastMs] = [all[0].ms, all[all.length - 1].ms];
  const most = Math.max(...all.map((point) => point.w_m2));
  const x = (ms) => 6 + ((ms - firstMs) / (lastMs - firstMs)) * (W - 12);
  const y = (w_m2) => BASE - (w_m2 / most) * (BASE - TOP);
  const line = (points) => points.map((point, index) => `${index ? "L" : "M"}${x(point.ms).toFixed(1)} ${y(point.w_m2).toFixed(1)}`).join("");
  const within = (name) => light.day(name, firstMs, lastMs);
  const area = (points) => (points.length ? `${line(points)}L${x(points[points.length - 1].ms).toFixed(1)} ${BASE}L${x(points[0].ms).toFixed(1)} ${BASE}Z` : "");
  const likely = within(sky);
  const shown = (ms) => ms >= firstMs && ms <= lastMs;
  const strongest = likely.reduce((best, point) => (point.w_m2 > best.w_m2 ? point : best), likely[0]);
  const words = t("chart.says", { from: clock(firstMs, zone), to: clock(lastMs, zone), best: clock(strongest.ms, zone) });
  const exposure = endMs ? t("chart.exposure", { from: clock(startMs, zone), to: clock(endMs, zone) }) : "";
  const hours = [];
  for (let ms = Math.ceil(firstMs / 10800000) * 10800000; ms <= lastMs; ms += 10800000) hours.push(ms);
  const bars = endMs ? [s("path", { class: "chart-taken", d: area(cut(light, sky, startMs, endMs)) })] : [];
  if (endMs && shown(startMs)) {
    const [left, right] = [x(startMs), Math.min(x(endMs), W - 4)];
    bars.push(s("rect", { class: "chart-foot", x: left, y: BASE, width: Math.max(right - left, 2.5), height: 7, rx: 1.5 }));
  }
  return s("svg", { viewBox: `0 0 ${W} ${H}`, class: "chart", role: "img", "aria-label": `${words} ${exposure}`.trim() },
    s("path", { class: "chart-likely", d: area(likely) }),
    bars,
    s("path", { class: "chart-sun", d: line(within("sun-out")) }),
    s("path", { class: "chart-cloud", d: line(within("covered")) }),
    s("path", { class: "chart-base", d: `M4 ${BASE}H${W - 4}` }),
    shown(nowMs) ? s("path", { class: "chart-now", d: `M${x(nowMs).toFixed(1)} ${TOP - 6}V${BASE + 7}` }) : null,
    hours.filter((ms) => x(ms) > 16 && x(ms) < W - 16).map((ms) =>
      s("text", { x: x(ms).toFixed(1), y: H - 4, class: "chart-hour" }, clock(ms, zone))),
  );
}

/** First and last moment of the civil day of `ms` at the place. */
function dayAround(light, ms) {
  const begins = [...light.answer.sun.map((day) => day.begins_epoch * 1000), light.lastMs];
  const index = Math.max(begins.findLastIndex((beginMs) => beginMs <= ms), 0);
  return [begins[index], begins[index + 1] ?? light.lastMs];
}

function cut(light, sky, startMs, endMs) {
  const points = [];
  const step = Math.max((endMs - startMs) / 24, 1000);
  for (let ms = startMs; ms < endMs; ms += step) {
    const to = Math.min(ms + step, endMs);
    points.push({ ms: ms + (to - ms) / 2, w_m2: (light.dose(sky, ms, to) * 1000) / (to - ms) });
  }
  if (points.length) {
    points.unshift({ ...points[0], ms: startMs });
    points.push({ ...points[points.length - 1], ms: endMs });
  }
  return points;
}
