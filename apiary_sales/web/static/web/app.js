/* Small help for pages that work without it: nothing here is needed to finish a task. */
(() => {
  "use strict";

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

  /* ---- the live line under a quantity ---- */

  const waiting = new WeakMap();
  const asked = new WeakMap();

  function conversionLine(box) {
    const field = box.closest(".field") || box;
    let line = field.querySelector(".conversion");
    if (!line) {
      line = document.createElement("p");
      line.className = "conversion";
      line.setAttribute("aria-live", "polite");
      field.append(line);
    }
    return line;
  }

  async function convert(box, form) {
    const line = conversionLine(box);
    const data = new FormData(form);
    data.delete("csrfmiddlewaretoken");
    const url = new URL(box.dataset.convertUrl, location.href);
    for (const [name, value] of data) {
      if (typeof value === "string") url.searchParams.set(name, value);
    }
    // The last question asked is the one whose answer is shown.
    const question = Symbol("question");
    asked.set(line, question);
    try {
      const answer = await fetch(url, { headers: { "HX-Request": "true" } });
      const text = answer.ok ? await answer.text() : "";
      if (asked.get(line) !== question) return;
      const parsed = new DOMParser().parseFromString(text, "text/html");
      line.textContent = parsed.body.textContent.trim().replace(/\s+/g, " ");
    } catch {
      if (asked.get(line) === question) line.textContent = "";
    }
  }

  function askForConversion(event) {
    const form = event.target.form;
    if (!form) return;
    for (const box of form.querySelectorAll("[data-convert-url]")) {
      // Moisture and temperature change the answer too, so every field of the form asks again.
      clearTimeout(waiting.get(box));
      waiting.set(box, setTimeout(() => convert(box, form), 250));
    }
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
    if (kept?.length === keys.length) keys.forEach((key, index) => (key.value = kept[index]));
    else history.replaceState({ ...history.state, keys: keys.map((key) => key.value) }, "");
  }

  /* ---- copy, print, submit on change ---- */

  async function copyOrPrint(event) {
    const button = event.target.closest("[data-copy], [data-print]");
    if (!button) return;
    if (button.hasAttribute("data-print")) {
      window.print();
      return;
    }
    await navigator.clipboard.writeText(button.dataset.copy);
    const before = button.textContent;
    button.textContent = button.dataset.copied || before;
    setTimeout(() => (button.textContent = before), 2000);
  }

  function submitOnChange(event) {
    const form = event.target.closest("form[data-submit-on-change]");
    if (form) form.requestSubmit();
  }

  document.addEventListener("click", focusField);
  document.addEventListener("click", step);
  document.addEventListener("click", copyOrPrint);
  document.addEventListener("input", askForConversion);
  document.addEventListener("change", submitOnChange);
  document.addEventListener("change", rememberUnit);
  document.addEventListener("submit", confirmFirst, true);
  document.addEventListener("submit", sendOnce);
  document.addEventListener("htmx:afterRequest", (event) => {
    const form = event.target.closest("form");
    if (form) allowAgain(form);
  });
  document.addEventListener("htmx:afterSwap", (event) => focusErrorSummary(event.target));
  // Coming back with the browser's back button shows the page as it was left.
  window.addEventListener("pageshow", () => document.querySelectorAll("form").forEach(allowAgain));

  offerUnits();
  keepKeys();
  focusErrorSummary(document);
})();
