/* How a typed number or quantity is read: the rule of inventory/shared/typed.py, which is tested
   with the same table of cases. Numbers are strings such as "-1250.50", so that no digit is lost
   in binary fractions. */

const LENGTH_MAX = 40;
const DIGITS_MAX = 15;

const SPACES = " \\t\\u00a0\\u2007\\u2009\\u202f";
const SPACE = `[${SPACES}]`;
const LETTER = `[^0-9.,/+${SPACES}-]`;
const WORD = `${LETTER}+(?:[.${SPACES}]+${LETTER}+)*(?:[.,](?=${SPACE}|$))?`;
const PLAIN = new Map([
  ["½", " 1/2"],
  ["¼", " 1/4"],
  ["¾", " 3/4"],
  ["⅛", " 1/8"],
  ["⅜", " 3/8"],
  ["⅝", " 5/8"],
  ["⅞", " 7/8"],
  ["⁄", "/"],
  ["−", "-"],
  ...[..."０１２３４５６７８９"].map((wide, digit) => [wide, String(digit)]),
]);

export const WORDS = {
  weight: {
    lb: ["lb", "lbs", "pound", "pounds", "libra", "libras"],
    oz: ["oz", "ounce", "ounces", "onza", "onzas"],
    kg: ["kg", "kgs", "kilo", "kilos", "kilogram", "kilograms", "kilogramo", "kilogramos"],
    g: ["g", "gram", "grams", "gramo", "gramos"],
  },
  volume: {
    gal: ["gal", "gals", "gallon", "gallons", "galón", "galon", "galones"],
    qt: ["qt", "qts", "quart", "quarts", "cuarto", "cuartos"],
    pt: ["pt", "pts", "pint", "pints", "pinta", "pintas"],
    fl_oz: [
      ...["fl_oz", "fl oz", "fluid ounce", "fluid ounces"],
      ...["onza líquida", "onzas líquidas", "onza liquida", "onzas liquidas"],
    ],
    L: ["l", "lt", "lts", "liter", "liters", "litre", "litres", "litro", "litros"],
    mL: [
      ...["ml", "milliliter", "milliliters", "millilitre", "millilitres"],
      ...["mililitro", "mililitros"],
    ],
  },
  length: {
    ft: ["ft", "foot", "feet", "pie", "pies", "'", "′", "’"],
    in: ["in", "inch", "inches", "pulg", "pulgada", "pulgadas", '"', "″", "”"],
    m: ["m", "meter", "meters", "metre", "metres", "metro", "metros"],
    cm: [
      ...["cm", "centimeter", "centimeters", "centimetre", "centimetres"],
      ...["centímetro", "centímetros", "centimetro", "centimetros"],
    ],
    mm: [
      ...["mm", "millimeter", "millimeters", "millimetre", "millimetres"],
      ...["milímetro", "milímetros", "milimetro", "milimetros"],
    ],
  },
};
const SMALLER = {
  lb: { oz: 16 },
  kg: { g: 1000 },
  gal: { qt: 4, pt: 8, fl_oz: 128 },
  qt: { pt: 2, fl_oz: 32 },
  pt: { fl_oz: 16 },
  L: { mL: 1000 },
  ft: { in: 12 },
  m: { cm: 100, mm: 1000 },
  cm: { mm: 10 },
};
const NEXT = { lb: "oz", ft: "in" };

/* One of each unit in grams, litres or millimetres, exactly, as a decimal. */
const AT_REST = {
  lb: "453.59237",
  oz: "28.349523125",
  kg: "1000",
  g: "1",
  gal: "3.785411784",
  qt: "0.946352946",
  pt: "0.473176473",
  fl_oz: "0.0295735295625",
  L: "1",
  mL: "0.001",
  ft: "304.8",
  in: "25.4",
  m: "1000",
  cm: "10",
  mm: "1",
};

export class Mistyped extends Error {
  constructor(code) {
    super(code);
    this.code = code;
  }
}

