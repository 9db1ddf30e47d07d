// Many starts at a glance: a block for each hour, the wider the sooner a print is done; nothing where it is not.
import { s } from "./dom.js";

const GAP = 2, CELL = 9, LEFT = 30, TOP = 16, LEAST = 2.2;

/**
 * `rows` are `[{ label, cells: [{ column, length_s }] }]`; `columns` are hours of the clock.  The quickest start of
 * all fills its cell, one of twice the length half of it.  `touch(index)` hears which row was meant.
 */
export function startGrid({ rows, words, width, touch }) {
  const cells = rows.flatMap((row) => row.cells).filter((cell) => cell.length_s !== null);
  const hours = cells.map((cell) => cell.column);
  const [first, last] = hours.length ? [Math.min(...hours), Math.max(...hours)] : [6, 18];
  const quickest = Math.min(...cells.map((cell) => cell.length_s));
  const columns = last - first + 1;
  const W = Math.max(width, 260), step = Math.min((W - LEFT - 4) / columns, 34), height = TOP + rows.length * (CELL + GAP) + 4;
  const svg = s("svg", { viewBox: `0 0 ${W} ${height}`, width: W, height, class: "chart start-grid", role: "img", "aria-label": words });
  const every = columns * 26 > W ? 3 : step < 26 ? 2 : 1;
  for (let hour = first; hour <= last; hour += 1) {
    if ((hour - first) % every === 0) svg.append(s("text", { class: "chart-hour", x: LEFT + (hour - first + .5) * step, y: 11 }, String(hour).padStart(2, "0")));
  }
  rows.forEach((row, index) => {
    const top = TOP + index * (CELL + GAP);
    svg.append(s("text", { class: "grid-label", x: 0, y: top + CELL }, row.label));
    const seen = new Set();
    for (const cell of row.cells) {
      if (cell.length_s === null || seen.has(cell.column)) continue; // an hour that the clock shows twice is drawn once
      seen.add(cell.column);
      const wide = Math.max((step - 3) * (quickest / cell.length_s), LEAST);
      svg.append(s("rect", { class: "grid-cell", x: (LEFT + (cell.column - first) * step + (step - wide) / 2).toFixed(1), y: top, width: wide.toFixed(1), height: CELL, rx: 1.5 }));
    }
  });
  svg.addEventListener("click", (event) => {
    const box = svg.getBoundingClientRect();
    const index = Math.floor((((event.clientY - box.top) * height) / box.height - TOP) / (CELL + GAP));
    if (index >= 0 && index < rows.length) touch?.(index);
  });
  return svg;
}
