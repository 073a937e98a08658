/* Brings sales to the server, behind the till. A sale is stored first, under a key of its own, and
   is sold from then on; the server books a key once, so it may be sent as often as it takes. What
   may have reached the server is never dropped or changed in silence: it keeps its key, and the
   server says what it recorded. */

import { PATIENCE_MS, ask } from "./asking.js";
import * as store from "./store.js";

const PAUSES_MS = [2000, 4000, 8000, 16000, 30000, 60000];
const REFRESH_MS = 60000;
// Another tab that sends may have fallen asleep; two that send at once do no harm.
const TURN_MS = 12000;
const KEPT_MS = 3 * 24 * 60 * 60 * 1000;
// Every so many rounds a sale goes out though the question before it found nobody.
const DIRECT_EVERY = 3;

// What of an entry a person may mend; all else stays as it was.
const MENDABLE = ["place", "goods", "text", "total_cents", "change_cents"];
const OPEN = ["waits", "refused", "differs"];

/* Start sending. `urls` has `sales`, `undo`, `handed_in` and `data`; `words` says why a sale waits.
   `onEntry(entry)` is told of each change (`dropped` is
   on what is gone), `onData(data)` of a new catalogue, `onSignal(signal)`
   of "there", "none", "stalled", "trouble", "portal" or "signed_out". `patience`, `pauses` and `turn`
   are for tests. */
