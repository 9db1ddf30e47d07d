// A drawn ladder of strips: every strip's state is in its pattern and in words, never in a colour alone.
import { h, say } from "./dom.js";

/**
 * `count` strips to look at, or with `pick(number)` to choose from.  `draw(rows)` takes, for each, `{ mark, name,
 * note, word }`; marks: open, next, due, covered, full, some, bare.
 */
export function ladder(count, { pick = null, label }) {
  const rows = Array.from({ length: count }, (_, index) => {
    const parts = { swatch: h("i", { class: "strip-swatch", "aria-hidden": "true" }), name: h("span", { class: "strip-name" }), note: h("span", { class: "strip-note" }), word: h("b", { class: "strip-word" }) };
    const inner = [parts.swatch, parts.name, parts.note, parts.word];
    const row = pick ? h("button", { type: "button", class: "strip-row", "data-strip": index + 1, onclick: () => pick(index + 1) }, inner)
      : h("div", { class: "strip-row", "data-strip": index + 1 }, inner);
    return { ...parts, row };
  });
  const node = h("ol", { class: "ladder", "aria-label": label }, rows.map(({ row }) => h("li", {}, row)));
  return {
    node,
    draw(states) {
      states.forEach(({ mark, name, note, word }, index) => {
        const { row, ...parts } = rows[index];
        row.dataset.mark = mark;
        say(parts.name, name);
        say(parts.note, note ?? "");
        say(parts.word, word ?? "");
      });
    },
  };
}
