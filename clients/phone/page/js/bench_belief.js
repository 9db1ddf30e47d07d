// What is believed of the dose a recipe needs, in words.
import { h } from "./dom.js";
import { number } from "./moments.js";
import { t } from "./texts.js";

/** A dose, to two figures, as one reads it. */
export function dose(joules) {
  const rounded = Number(joules.toPrecision(2));
  return rounded >= 1000 ? t("dose.kj", { n: number(rounded / 1000, 1) }) : t("dose.j", { n: number(rounded) });
}

/** How sure a spread is, in plain words. */
const sureness = (stops) => t(`belief.sure.${stops < 0.15 ? "very" : stops < 0.3 ? "well" : stops < 0.6 ? "fairly" : "hardly"}`);

/** The belief in a heading, its range and what it rests on; with `before`, how it moved. */
export function beliefWords(target, before = null) {
  const moved = before ? Math.log2(target.target_j_m2 / before.target_j_m2) : null;
  const count = Math.round(Math.abs(moved ?? 0) * 100) / 100;
  return h("div", { class: "belief" },
    h("p", { class: "eyebrow" }, t("belief.title", { recipe: target.recipe })),
    h("p", { class: "belief-dose" }, dose(target.target_j_m2)),
    h("p", {}, t("belief.range", { low: dose(target.low_j_m2), high: dose(target.high_j_m2), sure: sureness(target.target_spread_stops) })),
    moved === null ? null : h("p", { class: "belief-moved" }, Math.abs(moved) < 0.005 ? t("belief.stays") : t(moved > 0 ? "belief.more" : "belief.less", { count, n: number(count, 2), before: dose(before.target_j_m2) })),
    h("p", { class: "small" }, target.learned
      ? t("belief.rests", { strips: number(target.strips), wedges: number(target.wedges), prints: number(target.prints) }) : t("belief.prior", { source: target.prior.source })),
    target.notes.map((note) => h("p", { class: "note" }, note)));
}
