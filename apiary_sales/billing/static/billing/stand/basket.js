/* The baskets, one for each place: what is in them, and what a person does with them. A basket is
   {lines, way, typed, tip}: lines are {product, pieces} or {weighed, grams, …}, both by code; `way`
   is how the price of the whole is changed ("amount", "percent" or "named") by what is `typed`. One
   that mends a sale has that sale's entry as `mends`, and the basket put aside meanwhile. A line
   keeps what is sold as it was when it was tapped, as `goods`: the catalogue may lose it meanwhile,
   and the buyer has it in hand. */

import * as catalogue from "./catalogue.js";
import * as figures from "./figures.js";
import {
  button,
  centsTyped,
  make,
  numberTyped,
  part,
  say,
  show,
  showPrice,
  showRows,
  till,
  typedAmount,
  weightOf,
  write,
} from "./screen.js";
import { newKey, remember } from "./store.js";

const wayInputs = document.querySelectorAll("[name=till-way]");
const typedInput = document.getElementById("till-discount");
const tipInput = document.getElementById("till-tip");

let baskets = {};
let onChange = () => {};

const empty = () => ({ lines: [], way: "amount", typed: "", tip: "" });

export function current() {
  const code = catalogue.placeNow()?.code ?? "";
  baskets[code] ??= empty();
  return baskets[code];
}

function setCurrent(basket) {
  baskets[catalogue.placeNow()?.code ?? ""] = basket;
  changed();
}

function keep() {
  remember("basket", structuredClone(baskets));
}

function changed() {
  keep();
  showTyped();
  onChange();
}

/* Take up the baskets that were kept; `act` is called after each change. */
export function start(kept, act) {
  baskets = kept ?? {};
  onChange = act;
  showTyped();
}

export const isEmpty = () => current().lines.length === 0;
export const mended = () => current().mends ?? null;

/* ---- what is put in and taken out ---- */

export function add(code, pieces = 1) {
  const line = current().lines.find(({ product }) => product === code);
  put(code, (line?.pieces ?? 0) + pieces);
}

export function put(code, pieces) {
  const basket = current();
  const line = basket.lines.find(({ product }) => product === code);
  const within = Math.min(pieces, figures.PIECES_MAX);
  if (line && pieces > 0) line.pieces = within;
  else if (line) basket.lines.splice(basket.lines.indexOf(line), 1);
  else if (pieces > 0)
    basket.lines.push({ product: code, pieces: within, goods: catalogue.productOf(code) });
  changed();
}

export function addWeighed(line) {
  const goods = catalogue.offerOf(line.weighed);
  current().lines.push({ ...line, id: newKey(), goods });
  changed();
}

function takeOut(line) {
  const { lines } = current();
  lines.splice(lines.indexOf(line), 1);
  changed();
}

/* Take the basket away to be sold: what is tapped from now on is in the next one. */
export function take() {
  const basket = current();
  setCurrent(basket.aside ?? empty());
  return basket;
}

export const clear = () => take();

/* Move what is in the basket of this place to the basket of another. */
export function carryTo(code) {
  const carried = take();
  baskets[code] ??= empty();
  const target = baskets[code];
  for (const line of carried.lines) {
    const same = line.product && target.lines.find(({ product }) => product === line.product);
    if (same) same.pieces = Math.min(same.pieces + line.pieces, figures.PIECES_MAX);
    else target.lines.push(line);
  }
  if (!target.typed) Object.assign(target, { way: carried.way, typed: carried.typed });
  target.tip ||= carried.tip;
  keep();
}

/* Put a sale that is kept here into the basket, to be changed and sold once more under its key. */
export function mend(entry) {
  const { lines, discount_cents: discount = 0, on_top_cents: onTop = 0 } = entry.body;
  setCurrent({
    lines: lines.map((line, index) => {
      const goods = entry.goods?.[index] ?? goodsOf(line);
      if (line.weighed) return { ...line, grams: gramsOf(line), id: newKey(), goods };
      const product = line.product ?? line.size;
      return {
        product,
        pieces: line.pieces,
        was: { pieces: line.pieces, unit_price: line.unit_price },
        goods,
      };
    }),
    way: "amount",
    typed: discount ? typedAmount(discount) : "",
    tip: onTop ? typedAmount(onTop) : "",
    mends: entry,
    aside: current(),
  });
}

