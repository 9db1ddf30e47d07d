// A panel that comes up from below, in reach of the thumb.  The browser's own dialog keeps the focus in it.
import { button, h } from "./dom.js";
import { t } from "./texts.js";

/** Open a panel; `build(close)` gives what it holds.  Resolves when it is closed. */
export function openSheet(title, build) {
  return new Promise((resolve) => {
    const dialog = h("dialog", { class: "sheet", "aria-label": title });
    const close = () => dialog.close();
    dialog.append(
      h("div", { class: "sheet-head" }, h("h2", {}, title), button(t("close"), close, { class: "quiet" })),
      h("div", { class: "sheet-body" }, build(close)),
    );
    dialog.addEventListener("click", (event) => { if (event.target === dialog) close(); });
    dialog.addEventListener("close", () => {
      dialog.remove();
      resolve();
    });
    document.body.append(dialog);
    dialog.showModal();
  });
}

/** Big rows to choose one of: `options` are `{ label, note, glyph, on, pick }`. */
export const choices = (options, close) => h("ul", { class: "choices" }, options.map((option) => h("li", {},
  h("button", {
    type: "button", "aria-pressed": String(Boolean(option.on)),
    onclick: async () => {
      await option.pick();
      if (!option.stay) close();
    },
  }, option.glyph ?? null, h("span", { class: "choice-name" }, option.label), option.note ? h("span", { class: "choice-note" }, option.note) : null))));
