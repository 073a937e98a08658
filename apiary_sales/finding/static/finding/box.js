/* "Find anything": the key "/" leads into the box, arrows go through what is found, Escape leaves.
   Without this script the box is a form that leads to the page of results. */

const form = document.querySelector("[data-find]");
const input = form?.querySelector("input[type=search]");
const results = form?.querySelector("[data-find-results]");
const opener = document.querySelector(".find-open");

/* Where a person types, and where a scanner may, "/" is a sign like any other. */
const TYPED_INTO = "input, select, textarea, [contenteditable], [data-till]";

function isOpen() {
  return form.classList.contains("is-open");
}

function open() {
  form.classList.add("is-open");
  input.focus();
  input.select();
}

function close() {
  form.classList.remove("is-open");
  results.replaceChildren();
}

function leave() {
  const wasInside = form.contains(document.activeElement);
  input.value = "";
  close();
  if (!wasInside) return;
  // On a phone the box is hidden again; what opened it takes the focus back.
  if (opener.offsetParent) opener.focus();
  else document.querySelector("main")?.focus({ preventScroll: true });
}

function go(event) {
  const links = [...results.querySelectorAll("a")];
  if (links.length === 0) return;
  event.preventDefault();
  const at = links.indexOf(document.activeElement);
  const next = at + (event.key === "ArrowDown" ? 1 : -1);
  if (next < 0) input.focus();
  else links[Math.min(next, links.length - 1)].focus();
}

function onKey(event) {
  if (event.defaultPrevented || event.isComposing) return;
  const isInside = form.contains(event.target);
  if (isInside && event.key === "Escape") {
    event.preventDefault();
    leave();
  } else if (isInside && (event.key === "ArrowDown" || event.key === "ArrowUp")) {
    go(event);
  } else if (event.key === "/" && !event.ctrlKey && !event.metaKey && !event.altKey) {
    const isTyped = event.target.closest(TYPED_INTO);
    if (isTyped || document.querySelector("[data-till]:not([hidden])")) return;
    event.preventDefault();
    open();
  }
}

/* An answer that comes after the box was left or emptied is not shown. */
function dropLate(event) {
  if (event.detail.target === results && input.value.trim() === "") event.preventDefault();
}

if (form) {
  document.addEventListener("keydown", onKey);
  opener.addEventListener("click", (event) => {
    if (event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    if (isOpen()) leave();
    else open();
  });
  input.addEventListener("input", () => {
    if (input.value.trim() === "") results.replaceChildren();
  });
  document.addEventListener("htmx:beforeSwap", dropLate);
  document.addEventListener("pointerdown", (event) => {
    if (!form.contains(event.target) && !opener.contains(event.target)) close();
  });
  form.addEventListener("focusout", (event) => {
    if (event.relatedTarget && !form.contains(event.relatedTarget)) close();
  });
  input.addEventListener("focus", () => {
    if (results.childElementCount === 0 && input.value.trim() !== "") {
      window.htmx?.trigger(input, "input");
    }
  });
}
