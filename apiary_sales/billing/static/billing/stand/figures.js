/* What a sale at the stand comes to, in whole cents: the same whole-number arithmetic as the
   server's, and tested with the same tables. Reads no page and keeps nothing. */

export const PIECES_MAX = 1000;

const NOTES_CENTS = [100, 500, 1000, 2000, 5000, 10000];

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

/* What a basket of {product, pieces} comes to; `tax` has the `rates` by what products are taxed as,
   `by_line`, and `included` where prices include their tax. A discount that is no amount (NaN, or below zero) or more than the goods is left
   out, and told as `wrong`: "unread" or "too_much". */
export function reckon(basket, discountTyped, tax) {
  const lines = basket.map((line) => ({ ...line, cents: lineCents(line.product, line.pieces) }));
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

/* The pieces of each product in sales that are kept here and not booked yet. */
export function promisedPieces(sales) {
  const promised = new Map();
  for (const sale of sales) {
    // A sale kept since before there were products names the size, which has the same code.
    for (const { product, size, pieces } of sale.body.lines) {
      const code = product ?? size;
      promised.set(code, (promised.get(code) || 0) + pieces);
    }
  }
  return promised;
}
