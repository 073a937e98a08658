/* The till of the stand: what a person taps and what then happens. Sums are in figures.js, the
   catalogue and its tiles in catalogue.js, the baskets in basket.js, the money in paying.js, the
   sales of this device in sales.js; store.js and sending.js keep and send them. */

import * as basket from "./basket.js";
import * as catalogue from "./catalogue.js";
import { startClock } from "./clock.js";
import * as figures from "./figures.js";
import * as paying from "./paying.js";
import * as sales from "./sales.js";
import { listenToKeys, offerCamera } from "./scanning.js";
import {
  ask,
  button,
  calmly,
  make,
  part,
  say,
  sayCount,
  show,
  showRows,
  till,
  timeOf,
  write,
} from "./screen.js";
import { sellerNow, showSeller, startSeller } from "./seller.js";
import { startSending } from "./sending.js";
import * as store from "./store.js";
import { weigh } from "./weighing.js";

const LOOK_AGAIN_MS = 30000;
const ON_ITS_WAY_MS = 3000;

const placeSelect = document.getElementById("till-place");

let sending = null;
let clock = null;
let device = "";
let signal = "there";
const entries = new Map();
// A catalogue that came while the money was counted: its prices are for the next sale.
let fresh = null;
let last = null;
// Whether the browser may throw away what is kept here; told as long as a sale waits.
let mayLose = false;
let isSelling = false;

function csrfToken() {
  // Over HTTPS its name has a prefix; one without it may be left from before.
  const cookie =
    document.cookie.match(/(?:^|; )__Host-csrftoken=([^;]+)/) ??
    document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
  return cookie ? cookie[1] : document.querySelector("[name=csrfmiddlewaretoken]").value;
}

const kept = () => [...entries.values()];

/* ---- what is shown ---- */

function showStage(name) {
  till.dataset.stageNow = name;
  for (const step of till.querySelectorAll("[data-stage]"))
    step.hidden = step.dataset.stage !== name;
  if (name !== "pay" && fresh) {
    const late = fresh;
    fresh = null;
    takeIn(late);
  }
}

/* On a small screen one of these is there at a time: the products, the sale, or the sales here. */
function showView(name) {
  till.dataset.view = name;
  till.querySelector("[data-act=sales]").setAttribute("aria-pressed", String(name === "sales"));
  till.querySelector("[data-act=unfold]").setAttribute("aria-expanded", String(name === "sale"));
}

function focusHeading(within) {
  till.querySelector(`${within} h2`).focus({ preventScroll: true });
  till.querySelector(`${within} h2`).scrollIntoView({ block: "nearest" });
}

/* Show what a tap changed. */
function showSale() {
  basket.showBasket();
  const place = catalogue.placeNow()?.code;
  const goneHere = figures.goneSince(kept(), place, catalogue.latest().made_at);
  catalogue.showTiles({ goneHere, counts: basket.piecesByProduct(), isTapped: true });
  if (till.dataset.stageNow === "pay") paying.showPaying();
}

function showKept() {
  const place = catalogue.placeNow()?.code;
  catalogue.showTiles({ goneHere: figures.goneSince(kept(), place, catalogue.latest().made_at) });
  sales.showSales(kept(), clock, acts);
  showState();
}

/* ---- the line about prices, signal and what waits; and warnings ---- */

function ageText() {
  const { made_at: madeAt } = catalogue.latest();
  const minutes = Math.floor((clock.now() - Date.parse(madeAt)) / 60000);
  if (minutes < 60) return say("of_time", { time: timeOf(madeAt) });
  const hours = Math.floor(minutes / 60);
  return hours < 48
    ? sayCount("hours_old", hours)
    : say("days_old", { count: Math.floor(hours / 24) });
}

function showState() {
  calmly("state", () => {
    const isCut = ["none", "stalled", "trouble"].includes(signal);
    // One that is only just on its way is not worth a word.
    const onItsWay = clock.now() - ON_ITS_WAY_MS;
    const isLate = ({ why, sold_at }) =>
      why || signal !== "there" || Date.parse(sold_at) < onItsWay;
    const waiting = kept().filter(
      (entry) => sales.isWaiting(entry) && entry.kind === "sale" && isLate(entry),
    ).length;
    const texts = [isCut && say(`state_${signal}`), waiting && sayCount("wait", waiting)];
    write(part("signal"), texts.filter(Boolean).join(" "));
    part("signal").classList.toggle("warn", isCut || waiting > 0);
    write(part("age"), ageText());
    warn("durable", mayLose && waiting ? say("not_durable") : "");
  });
}