export const gramsOf = ({ net_grams: net, gross_grams: gross, tare_grams: tare }) =>
  net ?? gross - tare;

/* What a line of a sale sells, as far as the line alone says it: for a sale that was kept before
   its goods were kept with it. */
function goodsOf({ product, size, weighed, unit_price }) {
  const code = weighed ?? product ?? size;
  const piece_cents = Math.round(Number(unit_price) * 100);
  const breaks = [{ pieces: 1, piece_cents, case_cents: null }];
  return { code, name: code, per_case: 1, taxed_as: "other", breaks };
}

/* ---- what it comes to ---- */

const inCatalogue = ({ product, weighed }) =>
  product ? catalogue.productOf(product) : catalogue.offerOf(weighed);

/* The lines with what they sell. One whose product is not in the catalogue any more stays as it was
   tapped: the sale goes on, and the books mark what does not fit. */
function filled() {
  return current().lines.flatMap((line) => {
    const product = inCatalogue(line) ?? line.goods;
    return product ? [{ ...line, product, line }] : [];
  });
}

/* What the basket comes to: `total` is goods less discount plus tax, `to_pay` has what is on top;
   `problem` is a sentence about what is typed, and `at` its field. */
export function reckon() {
  const { way, typed, tip } = current();
  const { tax } = catalogue.latest();
  const lines = filled();
  const { whole } = figures.reckon(lines, 0, tax);
  let discount = 0;
  let onTop = 0;
  let problem = "";
  if (way === "amount") {
    discount = centsTyped(typed) ?? 0;
    const { wrong } = figures.reckon(lines, discount, tax);
    if (wrong)
      problem = say(`discount_${wrong}`, {
        discount: Number.isNaN(discount) ? "" : show(discount),
        whole: show(whole),
      });
  } else if (way === "percent") {
    const percent = numberTyped(typed);
    discount = percent === null ? 0 : figures.percentOf(whole, percent);
    if (!(discount <= whole)) problem = say("percent_unread");
  } else {
    const named = centsTyped(typed);
    if (named === null) discount = 0;
    else if (named >= 0) ({ discount, on_top: onTop } = figures.nameTotal(lines, named, tax));
    else problem = say("named_unread");
  }
  if (problem) discount = 0;
  const tipped = centsTyped(tip) ?? 0;
  const isTip = tipped >= 0;
  const sums = figures.reckon(lines, discount, tax);
  const on_top = onTop + (isTip ? tipped : 0);
  return {
    ...sums,
    on_top,
    to_pay: sums.total + on_top,
    problem,
    tipProblem: isTip ? "" : say("tip_unread"),
  };
}

export function piecesByProduct() {
  return new Map(
    current()
      .lines.filter(({ product }) => product)
      .map(({ product, pieces }) => [product, pieces]),
  );
}

export function countOf(lines) {
  return lines.reduce((sum, { pieces = 1 }) => sum + pieces, 0);
}

/* Let the whole sale cost what the buyer pays, with no tip in it. */
export function nameTotal(cents) {
  Object.assign(current(), { way: "named", typed: typedAmount(cents), tip: "" });
  changed();
}

/* ---- what is shown ---- */

function showTyped() {
  const { way, typed, tip } = current();
  for (const input of wayInputs) input.checked = input.value === way;
  if (typedInput.value !== typed) typedInput.value = typed;
  if (tipInput.value !== tip) tipInput.value = tip;
  write(part("way-label"), say(`way_${way}`));
  write(part("way-unit"), way === "percent" ? "%" : "");
}

const keyOfLine = ({ line }) => line.product ?? line.id;

