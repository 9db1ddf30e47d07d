// A session planned, before it is kept: look at it, change the list, or keep it and follow it.
import { button, fill, h, say, show } from "../dom.js";
import { newId } from "../keep.js";
import { BadTime, draftOf, requestOf } from "../plan_draft.js";
import { agedLine, askKept, keptWords, partsNav, refusal, toldLine } from "../plan_kit.js";
import { planView, sheetRows } from "../plan_show.js";
import { t } from "../texts.js";

const PATIENCE_MS = 30000;

export async function mount(root, app) {
  const draft = await draftOf(app);
  if (!draft.sheets.length) {
    location.replace("#/plan/session");
    return {};
  }
  const view = planView(app), aged = agedLine(), told = toldLine(), notes = h("p", { class: "small" });
  const title = h("h1", {}, t("drawn.title")), summary = h("p", { class: "lead", id: "plan-summary" }, t("drawn.waiting"));
  const rows = h("ul", { class: "sheet-rows" });
  const keep = button(t("drawn.keep"), save, { class: "big go", id: "plan-keep" });
  const change = h("a", { class: "big button", href: "#/plan/session" }, t("drawn.change"));
  fill(root, partsNav("session"), title, summary, notes, aged, told, rows, view.node,
    h("section", { class: "thumb", "aria-label": t("now.controls") }, h("div", { class: "acts" }, change, keep)));
  show(view.node, false);
  keep.disabled = true;
  let request = null, saving = null, left = false;

  async function save() {
    keep.disabled = true;
    saving ??= { key: newId(), body: { ...request.fields, ...request.more } }; // again after a lost answer, it counts once
    try {
      const saved = await app.api.post("v1/sessions", saving.body, { key: saving.key, patienceMs: PATIENCE_MS });
      if (!left) app.go("plan", "session", saved.id);
    } catch (error) {
      if (error.passing === false) saving = null;
      say(told, refusal(error));
      keep.disabled = false;
    }
  }

  async function ask() {
    try {
      request = requestOf(app, draft);
      say(notes, request.notes.join(" "));
      const { answer, keptMs } = await askKept(app, "v1/session", "plan", request.fields, request.more);
      if (left) return;
      say(summary, answer.summary);
      show(aged, keptMs !== null);
      if (keptMs !== null) say(aged, keptWords(app, keptMs));
      say(told, "");
      fill(rows, sheetRows(answer));
      show(view.node, true);
      view.draw(answer);
      keep.disabled = false;
    } catch (error) {
      if (left) return;
      say(summary, "");
      say(told, error instanceof BadTime ? error.message : refusal(error));
    }
  }

  ask();
  return {
    changed(what, value) { if (what === "reach" && value && !saving) ask(); },
    leave() {
      left = true;
      view.leave();
    },
  };
}