const notices = new Map();

/* Warn about something until it is over; an empty text ends it. `choices` are [label, act]. */
function warn(name, text, { isBad = false, choices = [] } = {}) {
  if (text) notices.set(name, { name, text, isBad, choices });
  else notices.delete(name);
  calmly("notices", () =>
    showRows(
      part("notices"),
      [...notices.values()],
      (notice) => notice.name + notice.text,
      (notice) =>
        make(
          "li",
          {
            class: notice.isBad ? "notice notice-error" : "notice notice-warning",
            role: notice.isBad ? "alert" : "status",
          },
          make("span", { class: "mark", "aria-hidden": "true", text: notice.isBad ? "✕" : "!" }),
          make("span", { class: "text", text: notice.text }),
          ...notice.choices.map(([label, act]) =>
            typeof act === "string"
              ? make("a", { class: "button button-quiet button-small", href: act, text: label })
              : button(label, act, { class: "button button-quiet button-small" }),
          ),
        ),
      () => {},
    ),
  );
}

function showSignal(now) {
  signal = now;
  const { sign_in: signIn, scope } = catalogue.latest().urls;
  warn("portal", now === "portal" ? say("portal") : "");
  warn("signed_out", now === "signed_out" ? say("signed_out") : "", {
    choices: [[say("sign_in"), `${signIn}?next=${scope}`]],
  });
  showState();
}

function showClock() {
  warn("clock", clock.isOff() ? say("clock_wrong", { time: timeOf(clock.now()) }) : "");
}

function showHeld() {
  const held = catalogue.placeNow()?.held ?? [];
  warn("held", held.length ? `${say("held")} ${held.join(" ")}` : "", { isBad: true });
}

/* ---- a new catalogue ---- */

/* Say which prices of the basket changed since an earlier catalogue. */
function tellPrices(earlier) {
  const inSale = basket.piecesByProduct();
  const told = catalogue.changedSince(earlier).filter(({ product }) => inSale.has(product.code));
  if (told.length === 0) return;
  const texts = told.map(({ product, before, after }) =>
    say("price_changed", { name: product.name, before: show(before), after: show(after) }),
  );
  warn("price", texts.join(" "), { choices: [[say("ok"), () => warn("price", "")]] });
}

function takeIn(data) {
  if (till.dataset.stageNow === "pay") {
    fresh = data;
    return;
  }
  const earlier = catalogue.latest();
  if (!catalogue.takeIn(data)) return;
  tellPrices(earlier);
  showPlaces();
  showSeller();
  showHeld();
  showClock();
  calmly("basket", showSale);
  showKept();
}

/* ---- the place ---- */

const placeOption = ({ code }) => make("option", { value: code });
const writeName = (option, { name }) => write(option, name);

function showPlaces() {
  const { places } = catalogue.latest();
  placeSelect.hidden = places.length < 2;
  // Stands and vans first, as they come; the rest under the name of its group.
  const groups = [...new Set(places.map(({ group }) => group).filter(Boolean))];
  const inGroup = (name) => places.filter(({ group }) => (group || "") === name);
  showRows(
    placeSelect,
    [...inGroup(""), ...groups.map((label) => ({ label }))],
    ({ code, label }) => (label ? `group ${label}` : code),
    ({ code, label }) => (label ? make("optgroup", { label }) : placeOption({ code })),
    (row, { name, label }) =>
      label
        ? showRows(row, inGroup(label), ({ code }) => code, placeOption, writeName)
        : write(row, name),
  );
  placeSelect.value = catalogue.placeNow()?.code ?? "";
  const { weight } = catalogue.latest().urls;
  part("weight-link").href = `${weight}?place=${encodeURIComponent(placeSelect.value)}`;
}

