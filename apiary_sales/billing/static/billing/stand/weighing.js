/* A sale by weight inside the till: weighed full and empty, or by the net weight. */

import { Mistyped, readQuantity } from "../../web/typed.js";
import { wholeGrams, weightCents } from "./figures.js";
import { ask, button, decimalSign, houseUnit, make, say, show, showPrice } from "./screen.js";
import { recall, remember } from "./store.js";

const UNITS = ["lb", "oz", "kg", "g"];
const METRIC_FIRST = ["kg", "g", "lb", "oz"];
const GRAMS_MAX = 1_000_000;

/* Whole grams of what is typed; null for an empty field, NaN for what is no weight. */
function gramsTyped(text, unit) {
  try {
    return wholeGrams(readQuantity(text, "weight", unit, decimalSign));
  } catch (error) {
    if (!(error instanceof Mistyped)) throw error;
    return error.code === "empty" ? null : NaN;
  }
}

function field(name, label) {
  const input = make("input", { id: `till-${name}`, inputmode: "decimal", autocomplete: "off" });
  const row = make(
    "div",
    { class: "field" },
    make("label", { for: `till-${name}`, text: label }),
    input,
  );
  return { input, row };
}

/* The weight that is typed: {net_grams} or {gross_grams, tare_grams} with `grams`, or a sentence
   about what is wrong. */
function weightOf(gross, tare, net) {
  if ([gross, tare, net].some(Number.isNaN)) return { problem: say("weight_unread") };
  if (net !== null && gross !== null) return { problem: say("weight_one_way") };
  if (net === null && gross === null) return { problem: say("weight_missing") };
  if (net !== null) return limited({ grams: net, net_grams: net });
  if (tare === null) return { problem: say("tare_missing") };
  if (gross <= tare) return { problem: say("tare_too_heavy") };
  return limited({ grams: gross - tare, gross_grams: gross, tare_grams: tare });
}

function limited(weight) {
  if (weight.grams <= 0) return { problem: say("weight_missing") };
  return weight.grams > GRAMS_MAX ? { problem: say("weight_too_heavy") } : weight;
}

/* Ask for the weight of an offer; answers the line for the basket, or null. */
export async function weigh(offer) {
  const gross = field("gross", say("gross"));
  const tare = field("tare", say("tare"));
  const net = field("net", say("net"));
  const unit = make(
    "select",
    { id: "till-unit" },
    ...(houseUnit() === "kg" ? METRIC_FIRST : UNITS).map((name) =>
      make("option", { value: name, text: name }),
    ),
  );
  unit.value = (await recall("unit")) ?? houseUnit();
  const comes = make("p", { class: "reading", "aria-live": "polite" });
  const problem = make("p", { class: "errors", role: "alert" });
  const confirm = button(say("put_in"), undefined, { class: "button button-wide" });
  confirm.type = "submit";
  const form = make(
    "form",
    { class: "stack" },
    make("p", { text: say("per_pound", { price: showPrice(offer.price_per_pound) }) }),
    make(
      "div",
      { class: "field" },
      make("label", { for: "till-unit", text: say("weight_unit") }),
      unit,
    ),
    make("div", { class: "field-pair" }, gross.row, tare.row),
    make("p", { class: "quiet small", text: say("or_net") }),
    net.row,
    comes,
    problem,
    confirm,
  );
  const read = () =>
    weightOf(...[gross, tare, net].map(({ input }) => gramsTyped(input.value, unit.value)));

  return ask({
    title: offer.name,
    body: [form],
    choices: [{ value: null, text: say("cancel") }],
    onOpen: (answer) => {
      gross.input.focus();
      form.addEventListener("input", () => {
        const weight = read();
        problem.textContent = "";
        comes.textContent = weight.problem
          ? ""
          : `= ${show(weightCents(weight.grams, offer.price_per_pound, offer.unit_grams))}`;
      });
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        const weight = read();
        if (weight.problem) {
          problem.textContent = weight.problem;
          return;
        }
        remember("unit", unit.value);
        answer({ weighed: offer.key, unit_price: offer.price_per_pound, ...weight });
      });
    },
  });
}
