/* The box of a form that asks for a customer: it offers those who fit what is typed. Arrows go
   through them, Enter takes one, Escape closes. Without this script a name is typed as a whole. */

const WAIT_MS = 200;
let waiting = null;
let asked = 0;

function partsOf(input) {
  const box = input.closest("[data-customer-box]");
  return { box, list: box.querySelector("[role=listbox]"), first: box.querySelector("template") };
}

function boxOf(event) {
  const input = event.target;
  return input.matches?.("[data-customer-box] > [role=combobox]") ? input : null;
}

function options(list) {
  return [...list.querySelectorAll("[role=option]:not([aria-disabled])")];
}

function close(input) {
  clearTimeout(waiting);
  asked += 1; // An answer that is still on its way comes too late.
  const { list } = partsOf(input);
  list.hidden = true;
  list.replaceChildren();
  input.setAttribute("aria-expanded", "false");
  input.removeAttribute("aria-activedescendant");
}

function show(input, names) {
  const { list, first } = partsOf(input);
  list.innerHTML = names;
  if (first && input.value.trim() === "") list.prepend(first.content.cloneNode(true));
  for (const [place, option] of options(list).entries()) option.id = `${list.id}_${place}`;
  list.hidden = false;
  input.setAttribute("aria-expanded", "true");
  input.removeAttribute("aria-activedescendant");
}

async function ask(input) {
  asked += 1;
  const mine = asked;
  const url = new URL(partsOf(input).box.dataset.customerBox, window.location.href);
  url.searchParams.set("words", input.value);
  try {
    const answer = await fetch(url, { headers: { "HX-Request": "true" } });
    const names = answer.ok && !answer.redirected ? await answer.text() : null;
    if (mine !== asked || document.activeElement !== input) return;
    if (names === null) close(input);
    else show(input, names);
  } catch {
    // Without a connection the name can still be typed as a whole.
    if (mine === asked) close(input);
  }
}

function go(input, step) {
  const { list } = partsOf(input);
  const there = options(list);
  if (list.hidden || there.length === 0) {
    ask(input);
    return;
  }
  const at = there.findIndex((option) => option.getAttribute("aria-selected") === "true");
  const begin = step > 0 ? 0 : there.length - 1;
  const next = at < 0 ? begin : (at + step + there.length) % there.length;
  for (const option of there) option.setAttribute("aria-selected", String(option === there[next]));
  there[next].scrollIntoView({ block: "nearest" });
  input.setAttribute("aria-activedescendant", there[next].id);
}

function take(input, option) {
  input.value = option.dataset.name;
  close(input);
  input.dispatchEvent(new Event("change", { bubbles: true }));
}

document.addEventListener("input", (event) => {
  const input = boxOf(event);
  if (!input) return;
  clearTimeout(waiting);
  waiting = setTimeout(() => ask(input), WAIT_MS);
});

document.addEventListener("keydown", (event) => {
  const input = boxOf(event);
  if (!input || event.isComposing) return;
  const { list } = partsOf(input);
  if (event.key === "ArrowDown" || event.key === "ArrowUp") {
    event.preventDefault();
    go(input, event.key === "ArrowDown" ? 1 : -1);
  } else if (event.key === "Escape" && !list.hidden) {
    event.preventDefault();
    close(input);
  } else if (event.key === "Enter") {
    const chosen = options(list).find((option) => option.getAttribute("aria-selected") === "true");
    if (!chosen) return;
    event.preventDefault(); // The first Enter takes the name, the next one sends the form.
    take(input, chosen);
  }
});

document.addEventListener("click", (event) => {
  const input = boxOf(event);
  if (input && partsOf(input).list.hidden) ask(input);
  const option = event.target.closest("[data-customer-box] [role=option]:not([aria-disabled])");
  if (option) take(option.closest("[data-customer-box]").querySelector("[role=combobox]"), option);
});

// The box keeps the focus while a name is chosen with the mouse or a finger.
document.addEventListener("mousedown", (event) => {
  if (event.target.closest("[data-customer-box] [role=listbox]")) event.preventDefault();
});

document.addEventListener("focusout", (event) => {
  const input = boxOf(event);
  if (input) close(input);
});