/* Return a typed number as a plain decimal with the decimals that were typed; throws Mistyped. */
export function readNumber(typed, decimalSign) {
  const text = plain(typed);
  if (text === "") throw new Mistyped("empty");
  if (text.includes("/")) return fraction(text);
  const found = text.match(
    new RegExp(`^([+-]?)${SPACE}*((?:[0-9.,]|${SPACE})*[0-9](?:[0-9.,]|${SPACE})*)$`),
  );
  if (!found) throw new Mistyped("not_a_number");
  const [, sign, figure] = found;
  const end = decimalSign === "." ? "\\." : ",";
  const mark = decimalSign === "." ? "," : "\\.";
  const grouped = `[1-9][0-9]{0,2}(?:(?:${mark}[0-9]{3})+|(?:${SPACE}[0-9]{3})+)`;
  const rule = new RegExp(`^(?:(?:[0-9]+|${grouped})(?:${end}[0-9]*)?|${end}[0-9]+)$`);
  if (!rule.test(figure)) throw new Mistyped("ambiguous");
  const [typedWhole, decimals = ""] = figure.split(decimalSign);
  const whole = typedWhole.replace(/[^0-9]/g, "");
  if (whole.length + decimals.length > DIGITS_MAX) throw new Mistyped("too_long");
  const isNegative = sign === "-" && /[1-9]/.test(whole + decimals);
  return written(BigInt(whole + decimals) * (isNegative ? -1n : 1n), decimals.length);
}

/* Return a typed weight, volume or length in grams, litres or millimetres as a plain decimal;
   `unit` is meant where none is typed. Throws Mistyped. */
export function readQuantity(typed, kind, unit, decimalSign) {
  const pieces = plain(typed).split(new RegExp(`(${WORD})`));
  const last = pieces.pop();
  const figures = pieces.filter((_, place) => place % 2 === 0);
  const named = pieces.filter((_, place) => place % 2 === 1).map((word) => unitOf(word, kind));
  if (last !== "" || figures.length === 0) figures.push(last);
  if (named.length < figures.length) {
    const larger = named.at(-1);
    if (larger && !NEXT[larger]) throw new Mistyped("unit_missing");
    named.push(larger ? NEXT[larger] : unit);
  }
  let total = "0";
  let before = null;
  figures.forEach((figure, place) => {
    if (before && !new RegExp(`^${SPACE}*[0-9]`).test(figure)) throw new Mistyped("not_a_number");
    const number = readNumber(figure, decimalSign);
    const isNamed = named[place];
    if (number.startsWith("-")) throw new Mistyped("negative");
    if (before) {
      const most = SMALLER[before.unit]?.[isNamed];
      if (!most) throw new Mistyped("units_do_not_follow");
      if (/\.0*[1-9]/.test(before.number)) throw new Mistyped("part_not_whole");
      if (Number(number) >= most) throw new Mistyped("part_too_large");
    }
    total = sum(total, product(number, AT_REST[isNamed]));
    before = { number, unit: isNamed };
  });
  return total;
}

/* Return each quantity of a typed list, one to be read by `readQuantity`: on lines of their own, or
   with semicolons, commas or spaces between them; where the decimal sign is a comma, a space
   follows one that parts them. A fraction belongs to the whole number before it, and a smaller
   unit to the larger one. */
export function entries(typed, kind, decimalSign) {
  const signs = [...typed].map((sign) => PLAIN.get(sign) ?? sign).join("");
  const comma = decimalSign === "." ? "," : `,(?=[${SPACES}\\n\\r;]|$)`;
  const lines = signs.split(new RegExp(`[\\n\\r;]|${comma}`));
  return lines.flatMap((line) => {
    const tokens = line.match(new RegExp(`${WORD}|[0-9.,/+-]+`, "g")) ?? [];
    const pieces = [];
    tokens.forEach((token, place) => {
      const piece = pieces.at(-1);
      if (piece && belongs(piece, token, tokens.slice(place + 1), kind)) piece.push(token);
      else pieces.push([token]);
    });
    return pieces.map((piece) => piece.join(" "));
  });
}

