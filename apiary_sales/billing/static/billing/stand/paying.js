/* Taking the money: in cash, by card or by check, or in several ways, until nothing is left to pay.
   `finish(payments, onTop)` is called once all is paid. */

import * as basket from "./basket.js";
import * as figures from "./figures.js";
import {
  ask,
  button,
  centsTyped,
  part,
  say,
  show,
  showRows,
  smallestCoin,
  till,
  typedAmount,
  write,
} from "./screen.js";

// More cash back than this is asked about: a zero too many is typed easily.
const CHANGE_ASKED_CENTS = 20000;

const stage = till.querySelector("[data-stage=pay]");
const finishButton = stage.querySelector("[data-act=finish]");
const inputs = {
  cash: document.getElementById("till-given"),
  card: document.getElementById("till-card"),
  check: document.getElementById("till-check"),
};
const numberInput = document.getElementById("till-check-number");

let way = "cash";
let made = [];
let kept = 0;

/* What the sale comes to with the change that is kept, and what is left of it to pay: in cash as
   far as there are coins for it. */
function owed() {
  const sums = basket.reckon();
  const total = sums.to_pay + kept;
  const paid = made.reduce((sum, { cents }) => sum + cents, 0);
  const exact = sums.to_pay - paid;
  const left = (way === "cash" ? figures.toCoins(exact, smallestCoin()) : exact) + kept;
  return { sums, total, paid, left, isRounded: left !== exact + kept };
}

const given = () => centsTyped(inputs[way].value);

export function start(chosen) {
  made = [];
  choose(chosen);
}

function choose(chosen) {
  way = chosen;
  kept = 0;
  inputs[way].value = typedAmount(Math.max(0, owed().left));
  numberInput.value = "";
  clearProblem();
  showPaying();
}

function clearProblem() {
  part("pay-problem").textContent = "";
  part("ways-out").replaceChildren();
}

function complain(text, ...ways) {
  part("pay-problem").textContent = text;
  part("ways-out").replaceChildren(...ways);
}

/* ---- what is shown ---- */

function showMade() {
  showRows(
    part("made"),
    made,
    ({ id }) => id,
    (payment) => {
      const row = document.createElement("li");
      const text = document.createElement("span");
      text.textContent = `${say(payment.method)} ${show(payment.cents)}`;
      row.append(
        text,
        button(say("take_out"), () => takeOut(payment), {
          class: "button-link",
          "aria-label": `${say("take_out")}: ${text.textContent}`,
        }),
      );
      return row;
    },
    () => {},
  );
}

function takeOut(payment) {
  made = made.filter((each) => each !== payment);
  choose(way);
  part("pay-heading").focus();
}

function showQuick(left) {
  showRows(
    part("quick"),
    way === "cash" ? figures.quickAmounts(left) : [],
    String,
    (cents) =>
      button(
        show(cents),
        () => {
          inputs.cash.value = typedAmount(cents);
          changedGiven();
        },
        { class: "button button-quiet button-large" },
      ),
    (each, cents) => each.setAttribute("aria-pressed", String(cents === given())),
  );
}

/* What the amount that is typed does: the button says it before it is tapped. */
function finishText(cents, left) {
  if (cents === null || Number.isNaN(cents)) return say(`enter_${way}`);
  const amount = show(cents);
  if (cents < left) return say(`${way}_part`, { amount });
  if (way !== "cash") return say(`${way}_finish`, { total: amount });
  const change = cents - left;
  return change
    ? say("take_and_give", { given: amount, change: show(change) })
    : say("take", { given: amount });
}

function changeText(cents, left) {
  if (cents === null || Number.isNaN(cents)) return "";
  const { missing, change } = figures.settle(cents, left);
  if (missing) return say(way === "cash" ? "ask_for" : "left_then", { missing: show(missing) });
  if (way !== "cash") return "";
  if (kept) return say("kept_change", { amount: show(kept) });
  return change ? say("give_back", { change: show(change) }) : say("no_change");
}

