// A window and the frame inside it, drawn to scale as the numbers change: from above, and from the side.
import { fill, s } from "./dom.js";
import { distance } from "./moments.js";
import { t } from "./texts.js";

const W = 360, PLAN_H = 250, SIDE_H = 200, PAD = 26;

const rect = (x, y, w, h, cls) => s("rect", { x: x.toFixed(1), y: y.toFixed(1), width: Math.max(w, 0.5).toFixed(1), height: Math.max(h, 0.5).toFixed(1), class: cls });
const word = (x, y, text, anchor = "middle") => s("text", { x: x.toFixed(1), y: y.toFixed(1), class: "draw-word", "text-anchor": anchor }, text);

/** A measure with its ends marked, along or up. */
function measure(x1, y1, x2, y2, text, before = false) {
  const flat = Math.abs(y1 - y2) < 0.5;
  const cap = (x, y) => (flat ? `M${x} ${y - 4}v8` : `M${x - 4} ${y}h8`);
  return [s("path", { class: "draw-measure", d: `M${x1.toFixed(1)} ${y1.toFixed(1)}L${x2.toFixed(1)} ${y2.toFixed(1)}${cap(x1, y1)}${cap(x2, y2)}` }),
    flat ? word((x1 + x2) / 2, y1 - 5, text) : word(x1 + (before ? -6 : 6), (y1 + y2) / 2 + 4, text, before ? "end" : "start")];
}

export function windowDrawing() {
  const plan = s("svg", { viewBox: `0 0 ${W} ${PLAN_H}`, class: "room-drawing", role: "img" });
  const side = s("svg", { viewBox: `0 0 ${W} ${SIDE_H}`, class: "room-drawing", role: "img" });

  function drawPlan({ window: hole, frame }, patch, units) {
    const own = Math.max(hole.width_m / 2 + 0.3, Math.abs(frame.offset_m) + frame.width_m / 2 + 0.25);
    const across = Math.min(Math.max(own, ...(patch ?? []).map(([u]) => Math.abs(u))), 1.5 * own); // a patch may run out of the drawing
    const deep = frame.distance_m + frame.height_m / 2 + 0.15;
    const wall = Math.max(hole.reveal_depth_m, 0.06);
    const scale = Math.min((W - 2 * PAD) / (2 * across), (PLAN_H - 2 * PAD - 8) / (deep + wall));
    const inner = PAD + wall * scale; // the inner face of the wall
    const x = (u) => W / 2 + u * scale, y = (v) => inner + v * scale;
    const beside = x(frame.offset_m - frame.width_m / 2) - 8;
    fill(plan,
      s("clipPath", { id: "room-inside" }, s("rect", { x: 0, y: inner, width: W, height: PLAN_H - inner })),
      rect(0, PAD, x(-hole.width_m / 2), wall * scale, "draw-wall"), rect(x(hole.width_m / 2), PAD, W, wall * scale, "draw-wall"),
      s("path", { class: "draw-pane", d: `M${x(-hole.width_m / 2)} ${PAD + 2}H${x(hole.width_m / 2)}` }),
      patch?.length ? s("g", { "clip-path": "url(#room-inside)" }, s("polygon", { class: "draw-patch", points: patch.map(([u, v]) => `${x(u).toFixed(1)},${y(v).toFixed(1)}`).join(" ") })) : null,
      s("path", { class: "draw-axis", d: `M${W / 2} ${inner}V${y(frame.distance_m)}` }),
      rect(x(frame.offset_m - frame.width_m / 2), y(frame.distance_m - frame.height_m / 2), frame.width_m * scale, frame.height_m * scale, "draw-frame"),
      measure(x(-hole.width_m / 2), PAD - 10, x(hole.width_m / 2), PAD - 10, distance(hole.width_m, units)),
      measure(beside, inner, beside, y(frame.distance_m), distance(frame.distance_m, units), true),
      word(PAD, PLAN_H - 6, t("window.draw.plan"), "start"));
    plan.setAttribute("aria-label", t("window.draw.plan.says", {
      width: distance(hole.width_m, units), away: distance(frame.distance_m, units), offset: distance(Math.abs(frame.offset_m), units),
      side: t(frame.offset_m < 0 ? "move.left" : "move.right"),
    }));
  }

  function drawSide({ window: hole, frame }, units) {
    const lean = (frame.tilt_deg * Math.PI) / 180;
    const tall = Math.max(hole.head_m, Math.sin(lean) * frame.height_m) + 0.25;
    const low = Math.min(hole.sill_m, 0) - 0.12;
    const deep = frame.distance_m + frame.height_m / 2 + 0.3;
    const out = Math.max(hole.overhang_depth_m, 0.1), wall = Math.max(hole.reveal_depth_m, 0.06);
    const scale = Math.min((W - 2 * PAD) / (out + wall + deep), (SIDE_H - PAD - 18) / (tall - low));
    const inner = PAD + (out + wall) * scale, y = (w) => SIDE_H - PAD - (w - low) * scale, x = (v) => inner + v * scale;
    const wide = wall * scale, half = (frame.height_m / 2) * scale;
    const [dx, dy] = [half * Math.cos(lean), half * Math.sin(lean)];
    const middle = [x(frame.distance_m), y(0) - dy];
    fill(side,
      rect(inner - wide, y(tall), wide, y(hole.head_m) - y(tall), "draw-wall"), rect(inner - wide, y(hole.sill_m), wide, y(low) - y(hole.sill_m), "draw-wall"),
      s("path", { class: "draw-pane", d: `M${(inner - wide + 2).toFixed(1)} ${y(hole.head_m).toFixed(1)}V${y(hole.sill_m).toFixed(1)}` }),
      hole.overhang_depth_m > 0 ? rect(inner - wide - hole.overhang_depth_m * scale, y(hole.head_m) - 3, hole.overhang_depth_m * scale, 3, "draw-wall") : null,
      s("path", { class: "draw-table", d: `M${inner.toFixed(1)} ${y(0).toFixed(1)}H${W - 6}` }),
      s("path", { class: "draw-sheet", d: `M${(middle[0] - dx).toFixed(1)} ${(middle[1] + dy).toFixed(1)}L${(middle[0] + dx).toFixed(1)} ${(middle[1] - dy).toFixed(1)}` }),
      measure(W - 64, y(0), W - 64, y(hole.head_m), distance(hole.head_m, units)),
      Math.abs(hole.sill_m) > 0.02 ? [measure(inner + 10, y(0), inner + 10, y(hole.sill_m), ""), word(inner + 4, y(Math.max(hole.sill_m, 0)) - 6, distance(hole.sill_m, units), "start")] : null,
      word(PAD, SIDE_H - 4, t("window.draw.side"), "start"));
    side.setAttribute("aria-label", t("window.draw.side.says", { sill: distance(hole.sill_m, units), head: distance(hole.head_m, units), tilt: frame.tilt_deg }));
  }

  return {
    nodes: [plan, side],
    draw(spot, patch, units) {
      drawPlan(spot, patch, units);
      drawSide(spot, units);
    },
  };
}
