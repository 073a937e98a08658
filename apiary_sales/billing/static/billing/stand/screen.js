/* What every part of the till writes with: its sentences, money, times, and pieces of the page. */

import { inUnit, Mistyped, readNumber, writeNumber } from "../../web/typed.js";
import { centsOf, writeMoney, writePrice } from "./figures.js";

export const till = document.querySelector("[data-till]");
export const decimalSign = document.documentElement.dataset.decimalSign;
const words = JSON.parse(till.dataset.words);
const language = document.documentElement.lang || undefined;
const clock = new Intl.DateTimeFormat(language, { timeStyle: "short" });
const dayAndClock = new Intl.DateTimeFormat(language, { dateStyle: "medium", timeStyle: "short" });
const day = new Intl.DateTimeFormat(language, { dateStyle: "medium" });

let money = { before: "", after: "", decimal: decimalSign, group: "" };

/* One sentence of the till, with the values that are meant by {name}. */
export function say(name, values = {}) {
  return words[name].replace(/\{(\w+)\}/g, (whole, key) => (key in values ? values[key] : whole));
}

/* The sentence for one, or for several. */
export const sayCount = (name, count, values = {}) =>
  say(count === 1 ? `${name}_one` : `${name}_many`, { count, ...values });

export function writeMoneyAs(style) {
  money = style;
}

/* The smallest coin of the house, in cents. */
export const smallestCoin = () => money.coin_cents ?? 1;

export const show = (cents) => writeMoney(cents, money);

export const showPrice = (price) => writePrice(price, money);

/* The unit of weight that the house prices in: "lb" or "kg". */
export const houseUnit = () => till.dataset.weightUnit;

/* A weight in it, as scales at a counter show it. */
export function weightOf(grams) {
  return say("weight", { number: writeNumber(inUnit(grams, houseUnit()), decimalSign) });
}

/* An amount as a person would type it. */
export function typedAmount(cents) {
  return writeMoney(cents, { before: "", after: "", group: "", decimal: decimalSign });
}

/* A typed number as a plain decimal; null for an empty field, "" for what is no number. */
export function numberTyped(text) {
  try {
    return readNumber(text, decimalSign);
  } catch (error) {
    if (!(error instanceof Mistyped)) throw error;
    return error.code === "empty" ? null : "";
  }
}

/* Whole cents; null for an empty field, NaN for what is no amount. */
export function centsTyped(text) {
  const number = numberTyped(text);
  return number === null ? null : centsOf(number);
}

export const timeOf = (moment) => clock.format(new Date(moment));
export const dayOf = (moment) => day.format(new Date(moment));

/* A time, with its day where that is not today's by `now`. */
export function whenOf(moment, now) {
  const isToday = new Date(moment).toDateString() === new Date(now).toDateString();
  return (isToday ? clock : dayAndClock).format(new Date(moment));
}

/* ---- pieces of the page ---- */

export const parts = (name, within = till) => within.querySelectorAll(`[data-part="${name}"]`);
export const part = (name, within = till) => within.querySelector(`[data-part="${name}"]`);

/* Make an element: traits are attributes, but for `text`, `dataset` and `onclick`. */
export function make(tag, traits = {}, ...children) {
  const element = document.createElement(tag);
  const { text, dataset, onclick, ...attributes } = traits;
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== undefined && value !== false)
      element.setAttribute(name, value === true ? "" : value);
  }
  Object.assign(element.dataset, dataset);
  if (text !== undefined) element.textContent = text;
  if (onclick) element.addEventListener("click", onclick);
  element.append(...children.filter(Boolean));
  return element;
}

export function button(text, act, traits = {}) {
  const style = traits.class ?? "button button-quiet";
  return make("button", { type: "button", ...traits, class: style, text, onclick: act });
}

/* Change a text only where it is another, so that nothing is read out or drawn twice. */
export function write(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/* Show `rows` as the children of a list, each made once by its key: what a finger is on stays. */
export function showRows(list, rows, keyOf, makeRow, changeRow) {
  const there = new Map([...list.children].map((child) => [child.dataset.key, child]));
  const wanted = rows.map((row) => {
    const key = keyOf(row);
    let child = there.get(key);
    if (!child) {
      child = makeRow(row);
      child.dataset.key = key;
    }
    there.delete(key);
    changeRow(child, row);
    return child;
  });
  for (const gone of there.values()) gone.remove();
  wanted.forEach((child, place) => {
    if (list.children[place] !== child) list.insertBefore(child, list.children[place] ?? null);
  });
}

/* ---- what comes from behind is shown when no finger is on the glass ---- */

let isTouched = false;
let isAsked = false;
const later = new Map();

function showLater() {
  isAsked = false;
  if (isTouched) return;
  const acts = [...later.values()];
  later.clear();
  for (const act of acts) act();
}

function showSoon() {
  if (isAsked) return;
  isAsked = true;
  // After the click that a finger going up brings with it.
  setTimeout(showLater, 0);
}

/* Run `act` as soon as no finger is down, once for all that ask by the same name: a button that
   moved or went from under a finger would lose its tap. */
export function calmly(name, act) {
  later.set(name, act);
  showSoon();
}

document.addEventListener(
  "pointerdown",
  () => {
    isTouched = true;
  },
  true,
);
for (const type of ["pointerup", "pointercancel"]) {
  document.addEventListener(
    type,
    () => {
      isTouched = false;
      showSoon();
    },
    true,
  );
}

/* ---- questions ---- */

/* Ask in a dialog and answer the value that was chosen, null where it was closed. `choices` are
   {value, text, isMain}; `body` are pieces shown between the text and the choices. */
export function ask({ title, text = "", body = [], choices, onOpen }) {
  const heading = make("h2", { text: title, tabindex: "-1", id: "till-question" });
  const dialog = make("dialog", { class: "till-dialog", "aria-labelledby": "till-question" });
  return new Promise((resolve) => {
    const answer = (value) => {
      resolve(value);
      dialog.close();
    };
    const buttons = choices.map(({ value, text: label, isMain }) =>
      button(label, () => answer(value), {
        class: isMain ? "button button-wide" : "button button-quiet button-wide",
      }),
    );
    dialog.append(
      heading,
      text && make("p", { text }),
      ...body,
      make("div", { class: "choices-of" }, ...buttons),
    );
    dialog.addEventListener("close", () => {
      dialog.remove();
      resolve(null);
    });
    till.append(dialog);
    dialog.showModal();
    if (onOpen) onOpen(answer, dialog);
    else heading.focus();
  });
}