export function showPaying() {
  const { total, left, sums, isRounded } = owed();
  const cents = given();
  write(part("total-again"), show(left));
  const onTop = sums.on_top + kept;
  const notes = [
    made.length > 0 && say("of_total", { total: show(total) }),
    onTop > 0 && say("with_on_top", { amount: show(onTop) }),
    isRounded && say("rounded_from", { total: show(total) }),
  ];
  write(part("pay-of"), notes.filter(Boolean).join(", "));
  showMade();
  for (const choice of stage.querySelectorAll("[data-way]")) {
    choice.setAttribute("aria-pressed", String(choice.dataset.way === way));
  }
  for (const panel of stage.querySelectorAll("[data-panel]"))
    panel.hidden = panel.dataset.panel !== way;
  showQuick(left);
  write(part("change"), changeText(cents, left));
  const keep = till.querySelector("[data-act=keep-change]");
  keep.hidden = !(way === "cash" && (kept || cents > left));
  keep.textContent = kept
    ? say("change_back", { amount: show(kept) })
    : say("keep_change", { amount: show(cents - left) });
  write(finishButton, finishText(cents, left));
}

function changedGiven() {
  kept = 0;
  clearProblem();
  showPaying();
}

/* ---- what is done ---- */

function keepChange() {
  const { left } = owed();
  kept = kept ? 0 : given() - left;
  showPaying();
  finishButton.focus();
}

/* The payment that is typed, when it pays no more than what is left. */
function payment(cents, left) {
  return {
    id: `${way}-${made.length}-${cents}`,
    method: way,
    cents: Math.min(cents, left),
    tendered_cents: way === "cash" ? cents : null,
    reference: way === "check" ? numberInput.value.trim() : "",
  };
}

function payPart(cents, left) {
  const paidBy = way;
  made = [...made, payment(cents, left)];
  choose(paidBy === "cash" ? "card" : "cash");
  part("pay-heading").focus();
}

function tooLittle(cents, left, total, paid) {
  const missing = show(left - cents);
  complain(
    say("too_little", { total: show(total), missing }),
    button(say("correct_amount"), () => {
      clearProblem();
      inputs[way].focus();
      inputs[way].select();
    }),
    button(say("pays_less", { missing }), () => {
      basket.nameTotal(paid + cents);
      clearProblem();
      showPaying();
      finishButton.focus();
    }),
    cents > 0
      ? button(say("rest_otherwise", { amount: show(cents), missing }), () => payPart(cents, left))
      : "",
  );
  part("ways-out").querySelector("button").focus();
}

async function finish(done) {
  const { left, total, paid, sums, isRounded } = owed();
  const cents = given();
  if (cents === null || Number.isNaN(cents) || cents < 0) {
    complain(say(`enter_${way}`));
    inputs[way].focus();
    return;
  }
  if (cents < left) {
    if (way === "cash") tooLittle(cents, left, total, paid);
    else if (cents > 0) payPart(cents, left);
    else complain(say(`enter_${way}`));
    return;
  }
  if (cents > left && way !== "cash") {
    const more = show(cents - left);
    complain(
      say("too_much", { left: show(left), more }),
      button(say("more_on_top", { more }), () => {
        kept = cents - left;
        clearProblem();
        showPaying();
        finishButton.focus();
      }),
    );
    return;
  }
  if (cents - left >= CHANGE_ASKED_CENTS) {
    const isRight = await ask({
      title: say("change_sure", { change: show(cents - left) }),
      text: say("change_sure_help", { given: show(cents), total: show(left) }),
      choices: [
        { value: "no", text: say("correct_amount"), isMain: true },
        { value: "yes", text: say("change_right") },
      ],
    });
    if (isRight !== "yes") {
      inputs.cash.focus();
      return;
    }
  }
  const all = left > 0 || made.length === 0 ? [...made, payment(cents, left)] : made;
  const payments = all
    // What is less than a coin is paid with nothing.
    .filter(
      (each) => each.cents > 0 || each.tendered_cents > 0 || (isRounded && each === all.at(-1)),
    )
    .map(({ id, ...rest }) => rest);
  done(payments, sums.on_top + kept, cents - left);
}

/* Listen to the stage; `done(payments, onTop, change)` sells. */
export function listen(done) {
  for (const input of Object.values(inputs)) {
    input.addEventListener("input", changedGiven);
    input.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault();
      finish(done);
    });
  }
  stage.addEventListener("click", (event) => {
    const pressed = event.target.closest("button");
    if (pressed?.dataset.way) choose(pressed.dataset.way);
    if (pressed?.dataset.act === "keep-change") keepChange();
    if (pressed?.dataset.act === "finish") finish(done);
  });
}