function goTo(code) {
  catalogue.goTo(code);
  store.remember("place", code);
  showPlaces();
  showHeld();
  showStage("basket");
  showSale();
  showKept();
}

async function changePlace() {
  const from = catalogue.placeNow();
  const to = catalogue.placeCalled(placeSelect.value);
  placeSelect.value = from.code;
  if (basket.mended()) {
    await ask({ title: say("mend_first"), choices: [{ value: null, text: say("ok") }] });
    return;
  }
  if (basket.isEmpty()) {
    goTo(to.code);
    return;
  }
  const values = { count: basket.countOf(basket.current().lines), from: from.name, to: to.name };
  const answer = await ask({
    title: say("place_title", values),
    text: say("place_text", values),
    choices: [
      { value: "keep", text: say("place_keep", values), isMain: true },
      { value: "carry", text: say("place_carry", values) },
      { value: null, text: say("place_stay", values) },
    ],
  });
  if (!answer) return;
  if (answer === "carry") basket.carryTo(to.code);
  goTo(to.code);
}

/* ---- into the basket ---- */

function add(code, pieces = 1) {
  if (till.dataset.stageNow !== "basket") showStage("basket");
  basket.add(code, pieces);
}

async function addWeighed(key) {
  const offer = catalogue.offerOf(key);
  if (!offer?.price_per_pound) {
    await ask({
      title: offer.name,
      text: say("no_price_text"),
      choices: [{ value: null, text: say("ok") }],
    });
    return;
  }
  const line = await weigh(offer);
  if (!line) return;
  if (till.dataset.stageNow !== "basket") showStage("basket");
  basket.addWeighed(line);
}

function addScanned(text) {
  const product = figures.findScanned(catalogue.latest().products, text);
  warn("scan", product ? "" : say("scan_unknown", { text }), {
    choices: [[say("ok"), () => warn("scan", "")]],
  });
  if (!product) return;
  if (till.dataset.view === "sales") showView("goods");
  add(product.code);
}

/* ---- selling ---- */

function startPaying(way) {
  const { problem, tipProblem, lines } = basket.reckon();
  showView("sale");
  if (lines.length === 0) return;
  if (problem || tipProblem) {
    showStage("basket");
    part("discount-box").open = true;
    document.getElementById(problem ? "till-discount" : "till-tip").focus();
    return;
  }
  showStage("pay");
  paying.start(way);
  focusHeading("[data-stage=pay]");
}

function lineSent({ product, line, ...each }) {
  if (!line.weighed) {
    return {
      product: line.product,
      pieces: line.pieces,
      unit_price: figures.priceOfLine({ product, ...each }).unit_price,
    };
  }
  const { weighed, unit_price, net_grams, gross_grams, tare_grams } = line;
  return net_grams === undefined
    ? { weighed, gross_grams, tare_grams, unit_price }
    : { weighed, net_grams, unit_price };
}

function newEntry(payments, onTop, change) {
  const { lines, discount, total } = basket.reckon();
  const mended = basket.mended();
  const key = mended?.key ?? store.newKey();
  const seller = mended?.seller ?? sellerNow();
  const place = mended?.place ?? catalogue.placeNow().code;
  const soldAt = mended?.sold_at ?? new Date(clock.now()).toISOString();
  const body = {
    key,
    device,
    place,
    seller: seller?.id ?? null,
    seller_proof: seller?.proof ?? null,
    lines: lines.map(lineSent),
    discount_cents: discount,
    on_top_cents: onTop,
    payments,
    total_cents: total,
    sold_at: soldAt,
    clock_said: mended?.body.clock_said ?? new Date().toISOString(),
    data_made_at: mended?.body.data_made_at ?? catalogue.latest().made_at,
    corrects: mended?.body.corrects ?? null,
    wants_data: true,
  };
  const goods = lines.map(({ product }) => product);
  const names = body.lines.map((line, index) => sales.lineText(line, goods[index])).join(", ");
  const ways =
    [...new Set(payments.map(({ method }) => say(method)))].join(" + ") || say("nothing_paid");
  return {
    key,
    kind: "sale",
    place,
    seller,
    body,
    // By these names the sale can be read and mended when the catalogue has them no more.
    goods,
    text: `${names}: ${show(total)}, ${ways}`,
    total_cents: total,
    change_cents: change,
    sold_at: soldAt,
    state: "waits",
    why: "",
    said: null,
    tried: 0,
  };
}

