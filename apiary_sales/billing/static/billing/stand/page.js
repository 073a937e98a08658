/* The till of the stand: what a person taps and sees. Prices and sums are in figures.js, sales
   that wait to be sent in store.js. */

import { Mistyped, readNumber } from "../../web/typed.js";
import * as figures from "./figures.js";
import * as store from "./store.js";

const TRY_AGAIN_MS = 30000;

const till = document.querySelector("[data-till]");
const data = JSON.parse(till.dataset.till);
const words = JSON.parse(till.dataset.words);
const discountInput = document.getElementById("till-discount");
const givenInput = document.getElementById("till-given");
const decimalSign = document.documentElement.dataset.decimalSign;
const products = new Map(data.products.map((product) => [product.code, product]));
const money = new Intl.NumberFormat(data.language, { style: "currency", currency: data.currency });
const clock = new Intl.DateTimeFormat(data.language, { dateStyle: "medium", timeStyle: "short" });
const server = { url: data.sales_url, token: csrfToken, words };

const parts = (name, within = till) => within.querySelectorAll(`[data-part="${name}"]`);
const part = (name, within = till) => parts(name, within)[0];
/* Amounts are written with the house's decimal sign, as on every other page. */
const marks = { decimal: decimalSign, group: decimalSign === "." ? "," : "." };
const show = (cents) => {
  const written = money.formatToParts(cents / 100);
  return written.map(({ type, value }) => marks[type] ?? value).join("");
};
const say = (text, values) =>
  text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? values[name] : whole));

let basket = new Map();
let way = "cash";
let given = null;
let isFinishing = false;

/* Whole cents; null for an empty field, NaN for what is no amount. */
function centsTyped(text) {
  try {
    return figures.centsOf(readNumber(text, decimalSign));
  } catch (error) {
    if (!(error instanceof Mistyped)) throw error;
    return error.code === "empty" ? null : NaN;
  }
}

function amountTyped(cents) {
  return (cents / 100).toFixed(2).replace(".", decimalSign);
}

function reckon() {
  const lines = [...basket].map(([code, pieces]) => ({ product: products.get(code), pieces }));
  const typed = centsTyped(discountInput.value) ?? 0;
  const sums = figures.reckon(lines, typed, data.tax);
  const values = { discount: show(typed), whole: show(sums.whole) };
  return { ...sums, problem: sums.wrong && say(words[`discount_${sums.wrong}`], values) };
}

function csrfToken() {
  const cookie = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
  return cookie ? cookie[1] : document.querySelector("[name=csrfmiddlewaretoken]").value;
}

async function sendKept() {
  // The page's own count of jars was not lowered yet for what the server now has.
  const waits = await store.sendKept(server, (sale) => sale.body.lines.forEach(lowerStock));
  if (waits) part("kept-note").textContent = waits;
  await showKept();
}

/* ---- what is shown ---- */

function showStep(name) {
  for (const step of till.querySelectorAll("[data-stage]"))
    step.hidden = step.dataset.stage !== name;
  for (const problem of parts("problem")) problem.textContent = "";
}

function focusHeading(name) {
  till.querySelector(`[data-stage="${name}"] h2`).focus({ preventScroll: true });
}

const free = new Map(data.products.map((product) => [product.code, product.free]));
let promised = new Map();

function lowerStock({ product, size, pieces }) {
  const code = product ?? size;
  if (free.has(code)) free.set(code, free.get(code) - pieces);
}

function showStock() {
  for (const button of till.querySelectorAll("[data-product]")) {
    const code = button.dataset.product;
    const left = free.get(code) - (promised.get(code) || 0);
    const line = part("stock", button);
    line.textContent = left > 0 ? say(words.here, { count: left }) : words.none_here;
    line.classList.toggle("none", left <= 0);
    button.classList.toggle("chosen", basket.has(code));
  }
}

function basketLine({ product, pieces, cents }) {
  const row = document.createElement("li");
  const name = document.createElement("span");
  name.className = "name";
  name.textContent = product.name;
  const amount = document.createElement("span");
  amount.className = "amount";
  amount.textContent = show(cents);
  const stepper = document.createElement("span");
  stepper.className = "stepper";
  const less = stepButton("−", say(words.one_less, { name: product.name }), () =>
    put(product.code, pieces - 1),
  );
  const more = stepButton("+", say(words.one_more, { name: product.name }), () =>
    put(product.code, pieces + 1),
  );
  less.dataset.focus = `less-${product.code}`;
  more.dataset.focus = `more-${product.code}`;
  const input = document.createElement("input");
  input.type = "number";
  input.inputMode = "numeric";
  input.min = "0";
  input.value = String(pieces);
  input.dataset.focus = `input-${product.code}`;
  input.setAttribute("aria-label", product.name);
  input.addEventListener("change", () => put(product.code, Math.floor(Number(input.value)) || 0));
  stepper.append(less, input, more);
  row.append(name, amount, stepper);
  return row;
}

