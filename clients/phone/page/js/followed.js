// What a frame has gathered, read from its light and from what was told of it; and when it will be done.  How far
// a sky that was told is believed comes with the light (`told`): vouched for, then fading into the likely one.
import { LIKELY } from "./light.js";

export const ENDED = ["finished", "discarded"];

/** The skies told among `events`, each with the moment until which it is vouched for. */
function skiesTold(events, told) {
  const seen = events.filter((event) => event.kind === "sky");
  return new Map(seen.map((event, index) => {
    const usual = index + 1 < seen.length ? told?.vouched_between_s : told?.vouched_s;
    return [event, { sky: event.sky, untilMs: event.atMs + (event.vouchedS ?? usual ?? Infinity) * 1000 }];
  }));
}

/** Stretches of time between two moments, with the share of the sky seen in each. */
function stretches(seen, told, marks, fromMs, toMs) {
  const edges = [fromMs, toMs, ...marks];
  if (seen) {
    edges.push(seen.untilMs);
    if (toMs > seen.untilMs) edges.push(...(told?.fading_after_s ?? []).map((after) => seen.untilMs + after * 1000));
  }
  const inside = [...new Set(edges)].filter((ms) => ms >= fromMs && ms <= toMs).sort((a, b) => a - b);
  const share = (ms) => {
    if (!seen) return 0;
    if (ms < seen.untilMs) return 1;
    const piece = (told?.fading_after_s ?? []).findLastIndex((after) => seen.untilMs + after * 1000 <= ms);
    return told?.share[piece] ?? 0;
  };
  return inside.slice(1).map((ms, index) => ({ fromMs: inside[index], toMs: ms, share: share(inside[index]) }));
}

/**
 * What an exposure would be if it began at its start and only `events` happened (in their order): dose, sky, status
 * and when the target was reached.  `lightAt(ms)` is the light known for a moment, `lightAt.marks` when it changes.
 */
export function followed(frame, lightAt, events, toMs) {
  const base = frame.body.sky ?? LIKELY;
  const course = { dose: 0, seen: null, base, status: "running", reachedMs: null };
  const told = lightAt?.(frame.startMs)?.told;
  const skies = skiesTold(events, told);
  let fromMs = frame.startMs;
  const gain = ({ fromMs: begin, toMs: end, share }) => {
    const light = lightAt(begin);
    const likely = share < 1 ? light.dose(base, begin, end) : 0;
    const gained = share > 0 ? likely + share * (light.dose(course.seen.sky, begin, end) - likely) : likely;
    const missing = frame.target - course.dose;
    if (course.reachedMs === null && gained >= missing) {
      course.reachedMs = share === 1 ? light.endOf(course.seen.sky, begin, missing)
        : share === 0 ? light.endOf(base, begin, missing) : begin + (end - begin) * (missing / gained);
    }
    course.dose += gained;
  };
  const advance = (untilMs) => {
    if (lightAt && course.status === "running" && untilMs > fromMs) stretches(course.seen, told, lightAt.marks, fromMs, untilMs).forEach(gain);
    fromMs = Math.max(fromMs, untilMs);
  };
  for (const event of events) {
    if (event.atMs > toMs || ENDED.includes(course.status)) break;
    advance(event.atMs);
    if (event.kind === "sky") course.seen = skies.get(event);
    if (event.kind === "covered" && course.status === "running") course.status = "covered";
    if (event.kind === "uncovered" && course.status === "covered") course.status = "running";
    if (ENDED.includes(event.kind)) course.status = event.kind;
  }
  advance(toMs);
  return course;
}

/** When `missing` will be there, from `nowMs` on: in half of the skies ahead, which begin as the one told. */
export function endAhead(light, { base, seen }, nowMs, missing) {
  const holdsMs = seen && light.told ? Math.min(seen.untilMs, nowMs) + light.told.holds_s * 1000 : seen ? Infinity : nowMs;
  if (holdsMs <= nowMs) return light.endOf(base, nowMs, missing, true);
  const endMs = light.endOf(seen.sky, nowMs, missing);
  if (holdsMs === Infinity || (endMs !== null && endMs <= holdsMs)) return endMs;
  return light.endOf(base, holdsMs, Math.max(missing - light.dose(seen.sky, nowMs, holdsMs), 0), true);
}
