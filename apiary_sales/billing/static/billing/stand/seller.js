/* Who sells: the person at the till may be another than the one who signed in. A change asks for
   the person's PIN, which the server looks at; without signal, a PIN that was right once on this
   device is right again. It changes whose name is on a sale, never what the device may do. */

import { latest } from "./catalogue.js";
import { ask, button, calmly, make, part, say, till, write } from "./screen.js";
import { device, recall, remember } from "./store.js";

const ROUNDS = 210000;
const TRIES = 5;
const LOCKED_MS = 5 * 60 * 1000;
const PATIENCE_MS = 6000;

let chosen = null;

/* The seller of the next sale: {id, name, proof}. With the proof, the server believes that the person
   sold here, whoever is signed in when the sale is sent. */
export function sellerNow() {
  const { me, sellers } = latest();
  // A person who signs in afterwards sells under the own name.
  if (chosen?.under !== me.id) return me;
  const { id, proof } = chosen;
  return { id, name: sellers.find((each) => each.id === id)?.name ?? chosen.name, proof };
}

/* The first word of a name, which a small screen has room for; all of it where two people share it. */
function shortName(name) {
  const first = name.split(" ")[0];
  const { me, sellers } = latest();
  const names = new Set([me, ...sellers].map((each) => each.name));
  return [...names].filter((each) => each.split(" ")[0] === first).length > 1 ? name : first;
}

export function showSeller() {
  calmly("seller", () => {
    const { name } = sellerNow();
    write(part("seller-name"), shortName(name));
    till
      .querySelector("[data-act=seller]")
      .setAttribute("aria-label", say("seller_change", { name }));
  });
}

async function take({ id, name }) {
  const { me } = latest();
  const proof = id === me.id ? me.proof : (await pinsKept())[id]?.proof;
  chosen = { id, name, proof, under: me.id };
  showSeller();
  await remember("seller", chosen);
}

/* ---- PINs that were right on this device ---- */

const bytesOf = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
const textOf = (bytes) => btoa(String.fromCharCode(...new Uint8Array(bytes)));

async function derive(pin, salt) {
  const material = await crypto.subtle.importKey(
    "raw",
    new TextEncoder().encode(pin),
    "PBKDF2",
    false,
    ["deriveBits"],
  );
  const rule = { name: "PBKDF2", hash: "SHA-256", salt, iterations: ROUNDS };
  return textOf(await crypto.subtle.deriveBits(rule, material, 256));
}

const pinsKept = async () => (await recall("pins")) ?? {};

async function keepPin(id, pin, proof) {
  const kept = { proof, wrong: 0, until: 0 };
  // Pages without a certificate have no such functions: they change sellers with signal only.
  if (crypto.subtle) {
    const salt = crypto.getRandomValues(new Uint8Array(16));
    Object.assign(kept, { salt: textOf(salt), hash: await derive(pin, salt) });
  }
  await remember("pins", { ...(await pinsKept()), [id]: kept });
}

/* Look at a PIN without the server: answers "" where it is right, else a sentence. */
async function lookHere({ id, name }, pin) {
  const pins = await pinsKept();
  const kept = pins[id];
  if (!kept?.hash || !crypto.subtle) return say("pin_needs_signal", { name });
  if (kept.until > Date.now())
    return say("pin_wait", { minutes: Math.ceil((kept.until - Date.now()) / 60000) });
  const isRight = (await derive(pin, bytesOf(kept.salt))) === kept.hash;
  const wrong = isRight ? 0 : kept.wrong + 1;
  const until = wrong >= TRIES ? Date.now() + LOCKED_MS : 0;
  await remember("pins", { ...pins, [id]: { ...kept, wrong: until ? 0 : wrong, until } });
  return isRight ? "" : say("pin_wrong");
}

async function look(person, pin, token) {
  let answer;
  let said;
  try {
    answer = await fetch(latest().urls.seller, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
      body: JSON.stringify({ seller: person.id, pin, device: await device() }),
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    said = await answer.json();
  } catch {
    return lookHere(person, pin);
  }
  // Somebody else may have answered: the portal of a public network.
  if (answer.headers.get("X-Stand") !== "1") return lookHere(person, pin);
  if (answer.ok && said.id === person.id) {
    await keepPin(person.id, pin, said.proof);
    return "";
  }
  return said.message ?? lookHere(person, pin);
}

/* ---- the change ---- */

async function askPin(person, token) {
  const input = make("input", {
    id: "till-pin",
    type: "password",
    inputmode: "numeric",
    autocomplete: "off",
    maxlength: "12",
    "aria-describedby": "till-pin-problem",
  });
  const problem = make("p", { class: "errors", id: "till-pin-problem", role: "alert" });
  const confirm = button(say("pin_ok", { name: person.name }), undefined, {
    class: "button button-wide",
  });
  const form = make(
    "form",
    { class: "stack" },
    make(
      "div",
      { class: "field" },
      make("label", { for: "till-pin", text: say("pin_of", { name: person.name }) }),
      input,
    ),
    problem,
    confirm,
  );
  confirm.type = "submit";
  const isRight = await ask({
    title: person.name,
    body: [form],
    choices: [{ value: null, text: say("cancel") }],
    onOpen: (answer) => {
      input.focus();
      form.addEventListener("submit", async (event) => {
        event.preventDefault();
        if (confirm.getAttribute("aria-disabled") === "true" || !input.value) return;
        confirm.setAttribute("aria-disabled", "true");
        const wrong = await look(person, input.value, token);
        confirm.removeAttribute("aria-disabled");
        if (!wrong) {
          answer(true);
          return;
        }
        problem.textContent = wrong;
        input.value = "";
        input.focus();
      });
    },
  });
  return isRight === true;
}

/* Ask who sells from now on. */
async function change(token) {
  const { me, sellers } = latest();
  const people = sellers.some(({ id }) => id === me.id)
    ? sellers
    : [{ ...me, has_pin: false }, ...sellers];
  const id = await ask({
    title: say("who_sells"),
    choices: [
      ...people.map(({ id: value, name }) => ({
        value,
        text: name,
        isMain: value === sellerNow().id,
      })),
      { value: null, text: say("cancel") },
    ],
  });
  const person = people.find((each) => each.id === id);
  if (!person || person.id === sellerNow().id) return;
  if (!person.has_pin && person.id !== me.id) {
    await ask({
      title: person.name,
      text: say("no_pin", { name: person.name }),
      choices: [{ value: null, text: say("ok") }],
    });
    return;
  }
  if (!person.has_pin || (await askPin(person, token))) await take(person);
}

/* `token()` protects against forged requests. */
export async function startSeller(token) {
  chosen = (await recall("seller")) ?? null;
  till.querySelector("[data-act=seller]").addEventListener("click", () => change(token));
  showSeller();
}
