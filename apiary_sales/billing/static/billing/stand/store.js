/* Sales kept on this device until the server has them. A sale is first kept under a key of its
   own, then sent; the server records a key once, so a sale is never lost and never counted
   twice. */

const PATIENCE_MS = 8000;

let opened = null;

/* Open the place where sales are kept; fails where the browser has none. */
export async function open() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open("stand", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("sales", { keyPath: "key" });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opened;
}

async function withSales(mode, act) {
  const transaction = (await open()).transaction("sales", mode, { durability: "strict" });
  const asked = act(transaction.objectStore("sales"));
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve(asked.result);
    transaction.onerror = transaction.onabort = () => reject(transaction.error);
  });
}

export const keep = (sale) => withSales("readwrite", (sales) => sales.put(sale));
export const forget = (key) => withSales("readwrite", (sales) => sales.delete(key));

/* All sales kept here, oldest first. One with `isNew` is being sent by the page for the first
   time; one with `refused` waits for a person. */
export async function kept() {
  const sales = await withSales("readonly", (rows) => rows.getAll());
  return sales.sort((one, other) => (one.body.sold_at < other.body.sold_at ? -1 : 1));
}

export function newKey() {
  if (crypto.randomUUID) return crypto.randomUUID();
  return [...crypto.getRandomValues(new Uint8Array(16))]
    .map((byte) => byte.toString(16).padStart(2, "0"))
    .join("");
}

/* Send one sale to a server: its `url`, its `token()` against forged requests, and the `words`
   for a sale that could not be sent. Answers {done}, {refused: sentence} or {waits: sentence}. */
async function send(sale, { url, token, words }) {
  const control = new AbortController();
  const timer = setTimeout(() => control.abort(), PATIENCE_MS);
  try {
    const answer = await fetch(url, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
      body: JSON.stringify(sale.body),
      signal: control.signal,
    });
    const isJson = (answer.headers.get("Content-Type") || "").includes("json");
    const said = isJson ? await answer.json() : {};
    if (answer.ok && isJson) return { done: said };
    if (answer.status === 422 && said.message) return { refused: said.message };
    return { waits: said.message || words.open_again };
  } catch {
    return { waits: words.no_signal };
  } finally {
    clearTimeout(timer);
  }
}

/* Of several open pages, one sends at a time. */
function alone(act) {
  return navigator.locks ? navigator.locks.request("stand-send", act) : act();
}

/* Keep a new sale, send it, and forget it unless it has to wait. Answers as `send`. */
export async function sell(sale, server) {
  await keep({ ...sale, isNew: true });
  const outcome = await alone(() => send(sale, server));
  if (outcome.waits) await keep(sale);
  else await forget(sale.key);
  return outcome;
}

/* Send the sales that wait, oldest first, and stop at the first that has to wait on. Calls
   `onDone(sale)` for each that is recorded. Answers why one waits on, or an empty text. */
export function sendKept(server, onDone) {
  return alone(async () => {
    for (const sale of await kept()) {
      if (sale.refused || sale.isNew) continue;
      const outcome = await send(sale, server);
      if (outcome.waits) return outcome.waits;
      if (outcome.refused) {
        await keep({ ...sale, refused: outcome.refused });
        continue;
      }
      await forget(sale.key);
      onDone(sale);
    }
    return "";
  });
}

/* Let a sale that was refused wait again, to be sent with the others. */
export const retry = (sale) => keep({ ...sale, refused: "" });

/* A sale cut off half-way (the page was closed) waits like any other: its key tells. */
export function pickUpCutOff() {
  return alone(async () => {
    for (const { isNew, ...sale } of await kept()) {
      if (isNew) await keep(sale);
    }
  });
}
