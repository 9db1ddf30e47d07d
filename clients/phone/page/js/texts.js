// Everything the page says comes from one file per language in texts/.
import english from "../texts/en.js";

const plurals = new Intl.PluralRules("en");

/** The text of a key, with `{name}` filled in; a key with one/other is chosen by `count`. */
export function t(key, values = {}) {
  let text = english[key];
  if (text === undefined) throw new Error(`no text for ${key}`);
  if (typeof text === "object") text = text[plurals.select(values.count)] ?? text.other;
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}

export const has = (key) => key in english;
