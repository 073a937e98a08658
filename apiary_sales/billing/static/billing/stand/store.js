/* What this device keeps: sales until the server has them and three days longer, and the small
   state of the till. Nothing here speaks to the server.

   An entry is {key, kind: "sale"|"undo", place, seller, body, text, total_cents, change_cents,
   sold_at, state, why, said, tried, revision}. `tried` counts the times it may have reached the
   server, `revision` the times it was mended. */

const NAME = "stand";
const VERSION = 2;
// A device that takes longer to write is treated as one that can't.
const PATIENCE_MS = 3000;

/* The device could not keep something. `code` says why: "none" (it keeps nothing at all), "full",
   "blocked" (an older page is open in another tab), "slow" or "broken". */
export class CannotStore extends Error {
  constructor(code, cause) {
    super(`The device could not store it: ${code}`, { cause });
    this.code = code;
  }
}

let opened = null;
// Why the store could not be opened, as long as the browser is still at it.
let outstanding = null;
// Transactions that took too long and may end yet.
const stuck = new Set();
// What could not be written, until it can be: it lives as long as the page.
const held = new Map();
const heldState = new Map();

function reasonOf(error) {
  if (error instanceof CannotStore) return error;
  return new CannotStore(error?.name === "QuotaExceededError" ? "full" : "broken", error);
}

/* A sale as version 1 kept it; it may have been sent, so it counts as tried. */
function takenOver({ key, body, text, change, refused }) {
  return {
    key,
    kind: "sale",
    place: body.place,
    seller: null,
    body,
    text,
    total_cents: null,
    change_cents: change ?? 0,
    sold_at: body.sold_at,
    state: refused ? "refused" : "waits",
    why: refused || "",
    said: null,
    tried: 1,
    revision: 0,
  };
}

function upgrade(asked) {
  const database = asked.result;
  const entries = database.createObjectStore("entries", { keyPath: "key" });
  database.createObjectStore("state");
  if (!database.objectStoreNames.contains("sales")) return;
  const old = asked.transaction.objectStore("sales").getAll();
  old.onsuccess = () => {
    for (const sale of old.result) entries.put(takenOver(sale));
    database.deleteObjectStore("sales");
  };
}

function connect() {
  return new Promise((resolve, reject) => {
    // The request goes on after that: another one would only stand behind it.
    const giveUp = (reason) => {
      outstanding = reason;
      reject(reason);
    };
    let asked = null;
    try {
      asked = indexedDB.open(NAME, VERSION);
    } catch (error) {
      reject(new CannotStore("none", error));
      return;
    }
    const timer = setTimeout(() => giveUp(new CannotStore("slow")), PATIENCE_MS);
    asked.onupgradeneeded = () => upgrade(asked);
    asked.onblocked = () => giveUp(new CannotStore("blocked"));
    asked.onerror = () => {
      clearTimeout(timer);
      outstanding = null;
      reject(new CannotStore("none", asked.error));
    };
    asked.onsuccess = () => {
      clearTimeout(timer);
      const database = asked.result;
      const forget = () => {
        opened = null;
      };
      // A newer page wants to change the store: make way for it.
      database.onversionchange = () => {
        database.close();
        forget();
      };
      database.onclose = forget;
      if (outstanding) {
        outstanding = null;
        opened = Promise.resolve(database);
        storeHeld();
      }
      resolve(database);
    };
  });
}

/* Open the store; fails with `CannotStore` where the device has none. */
export function open() {
  if (outstanding) return Promise.reject(outstanding);
  opened ??= connect().catch((error) => {
    opened = null;
    throw error;
  });
  return opened;
}

async function transact(mode, name) {
  const options = { durability: "strict" };
  try {
    return (await open()).transaction(name, mode, options);
  } catch (error) {
    if (error instanceof CannotStore) throw error;
    // The browser closed the store meanwhile.
    opened = null;
    return (await open()).transaction(name, mode, options);
  }
}

/* Let `act(rows, answer)` read and write; what it hands to `answer` comes back once all of it is
   written through to the disk. */
async function within(mode, name, act) {
  if (stuck.size) throw new CannotStore("slow");
  const transaction = await transact(mode, name).catch((error) => {
    throw reasonOf(error);
  });
  return new Promise((resolve, reject) => {
    let answered;
    const timer = setTimeout(() => {
      stuck.add(transaction);
      reject(new CannotStore("slow"));
    }, PATIENCE_MS);
    const end = () => {
      clearTimeout(timer);
      // What was changed meanwhile is newer than what has just been written.
      if (stuck.delete(transaction)) storeHeld();
    };
    const fail = (error) => {
      end();
      reject(reasonOf(error));
    };
    transaction.oncomplete = () => {
      end();
      resolve(answered);
    };
    transaction.onabort = () => fail(transaction.error);
    try {
      act(transaction.objectStore(name), (value) => {
        answered = value;
      });
    } catch (error) {
      fail(error);
      transaction.abort();
    }
  });
}