export function startSending({
  urls,
  token,
  words,
  clock,
  onEntry = () => {},
  onData = () => {},
  onSignal = () => {},
  patience = PATIENCE_MS,
  pauses = PAUSES_MS,
  turn = TURN_MS,
}) {
  const atHand = [];
  const suspects = new Set();
  const channel = "BroadcastChannel" in window ? new BroadcastChannel("stand") : null;
  let signal = null;
  let failures = 0;
  let isRunning = false;
  let isWanted = false;
  let isStopped = false;
  let timer = null;
  let waitAtLeast = 0;
  let hasPruned = false;

  /* ---- telling ---- */

  function tell(entry) {
    onEntry(entry);
    channel?.postMessage({ entry });
  }

  function tellSignal(now) {
    if (now === signal) return;
    signal = now;
    onSignal(now);
  }

  function hear(said) {
    const moment = said.now ?? said.data?.made_at;
    if (moment) hearTime(moment);
    if (said.data) hearData(said.data);
  }

  /* What is old goes once the server said what time it is: by a wrong clock all would go. */
  function hearTime(moment) {
    clock.heard(moment);
    if (hasPruned) return;
    hasPruned = true;
    store.prune(new Date(clock.now() - KEPT_MS).toISOString()).catch(() => {});
  }

  function hearData(data) {
    store.remember("data", data);
    onData(data);
  }

  /* ---- one question ---- */

  /* Note what an answer says of the connection. Answers "there" where the server answered. */
  function judge(answer) {
    if (answer.kind === "answer") {
      const isOut = answer.status === 401 || answer.status === 403;
      tellSignal(isOut ? "signed_out" : "there");
      return isOut ? "signed_out" : "there";
    }
    waitAtLeast = answer.wait_ms ?? 0;
    tellSignal(answer.kind);
    return answer.kind;
  }

  function whyOf(answer) {
    if (answer.said?.message) return answer.said.message;
    const reasons = { none: words.no_signal, stalled: words.stalled, portal: words.not_ours };
    return reasons[answer.kind] ?? words.trouble;
  }

  /* Ask for a new catalogue; this also finds out whether the server is there. */
  async function refresh() {
    const answer = await ask(urls.data, { patience });
    const outcome = judge(answer);
    if (outcome === "there" && answer.status === 200) {
      hearTime(answer.said.made_at);
      hearData(answer.said);
    }
    return outcome;
  }

  /* ---- one entry ---- */

  function address(entry) {
    if (entry.kind === "undo") return [urls.undo, entry.body];
    if (entry.hands_in === undefined) return [urls.sales, entry.body];
    const { key, body, text, hands_in: reason } = entry;
    return [urls.handed_in, { key, body, reason, text }];
  }

  function settled(entry, state, more) {
    return { ...entry, why: "", settled_at: clock.now().toISOString(), ...more, state };
  }

  function isAnswerTo(entry, said) {
    if (entry.kind === "undo") return "undone" in said;
    return entry.hands_in === undefined ? said.key === entry.key : said.handed_in === true;
  }

  /* What an entry becomes by an answer of the server. */
  function become(entry, { status, said }) {
    if (status === 200 && isAnswerTo(entry, said)) {
      const { data, ...kept } = said;
      // From this moment on the stock that the server tells is without these goods.
      kept.now = data?.made_at ?? said.now;
      const state = entry.hands_in === undefined ? "done" : "handed_in";
      return settled(entry, state, { said: kept });
    }
    if (status === 409 && said.recorded) {
      return { ...entry, state: "differs", why: said.message, said: said.recorded };
    }
    const isRefused = status === 422 || (status === 403 && entry.kind === "undo");
    if (isRefused && said.message) return { ...entry, state: "refused", why: said.message };
    // Nothing was booked: whether it may be dropped is as before.
    if (status === 401 || status === 403) {
      return { ...entry, why: whyOf({ said }), tried: entry.tried - 1 };
    }
    return { ...entry, why: said.message || words.trouble };
  }

  /* Send an entry once. Answers "there" where the server settled it, or what was in the way. */
  async function send(entry, wantsData) {
    // Written first: after a closed page nobody could tell whether it went out.
    const sent = await store.change(entry.key, (now) =>
      isSame(now, entry) ? { ...now, tried: now.tried + 1 } : null,
    );
    // Mended, undone or sent by another tab meanwhile.
    if (!sent) return "there";
    const [url, body] = address(sent);
    const asked = sent.kind === "sale" && url === urls.sales;
    const answer = await ask(url, {
      body: asked ? { ...body, wants_data: wantsData } : body,
      token,
      patience,
    });
    const isOurs = answer.kind === "answer";
    // An undo may be for the office alone, which says nothing of who is signed in.
    const isForOffice = isOurs && answer.status === 403 && sent.kind === "undo";
    const outcome = isForOffice ? "there" : judge(answer);
    if (isOurs) hear(answer.said);
    // An answer to what was mended meanwhile settles nothing: the new one asks again.
    const changed = await store.change(sent.key, (now) => {
      if (!isSame(now, sent)) return null;
      return isOurs ? become(now, answer) : { ...now, why: whyOf(answer) };
    });
    if (!changed) return outcome;
    tell(changed);
    if (changed.state !== "waits") suspects.delete(changed.key);
    if (changed.kind === "undo" && changed.state !== "waits") await closeUndo(changed);
    return outcome === "there" && changed.state === "waits" ? "trouble" : outcome;
  }

  const isSame = (now, entry) =>
    now?.state === "waits" && (now.revision ?? 0) === (entry.revision ?? 0);

  /* Say at the sale what became of its undoing. */
  async function closeUndo(undoing) {
    const isUndone = undoing.state === "done";
    const sale = await store.change(undoing.of, (now) =>
      isUndone
        ? settled(now, "undone", { undoing: false, credit_note: undoing.said.number ?? "" })
        : { ...now, undoing: false, why: undoing.why },
    );
    if (sale) tell(sale);
    if (!isUndone) return;
    await store.drop(undoing.key).catch(() => {});
    tell({ ...undoing, dropped: true });
  }

  /* ---- rounds ---- */

  function pick(entries, done) {
    const waiting = new Map();
    for (const entry of entries) {
      if (entry.state !== "waits" || done.has(mark(entry))) continue;
      // An undo comes after its sale: the other way round, a late sale would stay.
      const sale = entry.kind === "undo" && entries.find(({ key }) => key === entry.of);
      if (sale && sale.state === "waits") continue;
      waiting.set(entry.key, entry);
    }
    const first = atHand.find((key) => waiting.has(key));
    const rest = [...waiting.keys()];
    const key = first ?? rest.find((one) => !suspects.has(one)) ?? rest[0];
    return { entry: waiting.get(key), isLast: waiting.size === 1 || key === first };
  }

  const mark = (entry) => `${entry.key} ${entry.revision ?? 0} ${entry.hands_in ?? ""}`;

  /* Send what waits, the sale at hand first and the rest oldest first. Answers "there" where
     everything had its turn, or why the round ended before. */
  async function round() {
    const isDirect = navigator.onLine && failures % DIRECT_EVERY === DIRECT_EVERY - 1;
    let isFresh = false;
    if (signal !== "there" && !isDirect) {
      // Asked first, so that a sale made without signal stays one that surely never left.
      const outcome = await refresh();
      if (outcome !== "there" && outcome !== "trouble") return outcome;
      isFresh = outcome === "there";
    }
    const done = new Set();
    let worst = "there";
    while (!isStopped) {
      const { entry, isLast } = pick(await store.entries(), done);
      if (!entry) break;
      done.add(mark(entry));
      const outcome = await send(entry, isLast);
      isFresh ||= isLast && outcome === "there";
      if (outcome === "there") continue;
      if (outcome === "signed_out" || waitAtLeast) return outcome;
      // Is it the connection, or this one entry? The others must not wait for it.
      if ((await refresh()) !== "there") return outcome;
      isFresh = true;
      suspects.add(entry.key);
      worst = outcome;
    }
    const isSeen = document.visibilityState === "visible";
    if (!isFresh && isSeen && !isStopped) await refresh();
    return worst;
  }

  async function inTurn(act) {
    if (!navigator.locks) return act();
    const control = new AbortController();
    const giveUp = setTimeout(() => control.abort(), turn);
    let hasBegun = false;
    try {
      return await navigator.locks.request("stand-send", { signal: control.signal }, () => {
        hasBegun = true;
        clearTimeout(giveUp);
        return act();
      });
    } catch (error) {
      if (hasBegun || error.name !== "AbortError") throw error;
      return act();
    }
  }

  function plan(outcome) {
    failures = outcome === "there" ? 0 : failures + 1;
    const pause = failures ? pauses[Math.min(failures, pauses.length) - 1] : REFRESH_MS;
    clearTimeout(timer);
    timer = setTimeout(go, Math.max(pause, waitAtLeast));
    waitAtLeast = 0;
  }

  /* Send what waits, now; asked again meanwhile, once more after that. */
  function go() {
    if (isStopped) return;
    isWanted = true;
    if (!isRunning) keepGoing();
  }

  async function keepGoing() {
    isRunning = true;
    clearTimeout(timer);
    let outcome = "there";
    while (isWanted && !isStopped) {
      isWanted = false;
      try {
        outcome = await inTurn(round);
      } catch (error) {
        // A fault in this script must not stop the sending for good.
        reportError(error);
        outcome = "trouble";
      }
    }
    isRunning = false;
    if (!isStopped) plan(outcome);
  }

  function nudge() {
    failures = 0;
    go();
  }

  function takeInHand(key) {
    const place = atHand.indexOf(key);
    if (place >= 0) atHand.splice(place, 1);
    atHand.unshift(key);
  }

  /* ---- what the page asks for ---- */

  async function keep(entries) {
    try {
      await store.putAll(entries);
      return null;
    } catch (error) {
      for (const entry of entries) store.hold(entry);
      return error;
    }
  }

  function fresh(entry, body) {
    const stamp = clock.stamp();
    return {
      kind: "sale",
      seller: null,
      total_cents: null,
      change_cents: 0,
      sold_at: body.sold_at ?? stamp.sold_at,
      why: "",
      said: null,
      ...entry,
      body: { ...stamp, ...body },
      state: "waits",
      tried: 0,
      revision: 0,
    };
  }

  /* Store a sale and send it behind. Answers {stored: true} as soon as it is on the device. Where
     the device can't store, the sale is sent at once: {stored: false, reason, outcome}, with
     `outcome` {done: answer}, {refused: sentence}, {differs: sentence} or {waits: sentence}. */
  async function sell(entry) {
    const device = entry.body.device ?? (await store.device());
    const sale = fresh(entry, { ...entry.body, key: entry.key, device });
    takeInHand(sale.key);
    const problem = await keep([sale]);
    tell(sale);
    if (!problem) {
      channel?.postMessage({ sold: sale.key });
      go();
      return { stored: true };
    }
    await send(sale, true);
    const now = (await store.find(sale.key)) ?? sale;
    go();
    const outcome = now.state === "done" ? { done: now.said } : { [now.state]: now.why };
    return { stored: false, reason: problem.code, outcome };
  }

  /* Change an entry and send what follows; answers the entry, or null where that can't be. */
  async function alter(key, act) {
    const changed = await store.change(key, act);
    if (!changed) return null;
    tell(changed);
    takeInHand(key);
    nudge();
    return changed;
  }

  const isIn = (entry, ...states) => entry.kind === "sale" && states.includes(entry.state);

  /* Send again what was refused, as it is; a sale on its way to the office becomes a sale again. */
  function retry(key) {
    return alter(key, ({ hands_in, ...entry }) => {
      if (entry.state !== "refused" && entry.state !== "waits") return null;
      const revision = entry.revision + (hands_in === undefined ? 0 : 1);
      return { ...entry, revision, state: "waits", why: "" };
    });
  }

  /* Mend a sale that is not in the books yet: `changes` are those of its fields and of its body
     that are now otherwise; its key, its moment and its seller stay. Where the server had the
     earlier one after all, it says so, and the sale differs. */
  function mend(key, changes) {
    return alter(key, ({ hands_in, ...entry }) => {
      if (!isIn(entry, ...OPEN)) return null;
      const body = { ...entry.body, ...changes.body, key };
      if (changes.body?.payments) {
        // As sales were sent before one could be paid in two ways.
        delete body.method;
        delete body.tendered_cents;
      }
      const fields = MENDABLE.filter((name) => name in changes);
      const mended = Object.fromEntries(fields.map((name) => [name, changes[name]]));
      const revision = entry.revision + 1;
      // What the books have otherwise is only changed by a correction.
      if (entry.state === "differs") return { ...entry, ...mended, body, revision };
      return { ...entry, ...mended, body, revision, state: "waits", why: "" };
    });
  }

  /* Give a sale that could not be booked to the office. */
  function handIn(key, reason) {
    return alter(key, (entry) => {
      if (!isIn(entry, ...OPEN)) return null;
      return { ...entry, hands_in: reason, revision: entry.revision + 1, state: "waits", why: "" };
    });
  }

  /* Undo a sale. One that surely never reached the server is dropped: {undone: true}. Otherwise
     its undo waits behind it: {undone: false}. Answers null where there is nothing to undo. */
  async function undo(key, reason, seller = null) {
    const dropped = await store.change(key, (sale) =>
      isSurelyNotBooked(sale) ? settled(sale, "undone") : null,
    );
    if (dropped) {
      tell(dropped);
      return { undone: true };
    }
    const sale = await store.find(key);
    if (!sale || sale.undoing || !isIn(sale, "done", ...OPEN)) return null;
    // What the office is to have is the office's to undo.
    if (sale.hands_in !== undefined) return null;
    const by = seller ?? sale.seller;
    const device = await store.device();
    const body = { key, seller: by?.id ?? null, device, reason };
    const undoing = fresh(
      { key: `undo-${key}`, kind: "undo", of: key, place: sale.place, seller: by, text: sale.text },
      body,
    );
    undoing.body = body;
    await keep([undoing]);
    const changed = await store.change(key, (now) => ({ ...now, undoing: true }));
    if (changed) tell(changed);
    tell(undoing);
    nudge();
    return { undone: false };
  }

  function isSurelyNotBooked(sale) {
    if (sale.kind !== "sale" || sale.hands_in !== undefined) return false;
    if (sale.state === "waits") return sale.tried === 0;
    // Its one journey ended with a no.
    return sale.state === "refused" && sale.tried === 1;
  }

  /* Where the books have this key with something else: book what the phone has in its place, as a
     sale of its own. Answers the new entry. */
  async function correct(key) {
    const differing = await store.find(key);
    if (!differing || !isIn(differing, "differs")) return null;
    const { hands_in, settled_at, ...entry } = differing;
    const newKey = store.newKey();
    const body = { ...entry.body, key: newKey, corrects: key };
    const right = fresh({ ...entry, key: newKey, why: "", said: null }, body);
    const old = settled(differing, "done", { corrected_by: newKey });
    await keep([old, right]);
    takeInHand(newKey);
    tell(old);
    tell(right);
    nudge();
    return right;
  }

  /* Where the books have this key with something else: leave it as the books have it. */
  function accept(key) {
    return alter(key, (entry) => (isIn(entry, "differs") ? settled(entry, "done") : null));
  }

  /* ---- beginning and end ---- */

  function wake() {
    if (document.visibilityState === "visible") nudge();
  }

  function lose() {
    tellSignal("none");
  }

  function warn(event) {
    if (store.loose().some(({ state }) => OPEN.includes(state))) event.preventDefault();
  }

  function listen({ data: { entry, sold } }) {
    if (sold) takeInHand(sold);
    if (entry) onEntry(entry);
  }

  function stop() {
    isStopped = true;
    clearTimeout(timer);
    channel?.close();
    window.removeEventListener("online", nudge);
    window.removeEventListener("offline", lose);
    window.removeEventListener("beforeunload", warn);
    document.removeEventListener("visibilitychange", wake);
  }

  channel?.addEventListener("message", listen);
  window.addEventListener("online", nudge);
  window.addEventListener("offline", lose);
  // What only this page has is lost with it.
  window.addEventListener("beforeunload", warn);
  document.addEventListener("visibilitychange", wake);
  go();

  return { sell, nudge, retry, mend, undo, handIn, correct, accept, stop };
}
