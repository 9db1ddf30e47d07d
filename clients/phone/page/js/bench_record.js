// Saving what others may change too.  A change names the version it was made from; where somebody else was
// first, both are shown and nothing is dropped.
import { button, fill, h, show } from "./dom.js";
import { newId } from "./keep.js";
import { has, t } from "./texts.js";

const plain = (value) => JSON.stringify(value === "" || value === undefined ? null : value);
const same = (one, other) => plain(one) === plain(other);
const fieldName = (name) => (has(`field.${name}`) ? t(`field.${name}`) : name.replaceAll("_", " "));

/** The fields of `body` that differ from `record`. */
export const changes = (record, body) =>
  Object.fromEntries(Object.entries(body).filter(([name, value]) => !same(record[name], value)));

const PATIENCE_MS = 15000;

const change = (app, path, record, body) =>
  app.api.ask("PATCH", `${path}/${record.id}`, { body, key: newId(), patienceMs: PATIENCE_MS, headers: { "If-Match": `"${record.version}"` } });

export const turn = (app, path, record, way) =>
  app.api.ask("POST", `${path}/${record.id}/${way}`, { key: newId(), patienceMs: PATIENCE_MS, headers: { "If-Match": `"${record.version}"` } });

/**
 * A keeper of one record's changes.  `words(field, value)` tells a value; `node` is where a conflict is shown.
 * `save` gives the record as saved, or null while a conflict waits to be settled: then `onsaved` hears of it.
 */
export function keeper({ app, path, words, onsaved }) {
  const node = h("section", { class: "conflict", role: "alert", hidden: true });
  let key = newId();

  async function save(record, body) {
    show(node, false);
    if (!record) {
      const made = await app.api.post(path, body, { key, patienceMs: PATIENCE_MS });
      key = newId();
      return made;
    }
    const wanted = changes(record, body);
    if (!Object.keys(wanted).length) return record;
    try {
      return await change(app, path, record, wanted);
    } catch (error) {
      if (error.status !== 412) throw error;
      showConflict(record, wanted, await app.api.get(`${path}/${record.id}`));
      return null;
    }
  }

  function showConflict(record, mine, theirs) {
    const theirNames = Object.keys(theirs).filter((name) => !["version", "saved", "created", "id"].includes(name) && !same(theirs[name], record[name]));
    const both = theirNames.filter((name) => name in mine && !same(mine[name], theirs[name]));
    const chosen = Object.fromEntries(both.map((name) => [name, "mine"]));
    const told = h("p", { role: "status" });
    fill(node, h("h2", {}, t("conflict.title")),
      h("p", {}, t(both.length ? "conflict.both" : "conflict.apart")),
      theirNames.filter((name) => !both.includes(name)).map((name) => h("p", {}, t("conflict.theirs.too", { field: fieldName(name), value: words(name, theirs[name]) }))),
      both.map((name) => h("fieldset", {}, h("legend", {}, fieldName(name)),
        ["mine", "theirs"].map((whose) => h("label", { class: "tick" },
          h("input", { type: "radio", name: `conflict-${name}`, value: whose, checked: whose === "mine", onchange: () => { chosen[name] = whose; } }),
          h("span", {}, h("b", {}, t(`conflict.${whose}`)), " ", words(name, (whose === "mine" ? mine : theirs)[name])))))),
      told,
      button(t("conflict.save"), async () => {
        const kept = Object.fromEntries(Object.entries(mine).filter(([name]) => chosen[name] !== "theirs"));
        try {
          const saved = Object.keys(kept).length ? await change(app, path, theirs, kept) : theirs;
          show(node, false);
          onsaved(saved);
        } catch (error) {
          if (error.status === 412) showConflict(record, mine, await app.api.get(`${path}/${record.id}`));
          else fill(told, t("bench.refused", { why: error.message }));
        }
      }, { class: "big go wide", id: "conflict-save" }));
    show(node, true);
    node.scrollIntoView?.({ block: "nearest" });
  }

  return { node, save };
}
