/* What a sale at the stand comes to, in whole cents: the same whole-number arithmetic as the
   server's, and tested with the same tables. Reads no page and keeps nothing.

   A line of a basket is {product, pieces}, or {product, grams, unit_price} for what is weighed. A
   line with `was` keeps the price it was sold at for the pieces it was sold with. */

export const PIECES_MAX = 1000;

const NOTES_CENTS = [100, 500, 1000, 2000, 5000, 10000];
const POUND_GRAMS = "453.59237";

function roundHalfEven(number, divisor) {
  const whole = Math.floor(number / divisor);
  const rest = number - whole * divisor;
  if (rest * 2 === divisor) return whole + (whole % 2);
  return rest * 2 > divisor ? whole + 1 : whole;
}

/* Price of one piece in hundredths of a cent: whole cases at the case price, unless the piece
   price for so many is lower still; see PricesOfProduct.unit_price. */
export function unitPrice(product, pieces) {
  const fitting = product.breaks.filter((row) => row.pieces <= pieces);
  const reached = fitting.length ? fitting : product.breaks.slice(0, 1);
  const each = reached.at(-1).piece_cents * 100;
  const caseCents = reached.findLast((row) => row.case_cents !== null)?.case_cents;
  if (caseCents === undefined || pieces % product.per_case !== 0) return each;
  return Math.min(each, roundHalfEven(caseCents * 100, product.per_case));
}

/* The price of one piece as it is sent and booked: "7.9167". */
export function priceSent(product, pieces) {
  return (unitPrice(product, pieces) / 10000).toFixed(4);
}

export function lineCents(product, pieces) {
  return Math.floor((unitPrice(product, pieces) * pieces + 50) / 100);
}

/* What a weight comes to at a price such as "6.5000" for so many grams: a pound, or the house's
   unit of weight; half a cent rounds up. */
export function weightCents(grams, price, unitGrams = POUND_GRAMS) {
  // A pound is 453.59237 g, so an amount is a whole number of these parts of a cent.
  const [whole, decimals = ""] = unitGrams.split(".");
  const unitParts = BigInt(whole + decimals.padEnd(5, "0"));
  const parts = BigInt(grams) * BigInt(hundredthsOfCent(price)) * 1000n;
  return Number((2n * parts + unitParts) / (2n * unitParts));
}

/* A typed weight, as a plain decimal of grams, in whole grams: half a gram to the even one. */
export function wholeGrams(grams) {
  const [whole, decimals = ""] = grams.split(".");
  const rest = Number(decimals.padEnd(1, "0")[0]);
  const isHalf = /^50*$/.test(decimals);
  if (isHalf) return Number(whole) + (Number(whole) % 2);
  return Number(whole) + (rest >= 5 ? 1 : 0);
}

/* The price of a line of a basket as it is sent, and what it comes to. */
export function priceOfLine({ product, pieces, grams, unit_price, was }) {
  if (grams !== undefined) {
    return { unit_price, cents: weightCents(grams, unit_price, product.unit_grams) };
  }
  if (was?.pieces !== pieces) {
    return { unit_price: priceSent(product, pieces), cents: lineCents(product, pieces) };
  }
  const each = hundredthsOfCent(was.unit_price);
  return { unit_price: was.unit_price, cents: Math.floor((each * pieces + 50) / 100) };
}

function hundredthsOfCent(price) {
  const [whole, decimals = ""] = price.split(".");
  return Number(whole + decimals.padEnd(4, "0").slice(0, 4));
}

/* What a tile offers in one tap beyond a piece: the next number of pieces that has a lower price
   each, or a case where that is nearer; null where there is none. */
export function nextOffer(product) {
  const single = unitPrice(product, 1);
  const counts = product.breaks.map((row) => row.pieces);
  if (product.per_case > 1 && product.breaks.some((row) => row.case_cents !== null)) {
    counts.push(product.per_case);
  }
  const better = counts.filter((pieces) => pieces > 1 && unitPrice(product, pieces) < single);
  if (better.length === 0) return null;
  const pieces = Math.min(...better);
  return { pieces, cents: lineCents(product, pieces), is_case: pieces === product.per_case };
}

