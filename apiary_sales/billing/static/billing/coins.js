/* Coins and notes add up while they are counted. Without this script the page that answers says the
   sum. Money is written as the sample of the house is: "$1,000.00" or "1.000,00 €". */

const list = document.querySelector("[data-coins]");
const sum = document.querySelector("[data-coins-sum]");

function written(cents) {
  const [, before, group, decimal, after] = /^(.*?)1(\D*)000(\D)00(.*)$/.exec(list.dataset.sample);
  const whole = String(Math.trunc(cents / 100)).replace(/\B(?=(\d{3})+$)/g, group);
  return `${before}${whole}${decimal}${String(cents % 100).padStart(2, "0")}${after}`;
}

function add() {
  let cents = 0;
  for (const row of list.querySelectorAll("[data-cents]")) {
    cents += Number(row.dataset.cents) * Math.max(0, Number(row.querySelector("input").value) || 0);
  }
  sum.textContent = `${sum.dataset.coinsSum}: ${written(cents)}`;
}

if (list && sum) {
  list.addEventListener("input", add);
  add();
}
