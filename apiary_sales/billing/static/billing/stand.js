/* The till of the stand. A sale is first kept on this device under a key of its own, then sent; the
   server records a key once, so a sale is never lost and never counted twice. */
(() => {
  "use strict";

  const till = document.querySelector("[data-till]");
  if (!till || !window.indexedDB) return;

  const data = JSON.parse(till.dataset.till);
  const words = JSON.parse(till.dataset.words);
  const sizes = new Map(data.sizes.map((size) => [size.code, size]));
  const money = new Intl.NumberFormat(data.language, { style: "currency", currency: data.currency });
  const clock = new Intl.DateTimeFormat(data.language, { dateStyle: "short", timeStyle: "short" });

  const PATIENCE_MS = 8000;
  const TRY_AGAIN_MS = 30000;
  const PIECES_MAX = 1000;

  const parts = (name, within = till) => within.querySelectorAll(`[data-part="${name}"]`);
  const part = (name, within = till) => parts(name, within)[0];
  const show = (cents) => money.format(cents / 100);
  const say = (text, values) =>
    text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? values[name] : whole));

  let basket = new Map();
  let way = "cash";
  let given = null;
  let isFinishing = false;

  /* ---- figures: the same whole-number arithmetic as the server's ---- */

  function roundHalfEven(number, divisor) {
    const whole = Math.floor(number / divisor);
    const rest = number - whole * divisor;
    if (rest * 2 === divisor) return whole + (whole % 2);
    return rest * 2 > divisor ? whole + 1 : whole;
  }

  /* Price of one piece in hundredths of a cent: whole cases at the case price, unless the piece
     price for so many is lower still; see SizePrices.unit_price. */
  function unitPrice(size, pieces) {
    const fitting = size.breaks.filter((row) => row.pieces <= pieces);
    const reached = fitting.length ? fitting : size.breaks.slice(0, 1);
    const each = reached.at(-1).piece_cents * 100;
    const caseCents = reached.findLast((row) => row.case_cents !== null)?.case_cents;
    if (caseCents === undefined || pieces % size.per_case !== 0) return each;
    return Math.min(each, roundHalfEven(caseCents * 100, size.per_case));
  }

  function lineCents(size, pieces) {
    return Math.floor((unitPrice(size, pieces) * pieces + 50) / 100);
  }

  function taxCents(cents) {
    return Math.floor((cents * data.tax.parts + 500000) / 1000000);
  }

  function centsTyped(text) {
    const plain = text.trim().replace(/[^\d.,-]/g, "").replace(",", ".");
    if (plain === "") return null;
    const number = Number(plain);
    return Number.isFinite(number) ? Math.round(number * 100) : NaN;
  }

  function figures() {
    const lines = [...basket].map(([code, pieces]) => ({
      size: sizes.get(code),
      pieces,
      cents: lineCents(sizes.get(code), pieces),
    }));
    const whole = lines.reduce((sum, line) => sum + line.cents, 0);
    const typed = centsTyped(discountInput.value) ?? 0;
    const isDiscount = typed >= 0 && typed <= whole;
    const discount = isDiscount ? typed : 0;
    let running = 0;
    let taken = 0;
    let tax = 0;
    for (const line of lines) {
      running += line.cents;
      const upto = whole ? roundHalfEven(discount * running, whole) : 0;
      const net = line.cents - (upto - taken);
      taken = upto;
      if (data.tax.by_line) tax += taxCents(net);
    }
    if (!data.tax.by_line) tax = taxCents(whole - discount);
    const wrong = isDiscount ? "" : say(typed > whole ? words.discount_too_much : words.discount_unread, {
      discount: show(typed),
      whole: show(whole),
    });
    return { lines, discount, tax, total: whole - discount + tax, wrong };
  }

  /* ---- sales kept on this device ---- */

  function openStore() {
    return new Promise((resolve, reject) => {
      const asked = indexedDB.open("stand", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore("sales", { keyPath: "key" });
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => reject(asked.error);
    });
  }

  const store = openStore();

  async function withSales(mode, act) {
    const transaction = (await store).transaction("sales", mode, { durability: "strict" });
    const asked = act(transaction.objectStore("sales"));
    return new Promise((resolve, reject) => {
      transaction.oncomplete = () => resolve(asked.result);
      transaction.onerror = transaction.onabort = () => reject(transaction.error);
    });
  }

  const keepSale = (sale) => withSales("readwrite", (sales) => sales.put(sale));
  const forgetSale = (key) => withSales("readwrite", (sales) => sales.delete(key));
  const keptSales = async () =>
    (await withSales("readonly", (sales) => sales.getAll())).sort((one, other) =>
      one.body.sold_at < other.body.sold_at ? -1 : 1,
    );

  /* ---- sending ---- */

  function csrfToken() {
    const cookie = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
    return cookie ? cookie[1] : document.querySelector("[name=csrfmiddlewaretoken]").value;
  }

  /* Send one sale. Answers {done}, {refused: sentence} or {waits: sentence}. */
  async function send(sale) {
    const control = new AbortController();
    const timer = setTimeout(() => control.abort(), PATIENCE_MS);
    try {
      const answer = await fetch(data.sales_url, {
        method: "POST",
        headers: { "Content-Type": "application/json", "X-CSRFToken": csrfToken() },
        body: JSON.stringify(sale.body),
        signal: control.signal,
      });
      const isJson = (answer.headers.get("Content-Type") || "").includes("json");
      const said = isJson ? await answer.json() : {};
      if (answer.ok && isJson) return { done: said };
      if (answer.status === 422) return { refused: said.message };
      return { waits: said.message || words.open_again };
    } catch {
      return { waits: words.no_signal };
    } finally {
      clearTimeout(timer);
    }
  }

  function alone(act) {
    return navigator.locks ? navigator.locks.request("stand-send", act) : act();
  }

  async function sendKept() {
    await alone(async () => {
      for (const sale of await keptSales()) {
        if (sale.refused || sale.isNew) continue;
        const outcome = await send(sale);
        if (outcome.done) {
          await forgetSale(sale.key);
          // The page's own count of jars was lowered already; keep it so.
          for (const line of sale.body.lines) lowerStock(line.size, line.pieces);
        } else if (outcome.refused) {
          await keepSale({ ...sale, refused: outcome.refused });
        } else {
          part("kept-note").textContent = outcome.waits;
          break;
        }
      }
    });
    await showKept();
  }

  /* ---- what is shown ---- */

  function showStep(name) {
    for (const step of till.querySelectorAll("[data-stage]")) step.hidden = step.dataset.stage !== name;
    for (const problem of parts("problem")) problem.textContent = "";
  }

  function focusHeading(name) {
    till.querySelector(`[data-stage="${name}"] h2`).focus({ preventScroll: true });
  }

  const free = new Map(data.sizes.map((size) => [size.code, size.free]));
  let promised = new Map();

  function lowerStock(code, pieces) {
    if (free.has(code)) free.set(code, free.get(code) - pieces);
  }

  function showStock() {
    for (const button of till.querySelectorAll("[data-size]")) {
      const code = button.dataset.size;
      const left = free.get(code) - (promised.get(code) || 0);
      const line = part("stock", button);
      line.textContent = left > 0 ? say(words.here, { count: left }) : words.none_here;
      line.classList.toggle("none", left <= 0);
      button.classList.toggle("chosen", basket.has(code));
    }
  }

  function basketLine({ size, pieces, cents }) {
    const row = document.createElement("li");
    const name = document.createElement("span");
    name.className = "name";
    name.textContent = size.name;
    const amount = document.createElement("span");
    amount.className = "amount";
    amount.textContent = show(cents);
    const stepper = document.createElement("span");
    stepper.className = "stepper";
    const less = stepButton("−", say(words.one_less, { name: size.name }), () => put(size.code, pieces - 1));
    const more = stepButton("+", say(words.one_more, { name: size.name }), () => put(size.code, pieces + 1));
    less.dataset.focus = `less-${size.code}`;
    more.dataset.focus = `more-${size.code}`;
    const input = document.createElement("input");
    input.type = "number";
    input.inputMode = "numeric";
    input.min = "0";
    input.value = String(pieces);
    input.dataset.focus = `input-${size.code}`;
    input.setAttribute("aria-label", size.name);
    input.addEventListener("change", () => put(size.code, Math.floor(Number(input.value)) || 0));
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
    const { lines, discount, tax, total, wrong } = figures();
    const focused = document.activeElement?.dataset?.focus;
    part("lines").replaceChildren(...lines.map(basketLine));
    if (focused) till.querySelector(`[data-focus="${focused}"]`)?.focus();
    const isEmpty = lines.length === 0;
    part("empty").hidden = !isEmpty;
    part("sum").hidden = isEmpty;
    till.querySelector("[data-act=clear]").hidden = isEmpty;
    part("discount-problem").textContent = wrong;
    discountInput.setAttribute("aria-invalid", String(wrong !== ""));
    part("discount-row").hidden = discount === 0;
    part("discount").textContent = `−${show(discount)}`;
    part("tax-row").hidden = data.tax.parts === 0;
    part("tax-name").textContent = data.tax.name;
    part("tax").textContent = show(tax);
    part("total").textContent = show(total);
    for (const again of parts("total-again")) again.textContent = show(total);
    showStock();
  }

  function put(code, pieces) {
    if (pieces > 0) basket.set(code, Math.min(pieces, PIECES_MAX));
    else basket.delete(code);
    showBasket();
  }

  function quickAmounts(total) {
    const amounts = [total];
    for (const note of [100, 500, 1000, 2000, 5000, 10000]) {
      const next = Math.ceil(total / note) * note;
      if (next > total && !amounts.includes(next)) amounts.push(next);
    }
    return amounts.sort((one, other) => one - other).slice(0, 6);
  }

  function showCash() {
    const { total } = figures();
    part("quick").replaceChildren(
      ...quickAmounts(total).map((cents) => {
        const button = document.createElement("button");
        button.type = "button";
        button.className = "button button-quiet button-large";
        button.textContent = show(cents);
        button.setAttribute("aria-pressed", String(cents === given));
        button.addEventListener("click", () => {
          given = cents;
          givenInput.value = (cents / 100).toFixed(2);
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
    if (given === null || Number.isNaN(given)) {
      change.textContent = "";
      finish.textContent = words.enter_cash;
    } else if (given < total) {
      change.textContent = say(words.ask_for, { missing: show(total - given) });
      finish.textContent = say(words.take, { given: show(given) });
    } else {
      change.textContent = given === total ? words.no_change : say(words.give_back, { change: show(given - total) });
      finish.textContent =
        given === total
          ? say(words.take, { given: show(given) })
          : say(words.take_and_give, { given: show(given), change: show(given - total) });
    }
  }

  function startPaying(chosen) {
    way = chosen;
    const { total, wrong } = figures();
    if (wrong) {
      discountInput.focus();
      return;
    }
    if (way === "cash") {
      given = total;
      givenInput.value = (total / 100).toFixed(2);
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
    const goods = lines.map(({ size, pieces }) => `${pieces} × ${size.name}`).join(", ");
    return `${goods}: ${show(total)}, ${words[chosen]}`;
  }

  function newKey() {
    if (crypto.randomUUID) return crypto.randomUUID();
    return [...crypto.getRandomValues(new Uint8Array(16))]
      .map((byte) => byte.toString(16).padStart(2, "0"))
      .join("");
  }

  function newSale() {
    const { lines, discount, total } = figures();
    const key = newKey();
    return {
      key,
      isNew: true,
      text: describe(lines, total, way),
      change: way === "cash" ? given - total : 0,
      body: {
        key,
        place: data.place,
        lines: lines.map(({ size, pieces }) => ({
          size: size.code,
          pieces,
          unit_price: (unitPrice(size, pieces) / 10000).toFixed(4),
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
    const { total } = figures();
    const problem = part("problem", step);
    if (way === "cash" && (given === null || Number.isNaN(given))) {
      problem.textContent = words.enter_cash;
      return;
    }
    if (way === "cash" && given < total) {
      problem.textContent = say(words.too_little, { total: show(total), missing: show(total - given) });
      return;
    }
    isFinishing = true;
    problem.textContent = "";
    const button = step.querySelector("[data-act=finish]");
    button.setAttribute("aria-disabled", "true");
    try {
      const sale = newSale();
      await keepSale(sale);
      const outcome = await alone(() => send(sale));
      if (outcome.refused) {
        // The buyer still stands here: say why, and keep the jars in the sale.
        await forgetSale(sale.key);
        problem.textContent = outcome.refused;
        return;
      }
      if (outcome.done) {
        await forgetSale(sale.key);
        for (const line of sale.body.lines) lowerStock(line.size, line.pieces);
      } else {
        delete sale.isNew;
        await keepSale(sale);
      }
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
        const { refused, ...fresh } = sale;
        await keepSale(fresh);
        await sendKept();
      }),
      smallButton(words.remove, async () => {
        if (!window.confirm(say(words.remove_sure, { sale: sale.text }))) return;
        await forgetSale(sale.key);
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
    const kept = (await keptSales()).filter((sale) => !sale.isNew);
    promised = new Map();
    for (const sale of kept) {
      for (const line of sale.body.lines) {
        promised.set(line.size, (promised.get(line.size) || 0) + line.pieces);
      }
    }
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

  /* A sale cut off half-way (the page was closed) waits like any other: its key tells. */
  async function pickUpCutOff() {
    await alone(async () => {
      for (const sale of await keptSales()) {
        if (!sale.isNew) continue;
        delete sale.isNew;
        await keepSale(sale);
      }
    });
  }

  const discountInput = document.getElementById("till-discount");
  const givenInput = document.getElementById("till-given");

  till.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.dataset.size) put(button.dataset.size, (basket.get(button.dataset.size) || 0) + 1);
    if (button.dataset.size) showStep("basket");
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
      await store;
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
    await pickUpCutOff();
    await sendKept();
  }

  start();
})();