async function finish(payments, onTop, change) {
  if (isSelling || basket.isEmpty()) return;
  isSelling = true;
  const mended = basket.mended();
  const entry = newEntry(payments, onTop, change);
  // From here on a tap is in the next basket, whatever the device and the network do.
  basket.take();
  showStage("basket");
  showView("goods");
  try {
    await keepAndSend(entry, mended);
  } finally {
    isSelling = false;
  }
}

async function keepAndSend(entry, mended) {
  if (mended && (await sending.mend(entry.key, entry))) last = { entry, isStored: true };
  else last = await keepNew(mended ? correctionOf(entry) : entry);
  showDone();
  showKept();
}

async function keepNew(entry) {
  const { stored } = await sending.sell(entry);
  return { entry, isStored: stored };
}

/* The sale that was mended reached the books meanwhile, as it was before: the books put this one in
   its place. */
function correctionOf(entry) {
  const key = store.newKey();
  return { ...entry, key, body: { ...entry.body, key, corrects: entry.key } };
}

/* "Sold" once the sale is on the device; its number follows with the answer. */
function showDone() {
  const entry = entries.get(last.entry.key) ?? last.entry;
  const isLost = !last.isStored && entry.state !== "done";
  const receipt = part("done-receipt");
  write(part("done-heading"), say(isLost ? "not_sold" : "sold"));
  const change =
    entry.change_cents > 0 ? say("give_back", { change: show(entry.change_cents) }) : "";
  write(part("done-change"), entry.state === "undone" ? "" : change);
  write(part("done-text"), entry.text);
  write(part("done-problem"), doneProblem(entry, isLost));
  write(part("done-note"), isLost ? "" : doneNote(entry));
  receipt.hidden = entry.state !== "done" || !entry.said?.receipt_url;
  if (entry.said?.receipt_url) receipt.href = entry.said.receipt_url;
  till.querySelector("[data-act=undo]").hidden =
    entry.undoing || entry.state === "undone" || entry.state === "differs";
  till.querySelector("[data-act=store-again]").hidden = !isLost;
  if (till.dataset.stageNow === "done") return;
  showStage("done");
  showView("goods");
  focusHeading("[data-stage=done]");
}

function doneProblem(entry, isLost) {
  if (isLost) return [say("not_stored"), entry.why].filter(Boolean).join(" ");
  if (!last.isStored) return say("not_stored_but_sent");
  if (entry.state === "refused" || entry.state === "differs")
    return `${entry.why} ${say("settle")}`;
  return "";
}

function doneNote(entry) {
  if (entry.undoing) return say("state_undoing");
  if (entry.state === "undone") return say("undone");
  if (entry.state === "done") {
    return [say("receipt", { number: entry.said.number }), ...(entry.said.marks ?? [])].join(" ");
  }
  if (entry.state !== "waits") return "";
  return entry.why || signal !== "there" ? `${entry.why} ${say("kept")}`.trim() : say("sending");
}

function nextSale() {
  last = null;
  showStage("basket");
  showView("goods");
}

function onEntry(entry) {
  entries.set(entry.key, entry);
  if (last?.entry.key === entry.key) calmly("done", showAnswer);
  showKept();
}

/* The answer to the sale at hand came: its number, or why it waits. */
function showAnswer() {
  if (last && till.dataset.stageNow === "done") showDone();
}

/* What can be done with a sale of this device; see sales.js. */
const acts = {
  retry: (key) => sending.retry(key),
  undo: (key, reason) => sending.undo(key, reason, sellerNow()),
  handIn: (key, reason) => sending.handIn(key, reason),
  correct: (key) => sending.correct(key),
  accept: (key) => sending.accept(key),
  mend: (entry) => {
    if (basket.mended()) basket.clear();
    if (entry.place !== catalogue.placeNow().code) goTo(entry.place);
    basket.mend(entry);
    showStage("basket");
    showView("sale");
    focusHeading("[data-stage=basket]");
  },
};

