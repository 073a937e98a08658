/* What can be sold and where: the newest catalogue that the server sent, its tiles, and the search
   over them. */

import * as figures from "./figures.js";
import {
  button,
  calmly,
  dayOf,
  make,
  part,
  say,
  show,
  showPrice,
  showRows,
  till,
  write,
  writeMoneyAs,
} from "./screen.js";

// With so many products a search helps, and the tiles can be narrowed down.
const MANY_PRODUCTS = 8;

const cameraButton = till.querySelector("[data-act=scan]");
const searchInput = document.getElementById("till-search");

// The page that is kept on the device names nobody: whose sale it is, is known from the last catalogue
// that the server sent, or when it is sent.
const { nobody, people } = till.dataset;
const knowsPeople = people !== undefined;
const NOBODY = { me: { id: null, name: nobody }, sellers: [], pickups: [] };
let data = { ...JSON.parse(till.dataset.till), ...(knowsPeople ? JSON.parse(people) : NOBODY) };
let products = new Map();
let weighed = new Map();
let gone = new Map();
let inBasket = new Map();
let place = null;
let narrowed = "";

/* The newest catalogue as the server sent it. */
export const latest = () => data;
export const productOf = (code) => products.get(code);
export const offerOf = (key) => weighed.get(key);
export const placeNow = () => place;
export const placeCalled = (code) => data.places.find((each) => each.code === code);

function readIn(fresh) {
  data = fresh;
  products = new Map(data.products.map((product) => [product.code, product]));
  weighed = new Map(data.weighed.map((offer) => [offer.key, offer]));
  writeMoneyAs(data.money);
}
readIn(data);

/* The products whose prices are others than in an earlier catalogue, as {product, before, after} in
   cents of a piece. */
export function changedSince(earlier) {
  const before = new Map(earlier.products.map((product) => [product.code, product]));
  return data.products.flatMap((product) => {
    const old = before.get(product.code);
    if (!old || JSON.stringify(old.breaks) === JSON.stringify(product.breaks)) return [];
    return [{ product, before: figures.lineCents(old, 1), after: figures.lineCents(product, 1) }];
  });
}

/* Take in what this device kept for the person who signed in last: `isTheirs` tells whether it is of
   that person. It may be newer than the page, or know people whom the page does not. */
export function takeInKept(kept, isTheirs) {
  const { me, sellers, pickups } = !isTheirs ? data : kept;
  if (takeIn({ ...kept, me, sellers, pickups }) || knowsPeople) return;
  data = { ...data, me, sellers, pickups };
}

/* Take a catalogue in, and answer whether it was newer than the one there is. */
export function takeIn(fresh) {
  if (fresh.made_at <= data.made_at) return false;
  readIn(fresh);
  place = placeCalled(place?.code) ?? data.places[0] ?? null;
  return true;
}

export function goTo(code) {
  place = placeCalled(code) ?? data.places[0] ?? null;
}

/* Pieces free at the place, less those sold here that the catalogue has not heard of. */
export function leftOf(code) {
  return (products.get(code)?.at[place?.code]?.free ?? 0) - (gone.get(code) ?? 0);
}

export const weighedHere = () =>
  data.weighed.filter((offer) => place && offer.places.includes(place.code));

/* ---- the tiles ---- */

/* Those that were sold most come first, in the order of the first look: a tile does not move while
   a person sells. */
const order = new Map(
  [...data.products]
    .sort((one, other) => other.sold - one.sold || one.name.localeCompare(other.name))
    .map(({ code }, index) => [code, index]),
);

function inOrder() {
  for (const { code } of data.products) if (!order.has(code)) order.set(code, order.size);
  return [...data.products].sort((one, other) => order.get(one.code) - order.get(other.code));
}

function groupOf({ kind, variety }) {
  return kind === "honey" && variety ? `variety:${variety}` : `kind:${kind}`;
}

function isShown(product) {
  if (narrowed && groupOf(product) !== narrowed) return false;
  const search = searchInput.value.trim();
  return !search || figures.isFound(`${product.name} ${product.variety} ${product.code}`, search);
}

function makeTile({ code }) {
  return make(
    "li",
    {},
    make(
      "button",
      { type: "button", class: "product", dataset: { product: code } },
      make("span", { class: "product-name" }),
      make("span", { class: "product-price" }),
      make("span", { class: "product-count", dataset: { part: "count" } }),
      make("span", { class: "product-stock", dataset: { part: "stock" } }),
      make("span", { class: "product-stock", dataset: { part: "setting" } }),
    ),
    button("", undefined, { class: "offer", dataset: { offer: code } }),
  );
}