function stepButton(sign, label, act) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = sign;
  button.setAttribute("aria-label", label);
  button.addEventListener("click", act);
  return button;
}

function showBasket() {
  const { lines, discount, tax, total, problem } = reckon();
  const focused = document.activeElement?.dataset?.focus;
  part("lines").replaceChildren(...lines.map(basketLine));
  if (focused) till.querySelector(`[data-focus="${focused}"]`)?.focus();
  const isEmpty = lines.length === 0;
  part("empty").hidden = !isEmpty;
  part("sum").hidden = isEmpty;
  till.querySelector("[data-act=clear]").hidden = isEmpty;
  part("discount-problem").textContent = problem;
  discountInput.setAttribute("aria-invalid", String(problem !== ""));
  part("discount-row").hidden = discount === 0;
  part("discount").textContent = `−${show(discount)}`;
  const taxNames = figures.taxNames(lines, data.tax);
  part("tax-row").hidden = taxNames === "";
  const taxName = data.tax.included ? say(words.tax_included, { name: taxNames }) : taxNames;
  part("tax-name").textContent = taxName;
  part("tax").textContent = show(tax);
  part("total").textContent = show(total);
  for (const again of parts("total-again")) again.textContent = show(total);
  showStock();
}

function put(code, pieces) {
  if (pieces > 0) basket.set(code, Math.min(pieces, figures.PIECES_MAX));
  else basket.delete(code);
  showBasket();
}

function showCash() {
  const { total } = reckon();
  part("quick").replaceChildren(
    ...figures.quickAmounts(total).map((cents) => {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "button button-quiet button-large";
      button.textContent = show(cents);
      button.setAttribute("aria-pressed", String(cents === given));
      button.addEventListener("click", () => {
        given = cents;
        givenInput.value = amountTyped(cents);
        showCash();
        till.querySelector(".quick [aria-pressed=true]").focus();
      });
      return button;
    }),
  );
  const step = till.querySelector("[data-stage=cash]");
  const change = part("change", step);
  const finish = step.querySelector("[data-act=finish]");
  part("problem", step).textContent = "";
  const cash = figures.settle(given, total);
  if (given === null || Number.isNaN(given)) {
    change.textContent = "";
    finish.textContent = words.enter_cash;
  } else if (cash.missing) {
    change.textContent = say(words.ask_for, { missing: show(cash.missing) });
    finish.textContent = say(words.take, { given: show(given) });
  } else if (cash.change) {
    change.textContent = say(words.give_back, { change: show(cash.change) });
    finish.textContent = say(words.take_and_give, {
      given: show(given),
      change: show(cash.change),
    });
  } else {
    change.textContent = words.no_change;
    finish.textContent = say(words.take, { given: show(given) });
  }
}

function startPaying(chosen) {
  way = chosen;
  const { total, problem } = reckon();
  if (problem) {
    discountInput.focus();
    return;
  }
  if (way === "cash") {
    given = total;
    givenInput.value = amountTyped(total);
    showStep("cash");
    showCash();
    focusHeading("cash");
    return;
  }
  const step = till.querySelector("[data-stage=exact]");
  part("way", step).textContent = words[way];
  part("way-help", step).textContent = words[`${way}_help`];
  step.querySelector("[data-act=finish]").textContent = say(words[`${way}_finish`], {
    total: show(total),
  });
  showStep("exact");
  focusHeading("exact");
}

function describe(lines, total, chosen) {
  const goods = lines.map(({ product, pieces }) => `${pieces} × ${product.name}`).join(", ");
  return `${goods}: ${show(total)}, ${words[chosen]}`;
}

function newSale() {
  const { lines, discount, total } = reckon();
  const key = store.newKey();
  return {
    key,
    text: describe(lines, total, way),
    change: way === "cash" ? figures.settle(given, total).change : 0,
    body: {
      key,
      place: data.place,
      lines: lines.map(({ product, pieces }) => ({
        product: product.code,
        pieces,
        unit_price: figures.priceSent(product, pieces),
      })),
      method: way,
      tendered_cents: way === "cash" ? given : null,
      discount_cents: discount,
      sold_at: new Date().toISOString(),
    },
  };
}

