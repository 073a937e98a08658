/* Small help for pages that work without it: nothing here is needed to finish a task. */

import { Mistyped, entries, inUnit, readNumber, readQuantity, writeNumber } from "./typed.js";

const root = document.documentElement;
root.classList.add("js");

/* ---- the error summary takes the focus; its links lead into the field ---- */

function focusErrorSummary(within) {
  const summary = within.querySelector(".error-summary");
  if (summary) summary.focus();
}

function focusField(event) {
  const link = event.target.closest(".error-summary a[href^='#']");
  if (!link) return;
  const place = document.getElementById(decodeURIComponent(link.hash.slice(1)));
  if (!place) return;
  const control = place.matches("input, select, textarea")
    ? place
    : place.querySelector("input:not([type=hidden]), select, textarea");
  if (!control) return;
  event.preventDefault();
  control.focus();
  place.scrollIntoView({ block: "center" });
}

/* ---- plus and minus beside a number ---- */

function step(event) {
  const button = event.target.closest("[data-step]");
  if (!button) return;
  const input = button.closest(".stepper").querySelector("input");
  // The browser gives the value of a number field with a point in every language.
  const size = Number(input.step) || 1;
  const least = input.min === "" ? -Infinity : Number(input.min);
  const most = input.max === "" ? Infinity : Number(input.max);
  const next = (Number(input.value) || 0) + Number(button.dataset.step) * size;
  input.value = String(Math.min(most, Math.max(least, next)));
  input.dispatchEvent(new Event("input", { bubbles: true }));
  input.dispatchEvent(new Event("change", { bubbles: true }));
}

/* ---- the unit last chosen for a figure is offered again ---- */

function rememberUnit(event) {
  const select = event.target.closest(".quantity > select");
  if (!select) return;
  try {
    localStorage.setItem(`unit:${select.name}`, select.value);
  } catch {
    // A browser that keeps nothing offers the first unit each time.
  }
}

function offerUnits() {
  for (const select of document.querySelectorAll(".quantity > select")) {
    // A figure that stands there already has its unit.
    if (select.parentElement.querySelector("input").value !== "") continue;
    try {
      const unit = localStorage.getItem(`unit:${select.name}`);
      if ([...select.options].some((option) => option.value === unit)) select.value = unit;
    } catch {
      return;
    }
  }
}

/* ---- what a typed figure is read as, under the field, where it might be read otherwise ---- */

/* Return "= 1.25" for "1,250" typed where the comma is the decimal sign, and "= 1.4 lb" for
   "1 lb 6.4 oz"; an empty text for a figure that reads as it is written, or cannot be read. */
function reading(input) {
  const { decimalSign } = root.dataset;
  const { typed: kind, unit: ownUnit } = input.dataset;
  const typed = input.value.trim();
  if (/^[0-9]*([.,][0-9]{0,2})?$/.test(typed)) return "";
  try {
    if (kind === "number" || !/[a-zñáéíóú'"′″’”]/i.test(typed)) {
      const written = writeNumber(readNumber(typed, decimalSign), decimalSign);
      return written === typed ? "" : `= ${written}`;
    }
    const select = input.closest(".quantity")?.querySelector("select");
    const unit = select?.value ?? ownUnit;
    const written = writeNumber(
      inUnit(readQuantity(typed, kind, unit, decimalSign), unit),
      decimalSign,
    );
    return `= ${written} ${select?.selectedOptions[0].text ?? unit}`;
  } catch (error) {
    if (!(error instanceof Mistyped)) throw error;
    return ""; // What is wrong with it is said when the form is sent.
  }
}

/* Return "= 566.99 · 581.165 g" for "1 lb 4 oz, 1 lb 4 1/2 oz"; an empty text for a list of plain
   numbers, and where one of the weights cannot be read. */
function readingOfList(input) {
  const { decimalSign } = root.dataset;
  const unit = input.form.elements.unit.value;
  const typed = entries(input.value, "weight", decimalSign);
  if (typed.every((entry) => /^[0-9.,]+$/.test(entry))) return "";
  try {
    const grams = typed.map((entry) =>
      writeNumber(inUnit(readQuantity(entry, "weight", unit, decimalSign), "g"), decimalSign),
    );
    return `= ${grams.join(" · ")} g`;
  } catch (error) {
    if (!(error instanceof Mistyped)) throw error;
    return ""; // What is wrong with it is said when the form is sent.
  }
}

function showReading(event) {
  const place = event.target.closest(".quantity, .amount") ?? event.target;
  const input = place.matches("input, textarea") ? place : place.querySelector("input");
  if (!input?.dataset.typed) return;
  let line = place.parentElement.querySelector(":scope > .reading");
  if (!line) {
    line = document.createElement("p");
    line.className = "reading";
    line.setAttribute("aria-live", "polite");
    place.after(line);
  }
  line.textContent = input.dataset.typed === "weights" ? readingOfList(input) : reading(input);
}

/* A line that could not be asked for again would tell of figures that were changed since. */
function clearConversion(event) {
  if (event.target.matches(".conversion")) event.target.textContent = "";
}

/* ---- ask before, and send once ---- */

function confirmFirst(event) {
  const asker = event.submitter?.dataset.confirm ? event.submitter : event.target;
  const question = asker.dataset.confirm;
  if (question && !window.confirm(question)) {
    event.preventDefault();
    event.stopImmediatePropagation();
  }
}

function sendOnce(event) {
  const form = event.target;
  if (event.defaultPrevented || form.method !== "post") return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  // After the browser has read the form, so that the pressed button's value still goes along.
  setTimeout(() => {
    for (const button of form.querySelectorAll("button[type=submit], button:not([type])")) {
      button.setAttribute("aria-disabled", "true");
    }
  }, 0);
}

function allowAgain(form) {
  delete form.dataset.sent;
  for (const button of form.querySelectorAll("[aria-disabled=true]")) {
    button.removeAttribute("aria-disabled");
  }
}

/* A page met again through the history gets the keys it had, so that its act counts once. */
function keepKeys() {
  const keys = [...document.querySelectorAll("form input[type=hidden][name=key]")];
  const kept = history.state?.keys;
  if (kept?.length === keys.length) {
    for (const [place, key] of keys.entries()) key.value = kept[place];
  } else {
    history.replaceState({ ...history.state, keys: keys.map((key) => key.value) }, "");
  }
}

function printPage(event) {
  if (event.target.closest("[data-print]")) window.print();
}

document.addEventListener("click", focusField);
document.addEventListener("click", step);
document.addEventListener("click", printPage);
document.addEventListener("input", showReading);
document.addEventListener("change", rememberUnit);
document.addEventListener("submit", confirmFirst, true);
document.addEventListener("submit", sendOnce);
document.addEventListener("htmx:sendError", clearConversion);
document.addEventListener("htmx:responseError", clearConversion);
document.addEventListener("htmx:afterSwap", (event) => focusErrorSummary(event.target));
// Coming back with the browser's back button shows the page as it was left.
window.addEventListener("pageshow", () => document.querySelectorAll("form").forEach(allowAgain));

offerUnits();
keepKeys();
focusErrorSummary(document);