function changeTile(tile, product) {
  const left = leftOf(product.code);
  const { setting, ready_on } = product.at[place?.code] ?? {};
  const count = inBasket.get(product.code) ?? 0;
  const stock = part("stock", tile);
  write(tile.querySelector(".product-name"), product.name);
  write(tile.querySelector(".product-price"), show(figures.lineCents(product, 1)));
  write(stock, left > 0 ? say("here", { count: left }) : say("none_here"));
  stock.classList.toggle("none", left <= 0);
  write(
    part("setting", tile),
    setting ? say("setting", { count: setting, day: dayOf(`${ready_on}T12:00`) }) : "",
  );
  write(part("count", tile), count ? say("in_sale", { count }) : "");
  tile.querySelector(".product").classList.toggle("chosen", count > 0);
  const offer = figures.nextOffer(product);
  const offering = tile.querySelector(".offer");
  offering.hidden = !offer;
  if (!offer) return;
  const values = { count: offer.pieces, price: show(offer.cents) };
  write(offering, say(offer.is_case ? "offer_case" : "offer", values));
  offering.setAttribute("aria-label", `${product.name}: ${offering.textContent}`);
  offering.dataset.pieces = String(offer.pieces);
}

function showChips() {
  const groups = new Map();
  for (const product of inOrder()) {
    const group = groupOf(product);
    const name = group.startsWith("variety:") ? product.variety : say(`kind_${product.kind}`);
    groups.set(group, name);
  }
  const box = part("chips");
  box.hidden = data.products.length <= MANY_PRODUCTS || groups.size < 2;
  if (box.hidden) narrowed = "";
  const chips = [["", say("all_products")], ...groups];
  showRows(
    box,
    chips,
    ([group]) => group,
    ([group]) => button("", () => narrowTo(group), { class: "chip" }),
    (chip, [group, name]) => {
      write(chip, name);
      chip.setAttribute("aria-pressed", String(group === narrowed));
    },
  );
}

function narrowTo(group) {
  narrowed = group;
  showNow();
}

function showWeighed() {
  const offers = narrowed
    ? []
    : weighedHere().filter(
        ({ name }) => !searchInput.value.trim() || figures.isFound(name, searchInput.value),
      );
  part("weighed-box").hidden = offers.length === 0;
  showRows(
    part("weighed"),
    offers,
    ({ key }) => key,
    ({ key }) =>
      make(
        "li",
        {},
        make(
          "button",
          { type: "button", class: "product", dataset: { weighed: key } },
          make("span", { class: "product-name" }),
          make("span", { class: "product-price" }),
        ),
      ),
    (tile, offer) => {
      write(tile.querySelector(".product-name"), offer.name);
      const price = offer.price_per_pound;
      const written = price && say("per_pound", { price: showPrice(price) });
      write(tile.querySelector(".product-price"), written || say("no_price_per_pound"));
    },
  );
}

function showPickups() {
  part("pickups-box").hidden = data.pickups.length === 0;
  write(part("pickups-count"), say("pickups", { count: data.pickups.length }));
  showRows(
    part("pickups"),
    data.pickups,
    ({ order: number }) => number,
    ({ url }) => make("li", {}, make("a", { href: url }), make("span", { class: "quiet" })),
    (row, pickup) => {
      write(row.querySelector("a"), `${pickup.customer}: ${pickup.text}`);
      write(row.querySelector("span"), `${pickup.order} · ${show(pickup.to_pay_cents)}`);
    },
  );
}

function showNow() {
  const tiles = inOrder().filter(isShown);
  showChips();
  part("search-row").hidden = data.products.length <= MANY_PRODUCTS && cameraButton.hidden;
  showRows(part("products"), tiles, ({ code }) => code, makeTile, changeTile);
  showWeighed();
  part("none-found").hidden = tiles.length > 0 || !part("weighed-box").hidden;
  showPickups();
}

/* Show what is there and how much: `goneHere` are pieces by product that the stock still has,
   `counts` the pieces in the basket. What a tap changed is shown at once, the rest calmly. */
export function showTiles({ goneHere = gone, counts = inBasket, isTapped = false } = {}) {
  gone = goneHere;
  inBasket = counts;
  if (isTapped) showNow();
  else calmly("tiles", showNow);
}

/* ---- the search ---- */

/* `add(code)` is called for the one product that Enter in the search finds. */
export function startSearch(add) {
  searchInput.addEventListener("input", showNow);
  searchInput.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    const shown = inOrder().filter(isShown);
    const found =
      figures.findScanned(data.products, searchInput.value) ??
      (shown.length === 1 ? shown[0] : null);
    if (!found || !searchInput.value.trim()) return;
    searchInput.value = "";
    add(found.code);
    showNow();
  });
}
