// Questions to the service.  A refusal is a `Problem`, silence is `Away`; answers worth keeping are kept with
// the time they came, so that they can be shown with their age when the service is out of reach.
export class Problem extends Error {
  constructor(status, document) {
    super(document?.detail ?? document?.title ?? `HTTP ${status}`);
    this.status = status;
    this.kind = String(document?.type ?? "").split(":").pop();
    this.errors = document?.errors ?? [];
  }

  /** Whether asking again as it stands may help, once whatever is in the way is gone (also: no key yet). */
  get passing() {
    return [401, 408, 421, 425, 429].includes(this.status) || this.status >= 500 || this.kind === "in-progress";
  }
}

export class Away extends Error {}

const PATIENCE_MS = 6000, QUICK_MS = 3000, LITTLE_MS = 1000, APART_MS = 2000;

export class Api {
  constructor(keep) {
    this.keep = keep;
    this.skewMs = 0;
    this.skewSeen = null;
    this.reachable = navigator.onLine;
    this.onReach = () => {};
    this.key = null;
    this.keyWanted = false;
  }

  /** Now by the service's clock: phones can be minutes off. */
  now() { return Date.now() + this.skewMs; }

  /**
   * Learn how far the phone's clock is off from an answer's own present; a little is nothing, and an
   * answer that took long (or a stream that a sleeping phone reads late) says nothing.
   */
  learnClock(at, sentMs) {
    if (Date.now() - sentMs > QUICK_MS) return;
    const middleMs = (sentMs + Date.now()) / 2;
    const skewMs = Date.parse(at) - middleMs;
    if (!Number.isFinite(skewMs)) return;
    const before = this.skewSeen;
    const agrees = before && Math.abs(before.skewMs - skewMs) < LITTLE_MS;
    if (!agrees) this.skewSeen = { skewMs, ms: Date.now() };
    // the first answer is believed; what differs from it later, once another says the same a while after
    if (before && !(agrees && Date.now() - before.ms >= APART_MS)) return;
    const known = this.skewMs;
    this.skewMs = Math.abs(skewMs) < LITTLE_MS ? 0 : skewMs;
    if (Math.abs(this.skewMs - known) > LITTLE_MS / 2) this.keep.things.put(this.skewMs, "skew").catch(() => {});
  }

  /** Ask; `kind` "json" (default) or "blob"; `key` makes a repetition count once. */
  async ask(method, path, { body, key, headers = {}, kind = "json", patienceMs = PATIENCE_MS } = {}) {
    const sentMs = Date.now();
    const control = new AbortController();
    const timer = setTimeout(() => control.abort(), patienceMs);
    let response, answer;
    try {
      response = await fetch(path, {
        method,
        headers: {
          ...(kind === "json" ? { Accept: "application/json" } : {}),
          ...(body === undefined ? {} : { "Content-Type": "application/json" }),
          ...(this.key ? { Authorization: `Bearer ${this.key}` } : {}),
          ...(key === undefined ? {} : { "Idempotency-Key": `"${key}"` }),
          ...headers,
        },
        body: body === undefined ? undefined : JSON.stringify(body),
        signal: control.signal,
      });
      answer = response.ok && kind === "blob" ? await response.blob() : await response.json().catch(() => null);
    } catch (error) {
      this.reached(false);
      throw new Away(error.message);
    } finally {
      clearTimeout(timer);
    }
    this.reached(true);
    if ((response.status === 401) !== this.keyWanted) {
      this.keyWanted = response.status === 401;
      this.onReach(true);
    }
    if (!response.ok) throw new Problem(response.status, answer);
    if (kind === "json" && answer === null) throw new Problem(502, { detail: "the answer could not be read" });
    const at = answer?.at ?? answer?.run?.at;
    if (at) this.learnClock(at, sentMs);
    return answer;
  }

  get(path, how) { return this.ask("GET", path, how); }

  post(path, body, how = {}) { return this.ask("POST", path, { ...how, body }); }

  /** Network first, then what was kept: `{ answer, keptMs }`, where `keptMs` is null for a fresh answer. */
  async getKept(path, patienceMs = 3000) {
    try {
      const answer = await this.get(path, { patienceMs });
      await this.keep.things.put({ answer, keptMs: this.now() }, `answer ${path}`);
      return { answer, keptMs: null };
    } catch (error) {
      if (error instanceof Problem && !error.passing) throw error;
      const kept = await this.keep.things.get(`answer ${path}`);
      if (!kept) throw error;
      return kept;
    }
  }

  reached(reachable) {
    if (this.reachable !== reachable) {
      this.reachable = reachable;
      this.onReach(reachable);
    }
  }
}

/** A query string of the fields that have a value. */
export const query = (fields) => new URLSearchParams(
  Object.entries(fields).filter(([, value]) => value !== undefined && value !== null && value !== ""),
).toString();
