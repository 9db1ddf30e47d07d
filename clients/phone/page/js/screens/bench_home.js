// What there is to do at the bench, what waits to be read or judged first.
import { leads, refusal } from "../bench_kit.js";
import { BenchPost } from "../bench_post.js";
import { button, fill, h } from "../dom.js";
import { ENDED } from "../frames.js";
import { clockOn } from "../moments.js";
import { isStrip } from "../strip_book.js";
import { t } from "../texts.js";

const ROOMS = ["strip", "prints", "recipes", "spots", "coat"];

export async function mount(root, app) {
  const post = BenchPost.of(app);
  const todo = h("section", { class: "todo" }), waiting = h("section", { class: "waiting-room" });
  fill(root, h("h1", {}, t("bench.title")), waiting, todo,
    h("nav", { class: "thumbward", "aria-label": t("bench.rooms") },
      leads(ROOMS.map((room) => ({ label: t(`bench.room.${room}`), note: t(`bench.room.${room}.note`), href: `#/bench/${room}` })))));

  function drawTodo() {
    const rows = app.frames.all().flatMap((frame) => {
      const when = clockOn(frame.startMs, frame.zone, app.now);
      const row = (key, room) => [{ label: t(key, { name: frame.name }), note: when, href: `#/bench/${room}/${encodeURIComponent(frame.id)}` }];
      if (isStrip(frame) && !ENDED.includes(frame.status)) return row("bench.todo.follow", "strip");
      if (frame.status !== "finished" || frame.benched) return [];
      return isStrip(frame) ? row("bench.todo.read", "strip") : row("bench.todo.judge", "judge");
    });
    fill(todo, rows.length ? [h("h2", {}, t("bench.todo")), leads(rows)] : []);
  }

  async function drawWaiting() {
    const entries = await post.waiting();
    fill(waiting, entries.length ? h("h2", {}, t("bench.waiting")) : null, entries.map((entry) => h("div", { class: entry.refused ? "trouble" : "note" },
      h("p", {}, entry.refused ? t("bench.waiting.refused", { what: entry.what, why: entry.refused }) : t("bench.waiting.one", { what: entry.what })),
      entry.refused ? h("div", { class: "row" },
        button(t("trouble.again"), () => post.again(entry.key).then(drawWaiting)),
        button(t("trouble.leave"), () => post.drop(entry.key).then(drawWaiting))) : null)));
  }

  drawTodo();
  await drawWaiting();
  post.flush().catch((error) => app.tellAloud(refusal(error)));
  return {
    changed(what) {
      if (what === "frame") drawTodo();
      if (what === "bench") drawWaiting();
    },
  };
}
