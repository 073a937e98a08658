/* Small help for the page of a payment, which works without it: a tick fills in what is open, and a
   line tells what is left of the payment. Amounts are in whole cents. */

import { readNumber } from "../web/typed.js";

const form = document.querySelector("[data-payment]");
const sign = document.documentElement.dataset.decimalSign || ".";

function cents(text) {
  if (text.trim() === "") return 0;
  try {
    const [whole, decimals = ""] = readNumber(text, sign).split(".");
    if (decimals.length > 2) return null;
    return Number(whole) * 100 + Number(decimals.padEnd(2, "0")) * (whole.startsWith("-") ? -1 : 1);
  } catch {
    return null;
  }
}

function typed(amountCents) {
  const whole = Math.trunc(amountCents / 100);
  return `${whole}${sign}${String(Math.abs(amountCents % 100)).padStart(2, "0")}`;
}

function rows() {
  return [...form.querySelectorAll("input[name^='take_']")].map((take) => ({
    take,
    share: form.elements[take.name.replace("take_", "share_")],
  }));
}

function left() {
  const amount = cents(form.elements.amount.value);
  const shares = rows().map(({ share }) => cents(share.value));
  if (amount === null || shares.includes(null)) return null;
  return amount - shares.reduce((sum, share) => sum + share, 0);
}

function show() {
  const line = form.querySelector("[data-payment-rest]");
  let rest = left();
  if (rest !== null) {
    // An invoice that is ticked without a figure takes what is left, up to what is open of it.
    for (const { take, share } of rows()) {
      if (take.checked && share.value === "") {
        rest -= Math.max(0, Math.min(Number(share.dataset.open), rest));
      }
    }
  }
  line.hidden = rest === null || form.elements.allocations.value !== "chosen";
  if (line.hidden) return;
  const { over, left: stays, none } = line.dataset;
  line.textContent = rest === 0 ? none : `${rest < 0 ? over : stays} ${typed(Math.abs(rest))}`;
}

function tick(event) {
  const row = rows().find(({ take }) => take === event.target);
  if (!row) return;
  form.elements.allocations.value = "chosen";
  if (!row.take.checked) row.share.value = "";
  else if (row.share.value === "") {
    const rest = left();
    const open = Number(row.share.dataset.open);
    row.share.value = typed(rest === null ? open : Math.max(0, Math.min(open, rest)));
  }
}

function fill(event) {
  const row = rows().find(({ share }) => share === event.target);
  if (!row) return;
  row.take.checked = row.share.value !== "";
  form.elements.allocations.value = "chosen";
}

if (form?.querySelector("[data-payment-rest]")) {
  form.addEventListener("change", (event) => {
    tick(event);
    show();
  });
  form.addEventListener("input", (event) => {
    fill(event);
    show();
  });
  show();
}