function reading(name, ask) {
  return within("readonly", name, (rows, answer) => {
    const asked = ask(rows);
    asked.onsuccess = () => answer(asked.result);
  });
}

/* ---- entries ---- */

/* All entries, oldest first; those that could not be written come with them. */
export async function entries() {
  const stored = await reading("entries", (rows) => rows.getAll()).catch(() => []);
  const all = new Map([...stored.map((entry) => [entry.key, entry]), ...held]);
  return [...all.values()].sort((one, other) => (one.sold_at < other.sold_at ? -1 : 1));
}

export async function find(key) {
  if (held.has(key)) return held.get(key);
  return reading("entries", (rows) => rows.get(key)).catch(() => undefined);
}

/* Write entries, all or none. Fails with `CannotStore`. */
export async function putAll(several) {
  await within("readwrite", "entries", (rows) => {
    for (const entry of several) rows.put(entry);
  });
  for (const entry of several) held.delete(entry.key);
}

export const put = (entry) => putAll([entry]);

/* Keep an entry that could not be written as long as the page is open. */
export function hold(entry) {
  held.set(entry.key, entry);
}

function storeHeld() {
  if (held.size) putAll([...held.values()]).catch(() => {});
}

/* Entries that would be lost with this page. */
export const loose = () => [...held.values()];

/* Change an entry in one step, whatever other tabs do: `act(entry)` answers what it becomes, or
   null to leave it. Answers the changed entry, or null. What can't be written is held. */
export async function change(key, act) {
  if (held.has(key)) return changeHeld(key, act(held.get(key)));
  let changed = null;
  try {
    await within("readwrite", "entries", (rows) => {
      const asked = rows.get(key);
      asked.onsuccess = () => {
        changed = asked.result ? act(asked.result) : null;
        if (changed) rows.put(changed);
      };
    });
    return changed;
  } catch (error) {
    if (!(error instanceof CannotStore)) throw error;
    const entry = await find(key);
    return entry ? changeHeld(key, act(entry)) : null;
  }
}

async function changeHeld(key, changed) {
  if (!changed) return null;
  held.set(key, changed);
  await put(changed).catch(() => {});
  return changed;
}

export async function drop(key) {
  held.delete(key);
  await within("readwrite", "entries", (rows) => rows.delete(key));
}

/* Forget what was settled before a moment; what still waits stays, however old it is. */
export async function prune(before) {
  const settled = ["done", "undone", "handed_in"];
  for (const entry of await entries()) {
    const isSettled = settled.includes(entry.state);
    if (isSettled && (entry.settled_at ?? entry.sold_at) < before) await drop(entry.key);
  }
}

/* Forget what is not needed to send what waits: prices, people and their PINs, settled sales. */
export async function forget() {
  heldState.clear();
  await within("readwrite", "state", (rows) => {
    const asked = rows.getAllKeys();
    asked.onsuccess = () => {
      for (const name of asked.result) if (name !== "device") rows.delete(name);
    };
  });
  // Later than any moment.
  await prune("9999");
}

/* ---- small state ---- */

/* What was remembered under a name; undefined where there is nothing. */
export async function recall(name) {
  if (heldState.has(name)) return heldState.get(name);
  return reading("state", (rows) => rows.get(name)).catch(() => undefined);
}

/* Remember a value under a name. Answers whether it will be there after the page is closed. */
export async function remember(name, value) {
  heldState.set(name, value);
  try {
    await within("readwrite", "state", (rows) => rows.put(value, name));
    // Another tab may change it from now on.
    if (heldState.get(name) === value) heldState.delete(name);
    return true;
  } catch {
    return false;
  }
}

export function newKey() {
  if (crypto.randomUUID) return crypto.randomUUID();
  return [...crypto.getRandomValues(new Uint8Array(16))]
    .map((byte) => byte.toString(16).padStart(2, "0"))
    .join("");
}

let deviceId = null;

/* What this device is called, for ever: the same in all its tabs. */
export function device() {
  deviceId ??= within("readwrite", "state", (rows, answer) => {
    const asked = rows.get("device");
    asked.onsuccess = () => {
      const name = asked.result ?? newKey();
      if (!asked.result) rows.put(name, "device");
      answer(name);
    };
  }).catch(() => newKey());
  return deviceId;
}

/* Ask the browser not to throw away what is kept here: "kept", "refused" or "unknown". */
export async function askDurable() {
  if (!navigator.storage?.persist) return "unknown";
  try {
    if (await navigator.storage.persisted()) return "kept";
    return (await navigator.storage.persist()) ? "kept" : "refused";
  } catch {
    return "unknown";
  }
}