/* Split cents by weights so that the shares add up; see split_cents. */
export function splitCents(total, weights) {
  const whole = weights.reduce((sum, weight) => sum + weight, 0);
  let running = 0;
  let given = 0;
  return weights.map((weight) => {
    running += weight;
    const upto = whole ? roundHalfEven(total * running, whole) : 0;
    const share = upto - given;
    given = upto;
    return share;
  });
}

/* The tax on amounts: `parts` is the rate on each in ten-thousandths of a percent, `byLine` whether
   each is rounded by itself; see round_taxes. */
export function taxCents(amounts, parts, byLine) {
  const exact = amounts.map((cents, place) => cents * parts[place]);
  const rounded = (tax) => Math.floor((tax + 500000) / 1000000);
  const sum = (numbers) => numbers.reduce((running, number) => running + number, 0);
  return byLine ? sum(exact.map(rounded)) : rounded(sum(exact));
}

/* The tax in prices that include it, derived from the sum of each rate; see take_out_tax. */
export function taxIncluded(prices, parts) {
  const sums = new Map();
  prices.forEach((cents, place) => {
    if (parts[place]) sums.set(parts[place], (sums.get(parts[place]) ?? 0) + cents);
  });
  let included = 0;
  for (const [rate, whole] of sums) {
    const one = 1000000 + rate;
    included += Math.floor((2 * whole * rate + one) / (2 * one));
  }
  return included;
}

/* The names of the taxes on a basket, each once: the rate on each line goes by what its product is
   taxed as. */
export function taxNames(basket, tax) {
  const rates = basket.map((line) => tax.rates[line.product.taxed_as]);
  return [...new Set(rates.filter((rate) => rate.parts).map((rate) => rate.name))].join(" + ");
}

/* What a basket comes to; `tax` has the `rates` by what products are taxed as, `by_line`, and
   `included` where prices include their tax. A discount that is no amount (NaN, or below zero) or
   more than the goods is left out, and told as `wrong`: "unread" or "too_much". */
export function reckon(basket, discountTyped, tax) {
  const lines = basket.map((line) => ({ ...line, cents: priceOfLine(line).cents }));
  const whole = lines.reduce((sum, line) => sum + line.cents, 0);
  const isDiscount = discountTyped >= 0 && discountTyped <= whole;
  const discount = isDiscount ? discountTyped : 0;
  const shares = splitCents(
    discount,
    lines.map((line) => line.cents),
  );
  const amounts = lines.map((line, place) => line.cents - shares[place]);
  const parts = lines.map((line) => tax.rates[line.product.taxed_as].parts);
  const taxed = tax.included ? taxIncluded(amounts, parts) : taxCents(amounts, parts, tax.by_line);
  const added = tax.included ? 0 : taxed;
  let wrong = "";
  if (!isDiscount) wrong = discountTyped > whole ? "too_much" : "unread";
  return { lines, whole, discount, tax: taxed, total: whole - discount + added, wrong };
}

/* A percentage of an amount in whole cents, half a cent rounding up; NaN for a text such as "-5"
   that is no percentage. */
export function percentOf(cents, percent) {
  const found = percent.match(/^(\d{1,3})(?:\.(\d{1,4}))?$/);
  if (!found) return NaN;
  const parts = Number(found[1] + (found[2] ?? "").padEnd(4, "0"));
  return Math.floor((cents * parts + 500000) / 1000000);
}

/* The discount and the amount on top that make a basket cost what the buyer names, tax included.
   A discount can't always hit the cent once there is tax: then the odd cent is on top. */
export function nameTotal(basket, named, tax) {
  const { whole, total } = reckon(basket, 0, tax);
  if (named >= total) return { discount: 0, on_top: named - total };
  const totalAt = (discount) => reckon(basket, discount, tax).total;
  let low = 0;
  let high = whole;
  while (low < high) {
    const middle = Math.floor((low + high) / 2);
    if (totalAt(middle) > named) low = middle + 1;
    else high = middle;
  }
  // Taxes rounded line by line go up and down by a cent: look around for the exact one.
  for (let near = Math.max(0, low - 3); near <= Math.min(whole, low + 3); near += 1) {
    if (totalAt(near) === named) return { discount: near, on_top: 0 };
  }
  while (low < whole && totalAt(low) > named) low += 1;
  return { discount: low, on_top: named - totalAt(low) };
}

/* What of an amount can be paid in cash: the nearest multiple of the smallest coin, half a coin up;
   see inventory/shared/coins.py. */
