// What the screens of the bench share: fields with their labels, refusals in words, pictures, lists that are kept.
import { Away } from "./api.js";
import { fill, h } from "./dom.js";
import { age } from "./moments.js";
import { t } from "./texts.js";

/** Why something was not done, in words. */
export const refusal = (error) => (error instanceof Away || error.passing ? t("bench.away") : t("bench.refused", { why: error.message }));

/** A control under its label; the note is read out with it. */
export function labelled(text, control, note) {
  if (note) control.setAttribute("aria-describedby", `${control.id}-note`);
  return h("div", { class: "field" }, h("label", { for: control.id }, text), control,
    note ? h("p", { class: "small", id: `${control.id}-note` }, note) : null);
}

export const numberField = (id, value, more = {}) =>
  h("input", { id, type: "number", inputmode: "decimal", step: "any", value: value ?? "", ...more });
export const textField = (id, value, more = {}) => h("input", { id, type: "text", autocomplete: "off", value: value ?? "", ...more });
export const longField = (id, value, more = {}) => h("textarea", { id, rows: 3, value: value ?? "", ...more });
export const selectField = (id, options, chosen, more = {}) => h("select", { id, ...more },
  options.map(({ value, label }) => h("option", { value, selected: value === chosen }, label)));

/** A tick box whose whole line can be tapped. */
export const tick = (id, text, checked, onchange) =>
  h("label", { class: "tick", for: id }, h("input", { id, type: "checkbox", checked: Boolean(checked), onchange }), h("span", {}, text));

/** What a number field holds: a number, null when empty; NaN when it is none or out of its limits. */
export function typed(field) {
  if (field.value === "" && !field.validity.badInput) return null;
  return field.checkValidity() ? Number(field.value) : NaN;
}

/** The first field in `form` that is out of its limits is shown; false when there is one. */
export function allFit(form) {
  if (form.checkValidity()) return true;
  for (const around of form.querySelectorAll("details")) if (around.querySelector(":invalid")) around.open = true;
  form.reportValidity();
  return false;
}

export const wayBack = (address, text) => h("a", { class: "way-back", href: `#/bench${address}` }, text);
export const toastLine = () => h("p", { class: "told", role: "status" });

/** A node for a drawing made by the service. */
export function drawing(app) {
  const node = h("div", { class: "picture", hidden: true });
  let address = null, left = false;
  const forget = () => {
    if (address) URL.revokeObjectURL(address);
    address = null;
  };
  return {
    node,
    async show(path, alt) {
      try {
        const blob = await app.api.ask("GET", path, { kind: "blob" });
        if (left) return;
        forget();
        address = URL.createObjectURL(blob);
        fill(node, h("img", { src: address, alt }));
        node.hidden = false;
      } catch {
        node.hidden = true; // the words say it all
      }
    },
    leave() {
      left = true;
      forget();
    },
  };
}

/** Something the service knows, or as it was when last heard: `{ answer, note }`. */
export async function known(app, path) {
  const { answer, keptMs } = await app.api.getKept(path);
  return { answer, note: keptMs === null ? "" : t("saved.kept", { age: age((app.now - keptMs) / 1000) }) };
}

/** Rows that lead on: `{ label, note, href }`. */
export const leads = (rows) => h("ul", { class: "leads" }, rows.map(({ label, note, href }) => h("li", {},
  h("a", { href }, h("span", { class: "choice-name" }, label), note ? h("span", { class: "lead-note" }, note) : null))));