/* Tell whether a token of a list is part of the quantity before it. */
function belongs(piece, token, following, kind) {
  const last = piece.at(-1);
  if (isWord(token)) return !isWord(last);
  if (!isWord(last)) return token.includes("/") && /^[0-9]+$/.test(last);
  const larger = knownUnit(last, kind);
  // Only the last number of a quantity may have decimals, and only two units make one.
  if (!SMALLER[larger] || piece.length > 2 || !/^[0-9]+$/.test(piece[0])) return false;
  let after = following;
  if (after[0]?.includes("/") && !isWord(after[0])) after = after.slice(1);
  if (after.length > 0 && isWord(after[0])) {
    return Object.hasOwn(SMALLER[larger], knownUnit(after[0], kind) ?? "");
  }
  return Boolean(NEXT[larger]);
}

function isWord(token) {
  return new RegExp(`^${LETTER}`).test(token);
}

function knownUnit(word, kind) {
  try {
    return unitOf(word, kind);
  } catch (error) {
    if (!(error instanceof Mistyped)) throw error;
    return null;
  }
}

/* Return grams, litres or millimetres in another unit of their kind, to three decimals: to show. */
export function inUnit(atRest, unit) {
  return (Number(atRest) / Number(AT_REST[unit])).toFixed(3);
}

/* Write a plain decimal in the shortest way that can be read in one way only: without marks
   between thousands, and without zeros at the end of its decimals. */
export function writeNumber(number, decimalSign) {
  const short = number.includes(".") ? number.replace(/\.?0+$/, "") : number;
  return short.replace("-", "−").replace(".", decimalSign);
}

function unitOf(word, kind) {
  const plainWord = word
    .replace(new RegExp(`(?:[.,]|${SPACE})+`, "g"), " ")
    .replace(/^ +| +$/g, "")
    .toLowerCase();
  const found = Object.entries(WORDS[kind]).find(([, words]) => words.includes(plainWord));
  if (!found) throw new Mistyped("unknown_unit");
  return found[0];
}

function fraction(text) {
  const found = text.match(
    new RegExp(
      `^(?:([0-9]{1,6})(?:${SPACE}*-${SPACE}*|${SPACE}+))?` +
        `([0-9]{1,2})${SPACE}*/${SPACE}*(2|4|8|16)$`,
    ),
  );
  if (!found) throw new Mistyped("fraction");
  const [whole, upper, lower] = found.slice(1).map((figure) => Number(figure || 0));
  if (upper >= lower) throw new Mistyped("fraction");
  return String(whole + upper / lower);
}

function plain(typed) {
  const signs = [...typed];
  if (signs.length > LENGTH_MAX) throw new Mistyped("too_long");
  return signs
    .map((sign) => PLAIN.get(sign) ?? sign)
    .join("")
    .replace(new RegExp(`^${SPACE}+|${SPACE}+$`, "g"), "");
}

/* ---- exact decimals: whole numbers of their last decimal ---- */

function parted(number) {
  const [whole, decimals = ""] = number.split(".");
  return [BigInt(whole + decimals), decimals.length];
}

function written(digits, places) {
  const sign = digits < 0n ? "-" : "";
  const text = String(digits < 0n ? -digits : digits).padStart(places + 1, "0");
  const end = text.length - places;
  return sign + text.slice(0, end) + (places ? `.${text.slice(end)}` : "");
}

function product(one, other) {
  const [[digits, places], [factor, more]] = [parted(one), parted(other)];
  return written(digits * factor, places + more);
}

function sum(one, other) {
  const [[digits, places], [added, more]] = [parted(one), parted(other)];
  const most = Math.max(places, more);
  const scaled = (number, have) => number * 10n ** BigInt(most - have);
  return written(scaled(digits, places) + scaled(added, more), most);
}
