// A finished print judged in plain words, palest to darkest, or in stops.
import { labelled, longField, numberField, typed } from "./bench_kit.js";
import { h } from "./dom.js";
import { number } from "./moments.js";
import { t } from "./texts.js";

export const WORDS = ["far too pale", "too pale", "a little pale", "right", "a little dark", "too dark", "far too dark"];

export const wordFor = (judgement) => (WORDS.includes(judgement) ? t(`judge.word.${WORDS.indexOf(judgement)}`) : judgement);

/** What was judged of a print, in one line; empty where nothing was. */
export function judgedAs(print) {
  if (print.judgement) return wordFor(print.judgement);
  const stops = print.judgement_stops;
  if (stops === null || stops === undefined) return "";
  const count = Math.abs(stops);
  return stops === 0 ? t("judge.word.3") : t(stops > 0 ? "judge.stops.dark" : "judge.stops.pale", { count, n: number(count, 2) });
}

/** The choice of a verdict; `value()` is `{ judgement }`, `{ judgement_stops }`, or null while there is none. */
export function verdict({ judgement = null, judgement_stops = null, onchange = () => {} } = {}) {
  const radios = WORDS.map((word, index) => h("input", {
    type: "radio", name: "verdict", value: word, checked: judgement === word, "data-word": index,
    onchange: () => {
      stops.value = "";
      onchange();
    },
  }));
  const stops = numberField("verdict-stops", judgement_stops, {
    min: -6, max: 6, oninput: () => {
      if (stops.value !== "") for (const radio of radios) radio.checked = false;
      onchange();
    },
  });
  const node = h("fieldset", { class: "verdicts" }, h("legend", {}, t("judge.how")),
    radios.map((radio, index) => h("label", { class: "verdict", "data-shade": index }, radio,
      h("i", { class: "shade", "aria-hidden": "true" }), h("span", {}, t(`judge.word.${index}`)))),
    h("details", { class: "why", open: judgement_stops !== null }, h("summary", {}, t("judge.stops.open")),
      labelled(t("judge.stops"), stops, t("judge.stops.note"))));
  return {
    node,
    value() {
      const told = typed(stops);
      if (told !== null) return Number.isNaN(told) ? null : { judgement_stops: told };
      const chosen = radios.find((radio) => radio.checked);
      return chosen ? { judgement: chosen.value } : null;
    },
  };
}

const SURROUNDINGS = [["coat_age_h", 0, 8784], ["relative_humidity_percent", 0, 100], ["air_temperature_c", -40, 60]];

/** Fields for what may change the speed of a coat; `values()` has null for what is empty. */
export function surroundings(print = {}) {
  const fields = SURROUNDINGS.map(([name, min, max]) => [name, numberField(`around-${name}`, print[name], { min, max })]);
  return {
    node: h("details", { class: "why" }, h("summary", {}, t("judge.around")), fields.map(([name, field]) => labelled(t(`field.${name}`), field))),
    values: () => Object.fromEntries(fields.map(([name, field]) => [name, typed(field)])),
  };
}

export const notesField = (value) => {
  const field = longField("print-notes", value, { maxlength: 10000 });
  return { field, node: labelled(t("field.notes"), field) };
};