function makeLine({ line, product }) {
  const row = make(
    "li",
    {},
    make("span", { class: "name", text: product.name }),
    make("span", { class: "amount" }),
  );
  if (line.weighed) {
    row.append(
      button(say("take_out"), () => takeOut(line), {
        class: "button-link",
        "aria-label": `${say("take_out")}: ${product.name}`,
      }),
      make("span", { class: "line-note", dataset: { part: "line-note" } }),
    );
    return row;
  }
  const code = line.product;
  const pieces = () => current().lines.find((each) => each.product === code)?.pieces ?? 0;
  const input = make("input", {
    type: "number",
    inputmode: "numeric",
    min: "0",
    "aria-label": product.name,
  });
  input.addEventListener("change", () => put(code, Math.floor(Number(input.value)) || 0));
  row.append(
    make(
      "span",
      { class: "stepper" },
      button("−", () => put(code, pieces() - 1), {
        class: "",
        "aria-label": say("one_less", { name: product.name }),
      }),
      input,
      button("+", () => put(code, pieces() + 1), {
        class: "",
        "aria-label": say("one_more", { name: product.name }),
      }),
    ),
    make("span", { class: "line-note", dataset: { part: "line-note" } }),
  );
  return row;
}

function changeLine(row, { line, product, pieces, cents, grams }) {
  if (line.weighed) {
    const at = say("weight_at", { weight: weightOf(grams), price: showPrice(line.unit_price) });
    write(row.querySelector(".amount"), `${at} · ${show(cents)}`);
    write(part("line-note", row), inCatalogue(line) ? "" : say("gone_from_list"));
    return;
  }
  write(row.querySelector(".amount"), show(cents));
  const input = row.querySelector("input");
  if (input.value !== String(pieces)) input.value = String(pieces);
  const left = Math.max(0, catalogue.leftOf(product.code));
  const short = pieces > left ? say("more_than_here", { count: left }) : "";
  write(part("line-note", row), inCatalogue(line) ? short : say("gone_from_list"));
}

/* Show the basket and answer what it comes to. */
export function showBasket() {
  const sums = reckon();
  const { lines, discount, tax, total, on_top, to_pay, problem, tipProblem } = sums;
  const taxData = catalogue.latest().tax;
  showRows(part("lines"), lines, keyOfLine, makeLine, changeLine);
  part("empty").hidden = lines.length > 0;
  part("sum").hidden = lines.length === 0;
  till.querySelector("[data-act=clear]").hidden = lines.length === 0 || Boolean(mended());
  write(part("discount-problem"), problem);
  typedInput.setAttribute("aria-invalid", String(problem !== ""));
  write(part("tip-problem"), tipProblem);
  tipInput.setAttribute("aria-invalid", String(tipProblem !== ""));
  part("discount-row").hidden = discount === 0;
  write(part("discount"), show(-discount));
  const names = figures.taxNames(lines, taxData);
  part("tax-row").hidden = names === "";
  write(part("tax-name"), taxData.included ? say("tax_included", { name: names }) : names);
  write(part("tax"), show(tax));
  part("on-top-row").hidden = on_top === 0;
  write(part("on-top"), show(on_top));
  write(part("total"), show(to_pay));
  const count = countOf(lines);
  const pieces = count === 1 ? say("pieces_one") : say("pieces_many", { count });
  const inBar = `${pieces} · ${show(to_pay)}`;
  // The next buyer's goods must not be put into a sale that was made before.
  write(part("bar-text"), mended() ? say("mending_bar", { text: inBar }) : inBar);
  till.dataset.filled = String(lines.length > 0);
  part("mending").hidden = !mended();
  return { ...sums, total };
}

function startFields() {
  for (const input of wayInputs) {
    input.addEventListener("change", () => {
      Object.assign(current(), { way: input.value, typed: "" });
      changed();
      typedInput.focus();
    });
  }
  typedInput.addEventListener("input", () => {
    current().typed = typedInput.value;
    changed();
  });
  tipInput.addEventListener("input", () => {
    current().tip = tipInput.value;
    changed();
  });
}
startFields();