export function toCoins(cents, coin = 1) {
  return Math.floor((2 * cents + coin) / (2 * coin)) * coin;
}

/* Cash given against what is to be paid: `missing` and `change`, one of them zero. */
export function settle(given, total) {
  return { missing: Math.max(0, total - given), change: Math.max(0, given - total) };
}

/* The amounts a buyer is likely to hand over: the exact one, and the next notes above it. */
export function quickAmounts(total) {
  const next = NOTES_CENTS.map((note) => Math.ceil(total / note) * note);
  return [...new Set([total, ...next])].sort((one, other) => one - other).slice(0, 6);
}

/* A plain decimal such as "12.5" in whole cents; NaN for one with parts of a cent. */
export function centsOf(number) {
  const found = number.match(/^(-?)(\d+)(?:\.(\d{0,2})0*)?$/);
  if (!found) return NaN;
  const [, sign, whole, decimals = ""] = found;
  return Number(`${sign}${whole}${decimals.padEnd(2, "0")}`);
}

/* Write cents as the whole house does: `money` has what is before and after the number, the
   decimal sign and the mark between thousands. */
export function writeMoney(cents, money) {
  const digits = String(Math.abs(cents)).padStart(3, "0");
  const sign = cents < 0 ? "−" : "";
  return sign + written(digits.slice(0, -2), digits.slice(-2), money);
}

/* Write a price such as "6.5000" with two decimals, and with more where they are not nought. */
export function writePrice(price, money) {
  const [whole, decimals = ""] = price.split(".");
  return written(whole, decimals.replace(/0+$/, "").padEnd(2, "0"), money);
}

function written(whole, decimals, money) {
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, money.group);
  return `${money.before}${grouped}${money.decimal}${decimals}${money.after}`;
}

/* The sales of a place that a catalogue made at `madeAt` has not heard of. */
export function soldSince(entries, place, madeAt) {
  return entries.filter(({ kind, state, said, place: soldAt }) => {
    if (kind !== "sale" || soldAt !== place) return false;
    return state === "waits" || state === "refused" || (state === "done" && said?.now > madeAt);
  });
}

/* The pieces of each product that are gone from a place, and that the stock heard at `madeAt` still
   has: of sales that are not in the books yet, and of those that came there since. */
export function goneSince(entries, place, madeAt) {
  const gone = new Map();
  for (const { body } of soldSince(entries, place, madeAt)) {
    // A sale kept since before there were products names the size, which has the same code.
    for (const { product, size, pieces } of body.lines) {
      const code = product ?? size;
      if (code) gone.set(code, (gone.get(code) || 0) + pieces);
    }
  }
  return gone;
}

/* What sales come to: `methods` by the way the goods were paid, what was given on top apart. */
export function takingsOf(entries) {
  const methods = {};
  let cents = 0;
  let onTop = 0;
  for (const { body, total_cents } of entries) {
    let onTopLeft = body.on_top_cents || 0;
    for (const { method, cents: paid } of paymentsOf(body, total_cents).toReversed()) {
      const above = Math.min(onTopLeft, paid);
      onTopLeft -= above;
      methods[method] = (methods[method] || 0) + paid - above;
    }
    cents += total_cents;
    onTop += body.on_top_cents || 0;
  }
  return { sales: entries.length, cents, on_top_cents: onTop, methods };
}

/* The payments in the body of a sale; an old one has a single method. */
export function paymentsOf(body, totalCents) {
  if (body.payments) return body.payments;
  return [{ method: body.method, cents: totalCents, tendered_cents: body.tendered_cents }];
}

/* The product a scanner or a person means: its code, or its bar code with or without the zeros
   before it. */
export function findScanned(products, text) {
  const scanned = text.trim().toLowerCase();
  const bare = (code) => code.replace(/^0+/, "");
  const isNumber = /^\d{6,14}$/.test(scanned);
  return (
    products.find(({ code }) => code.toLowerCase() === scanned) ??
    products.find(({ gtin }) => isNumber && gtin && bare(gtin) === bare(scanned)) ??
    null
  );
}

/* Whether a name has every word of a search, whatever its capitals and accents. */
export function isFound(name, search) {
  const plain = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
  const within = plain(name);
  return plain(search)
    .split(/\s+/)
    .every((word) => within.includes(word));
}