async function finish(step) {
  if (isFinishing) return;
  const { total } = reckon();
  const problem = part("problem", step);
  if (way === "cash" && (given === null || Number.isNaN(given))) {
    problem.textContent = words.enter_cash;
    return;
  }
  const { missing } = figures.settle(given, total);
  if (way === "cash" && missing) {
    problem.textContent = say(words.too_little, { total: show(total), missing: show(missing) });
    return;
  }
  isFinishing = true;
  problem.textContent = "";
  const button = step.querySelector("[data-act=finish]");
  button.setAttribute("aria-disabled", "true");
  try {
    const sale = newSale();
    const outcome = await store.sell(sale, server);
    if (outcome.refused) {
      // The buyer still stands here: say why, and keep the jars in the sale.
      problem.textContent = outcome.refused;
      return;
    }
    if (outcome.done) sale.body.lines.forEach(lowerStock);
    showDone(sale, outcome);
    await showKept();
  } finally {
    isFinishing = false;
    button.removeAttribute("aria-disabled");
  }
}

function showDone(sale, outcome) {
  const receipt = part("done-receipt");
  part("done-heading").textContent = words.sold;
  part("done-change").textContent =
    sale.change > 0 ? say(words.give_back, { change: show(sale.change) }) : "";
  part("done-text").textContent = sale.text;
  receipt.hidden = !outcome.done;
  if (outcome.done) {
    receipt.href = outcome.done.receipt_url;
    part("done-note").textContent = say(words.receipt, { number: outcome.done.number });
  } else {
    part("done-note").textContent = `${outcome.waits} ${words.kept}`;
  }
  basket = new Map();
  discountInput.value = "";
  part("discount-box").open = false;
  showBasket();
  showStep("done");
  focusHeading("done");
}

function keptLine(sale) {
  const row = document.createElement("li");
  const text = document.createElement("span");
  text.textContent = `${clock.format(new Date(sale.body.sold_at))} · ${sale.text}`;
  row.append(text);
  if (!sale.refused) return row;
  const problem = document.createElement("span");
  problem.className = "problem";
  problem.textContent = sale.refused;
  const actions = document.createElement("div");
  actions.className = "actions";
  actions.append(
    smallButton(words.try_again, async () => {
      await store.retry(sale);
      await sendKept();
    }),
    smallButton(words.remove, async () => {
      if (!window.confirm(say(words.remove_sure, { sale: sale.text }))) return;
      await store.forget(sale.key);
      await showKept();
    }),
  );
  row.append(problem, actions);
  return row;
}

function smallButton(label, act) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button button-quiet button-small";
  button.textContent = label;
  button.addEventListener("click", act);
  return button;
}

async function showKept() {
  const kept = (await store.kept()).filter((sale) => !sale.isNew);
  promised = figures.promisedPieces(kept);
  const refused = kept.filter((sale) => sale.refused).length;
  part("kept").hidden = kept.length === 0;
  part("kept-count").textContent =
    kept.length === 1 ? words.one_waits : say(words.many_wait, { count: kept.length });
  if (refused) part("kept-note").textContent = words.settle;
  part("kept-list").replaceChildren(...kept.map(keptLine));
  showStock();
}

function showSignal() {
  part("signal").hidden = navigator.onLine;
}

till.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const code = button.dataset.product;
  if (code) {
    put(code, (basket.get(code) || 0) + 1);
    showStep("basket");
  }
  if (button.dataset.pay) startPaying(button.dataset.pay);
  const act = button.dataset.act;
  if (act === "finish") finish(button.closest("[data-stage]"));
  if (act === "back" || act === "next") {
    showStep("basket");
    focusHeading("basket");
  }
  if (act === "send") sendKept();
  if (act === "clear") {
    basket = new Map();
    showBasket();
    focusHeading("basket");
  }
});
discountInput.addEventListener("input", showBasket);
givenInput.addEventListener("input", () => {
  given = centsTyped(givenInput.value);
  showCash();
});
givenInput.addEventListener("keydown", (event) => {
  if (event.key === "Enter") finish(givenInput.closest("[data-stage]"));
});

async function start() {
  try {
    await store.open();
  } catch {
    return; // Without a place to keep sales the plain form sells.
  }
  till.hidden = false;
  document.querySelector("[data-plain]").hidden = true;
  showBasket();
  showSignal();
  window.addEventListener("online", () => {
    showSignal();
    sendKept();
  });
  window.addEventListener("offline", showSignal);
  setInterval(sendKept, TRY_AGAIN_MS);
  navigator.storage?.persist?.();
  navigator.serviceWorker?.register(data.worker_url, { scope: data.scope });
  await store.pickUpCutOff();
  await sendKept();
}

start();
