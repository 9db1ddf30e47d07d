// Into a calendar: a file taken in once, or an address of its own that a calendar asks again and again.
import { button, fill, h, say } from "./dom.js";
import { query } from "./api.js";
import { field, flatFields, refusal, select } from "./plan_kit.js";
import { sceneFields } from "./setup.js";
import { openSheet } from "./sheet.js";
import { t } from "./texts.js";

const AHEAD_MIN = [5, 15, 30, 60];
const DAYS = [1, 2, 7, 14];

/** A panel that offers the slots of the coming days, or a saved session (`session` is its id). */
export const askCalendar = (app, { name, session = null }) => openSheet(t(session ? "calendar.session" : "calendar.slots"), () => {
  const days = select("calendar-days", DAYS.map((count) => [count, t("calendar.days", { count, n: count })]), 7);
  const ahead = select("calendar-ahead", [...AHEAD_MIN.map((n) => [n, t("calendar.ahead", { n })]), ["", t("calendar.silent")]], 15);
  const link = h("a", { class: "big button wide", id: "calendar-file", download: "" }, t("calendar.file"));
  const called = h("input", { id: "calendar-name", type: "text", maxlength: 200, autocomplete: "off", value: name });
  const made = h("div", { class: "calendar-made" }), told = h("p", { class: "told", role: "status" });
  const wanted = () => ({ days: Number(days.value), ...(ahead.value ? { reminder_min: Number(ahead.value) } : { reminder: false }) });
  const point = () => link.setAttribute("href", session ? `v1/sessions/${encodeURIComponent(session)}/calendar.ics`
    : `v1/slots/calendar.ics?${query({ ...flatFields(app.setup), ...wanted() })}`);
  for (const one of [days, ahead]) one.addEventListener("change", point);
  point();

  const make = button(t("calendar.make"), async () => {
    make.disabled = true;
    say(told, "");
    try {
      const feed = await app.api.post("v1/feeds", { name: called.value.trim() || name, ...(session ? { session } : { slots: { ...sceneFields(app.setup), ...wanted() } }) });
      const address = h("input", { id: "calendar-address", type: "text", readonly: true, value: feed.address });
      fill(made, field(t("calendar.address"), address), h("p", { class: "note" }, feed.summary),
        h("a", { class: "big button wide", href: feed.webcal_address }, t("calendar.open")),
        navigator.clipboard ? button(t("calendar.copy"), async () => {
          await navigator.clipboard.writeText(feed.address).then(() => say(told, t("calendar.copied")), () => address.select());
        }, { class: "wide" }) : null);
      address.focus();
      address.select();
    } catch (error) {
      say(told, refusal(error));
      make.disabled = false;
    }
  }, { class: "wide", id: "calendar-make" });

  return [
    session ? null : field(t("calendar.which"), days), session ? null : field(t("calendar.when"), ahead), link,
    h("p", { class: "small" }, t("calendar.file.note")),
    h("h3", {}, t("calendar.feed")), h("p", { class: "small" }, t("calendar.feed.note")),
    field(t("calendar.name"), called), make, made, told,
  ];
});
