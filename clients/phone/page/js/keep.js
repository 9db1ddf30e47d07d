// What the phone keeps: an IndexedDB with three shelves, or memory where the browser allows none.
//   things   by name: the set-up, stored answers, the light of frames
//   frames   exposures by their own id
//   outbox   what the service has still to be told, in order
const NAME = "noonframe", VERSION = 1;
const SHELVES = { things: undefined, frames: { keyPath: "id" }, outbox: { keyPath: "order", autoIncrement: true } };

const wish = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

function opened() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      for (const [shelf, how] of Object.entries(SHELVES)) request.result.createObjectStore(shelf, how);
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("blocked"));
  });
}

class Shelf {
  constructor(database, name) {
    this.store = (mode) => database.transaction(name, mode).objectStore(name);
    this.keyed = SHELVES[name] !== undefined;
  }

  get(key) { return wish(this.store("readonly").get(key)); }

  all() { return wish(this.store("readonly").getAll()); }

  put(value, key) {
    const store = this.store("readwrite");
    return wish(this.keyed ? store.put(value) : store.put(value, key));
  }

  remove(key) { return wish(this.store("readwrite").delete(key)); }
}

class Memory {
  constructor(name) {
    this.path = SHELVES[name]?.keyPath;
    this.held = new Map();
    this.next = 1;
  }

  async get(key) { return structuredClone(this.held.get(key)); }

  async all() { return [...this.held.values()].map((one) => structuredClone(one)); }

  async put(value, key) {
    const copy = structuredClone(value);
    if (this.path === "order") copy.order ??= this.next++;
    const under = this.path ? copy[this.path] : key;
    this.held.set(under, copy);
    return under;
  }

  async remove(key) { this.held.delete(key); }
}

/** The shelves; `lasting` is false where a reload would forget everything. */
export async function openKeep() {
  try {
    const database = await opened();
    database.onversionchange = () => database.close();
    return { lasting: true, ...Object.fromEntries(Object.keys(SHELVES).map((name) => [name, new Shelf(database, name)])) };
  } catch {
    return { lasting: false, ...Object.fromEntries(Object.keys(SHELVES).map((name) => [name, new Memory(name)])) };
  }
}

/** An id of our own; crypto.randomUUID is there only where the connection is secure. */
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const text = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [text.slice(0, 8), text.slice(8, 12), text.slice(12, 16), text.slice(16, 20), text.slice(20)].join("-");
}