/* ---- taps ---- */

const deeds = {
  unfold: () => {
    showView(till.dataset.view === "sale" ? "goods" : "sale");
    if (till.dataset.view === "sale") focusHeading("[data-stage=basket]");
  },
  fold: () => {
    showView("goods");
    till.querySelector("[data-act=unfold]").focus();
  },
  pay: () => startPaying("cash"),
  back: () => {
    showStage("basket");
    showView("sale");
    focusHeading("[data-stage=basket]");
  },
  next: () => {
    nextSale();
    document.getElementById("till-products").scrollIntoView({ block: "nearest" });
    till.querySelector("[data-product]")?.focus({ preventScroll: true });
  },
  clear: () => {
    basket.clear();
    focusHeading("[data-stage=basket]");
  },
  leave: () => {
    basket.clear();
    showView("sales");
    focusHeading(".sales");
  },
  sales: () => {
    if (till.dataset.view === "sales") {
      showView("goods");
      return;
    }
    showView("sales");
    showKept();
    focusHeading(".sales");
  },
  goods: () => {
    showView("goods");
    till.querySelector("[data-act=sales]").focus();
  },
  send: () => sending.nudge(),
  undo: () => sales.undo(entries.get(last.entry.key) ?? last.entry, acts),
  "store-again": () => sending.retry(last.entry.key),
};

function onTap(event) {
  const pressed = event.target.closest("button");
  if (!pressed) return;
  const { product, offer, weighed, pay, act } = pressed.dataset;
  if (product) add(product);
  else if (offer) add(offer, Number(pressed.dataset.pieces));
  else if (weighed) addWeighed(weighed);
  else if (pay) startPaying(pay);
  else deeds[act]?.();
}

/* What the keyboard goes to is never under the folded sale. A tap also gives the focus, but the page
   must not move under it. */
function keepInSight({ target }) {
  const bar = till.querySelector(".sale");
  const { position, bottom: held } = getComputedStyle(bar);
  const isInFront = position === "sticky" && held !== "auto";
  if (!isInFront || bar.contains(target) || !target.matches(":focus-visible")) return;
  const over = target.getBoundingClientRect().bottom + 12 - bar.getBoundingClientRect().top;
  if (over > 0) window.scrollBy(0, over);
}

function listen() {
  till.addEventListener("click", onTap);
  till.addEventListener("focusin", keepInSight);
  placeSelect.addEventListener("change", changePlace);
  catalogue.startSearch(add);
  listenToKeys(addScanned);
  offerCamera(addScanned);
  paying.listen(finish);
  setInterval(() => {
    showState();
    showClock();
  }, LOOK_AGAIN_MS);
}

/* ---- the start ---- */

/* The person for whom the stand is kept on this device; see keep_ready.js. */
function keptFor() {
  try {
    return localStorage.getItem("stand:kept-for");
  } catch {
    return null;
  }
}

async function start() {
  const canStore = await store.open().then(
    () => true,
    () => false,
  );
  clock = await startClock();
  device = await store.device();
  const held = await store.recall("data");
  // Without signal the page is as old as it was kept; what was heard since is newer.
  if (held) catalogue.takeInKept(held, keptFor() === String(held.me.id));
  for (const entry of await store.entries()) entries.set(entry.key, entry);
  const asked = new URLSearchParams(location.search).get("place");
  catalogue.goTo(asked ?? (await store.recall("place")));
  basket.start(await store.recall("basket"), showSale);
  if (held) tellPrices(held);
  sending = startSending({
    urls: catalogue.latest().urls,
    token: csrfToken,
    words: JSON.parse(till.dataset.words),
    clock,
    onEntry,
    onData: takeIn,
    onSignal: showSignal,
  });
  await startSeller(csrfToken);
  mayLose = canStore && (await store.askDurable()) === "refused";
  till.hidden = false;
  for (const plain of document.querySelectorAll("[data-plain]")) plain.hidden = true;
  listen();
  showPlaces();
  showHeld();
  showSale();
  showKept();
  warn("store", canStore ? "" : say("cannot_store"), { isBad: true });
}

start();
