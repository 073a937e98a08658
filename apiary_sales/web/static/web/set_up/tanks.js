/* Each tank is drawn as it is measured, while the figures are typed. What it holds is worked out
   here to be shown; the server works it out again when it is saved. */

import { readQuantity, writeNumber } from "../typed.js";

const SIGN = document.documentElement.dataset.decimalSign || ".";
const SVG = "http://www.w3.org/2000/svg";
// The drawing is 200 wide and high; the tank has this much room in it.
const ROOM = 130;
const MM3_PER_LITRE = 1e6;
const LITRES_PER_GALLON = 3.785411784;

/* How deep one end is, for a radius: the shapes of inventory/physics/vessels.py. */
const DEPTH_OF_END = {
  flat: () => 0,
  cone: (_radius, cone) => cone,
  elliptical: (radius) => radius / 2,
  hemisphere: (radius) => radius,
};
// What one end holds is this share of the cylinder around it.
const SHARE_OF_END = { flat: 0, cone: 1 / 3, elliptical: 2 / 3, hemisphere: 2 / 3 };

function millimetres(tank, name) {
  const field = tank.querySelector(`[name$="-${name}"]`);
  const unit = tank.querySelector(`[name$="-${name}_unit"]`);
  try {
    return Number(readQuantity(field.value, "length", unit.value, SIGN));
  } catch {
    return 0;
  }
}

function made(name, attributes, text = "") {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.textContent = text;
  return element;
}

function outline({ isUpright, diameter, wall, end, depth }) {
  const width = isUpright ? diameter : wall + 2 * depth;
  const height = isUpright ? wall + depth : diameter;
  const scale = ROOM / Math.max(width, height);
  const [w, h, d] = [width * scale, height * scale, depth * scale];
  const [left, top] = [(200 - w) / 2, (200 - h) / 2];
  const [right, bottom] = [left + w, top + h];
  if (isUpright) {
    const shoulder = bottom - d;
    let foot = `L ${right} ${bottom} L ${left} ${bottom}`;
    if (end === "cone") foot = `L ${right} ${shoulder} L 100 ${bottom} L ${left} ${shoulder}`;
    else if (d > 0) foot = `L ${right} ${shoulder} A ${w / 2} ${d} 0 0 1 ${left} ${shoulder}`;
    return `M ${left} ${top} L ${right} ${top} ${foot} Z`;
  }
  const arc = (x, y) => (d > 0 ? `A ${d} ${h / 2} 0 0 1 ${x} ${y}` : `L ${x} ${y}`);
  return `M ${left + d} ${top} L ${right - d} ${top} ${arc(right - d, bottom)}
    L ${left + d} ${bottom} ${arc(left + d, top)} Z`;
}

function draw(tank) {
  const [form, end] = tank.querySelector('[name$="-shape"]').value.split("-");
  const drawing = tank.querySelector("[data-drawing]");
  const [diameter, wall, cone] = ["diameter", "wall", "cone"].map((name) =>
    millimetres(tank, name),
  );
  const depth = end ? DEPTH_OF_END[end](diameter / 2, cone) : 0;
  const isMeasured = Boolean(form) && diameter > 0 && wall > 0 && (end !== "cone" || cone > 0);
  drawing.hidden = !isMeasured;
  if (!isMeasured) return;
  const isUpright = form === "upright";
  const svg = drawing.querySelector("svg");
  const [across, along] = ["diameter", "wall"].map((name) => {
    const unit = tank.querySelector(`[name$="-${name}_unit"]`);
    return `${tank.querySelector(`[name$="-${name}"]`).value} ${unit.selectedOptions[0].text}`;
  });
  const path = outline({ isUpright, diameter, wall, end, depth });
  const [wide, high] = isUpright ? [across, along] : [along, across];
  svg.replaceChildren(
    made("path", { class: "honey honey-light-amber", d: path }),
    made("text", { x: 100, y: 18 }, `↔ ${wide}`),
    made("text", { x: 100, y: 192 }, `↕ ${high}`),
  );
  const ends = (isUpright ? 1 : 2) * depth * SHARE_OF_END[end];
  const litres = (Math.PI * (diameter / 2) ** 2 * (wall + ends)) / MM3_PER_LITRE;
  const told = drawing.querySelector("[data-capacity]");
  const inGallons = tank.querySelector('[name$="-capacity_unit"]').value === "gal";
  const figure = writeNumber((inGallons ? litres / LITRES_PER_GALLON : litres).toFixed(0), SIGN);
  told.textContent = told.dataset.words.replace("%s", `${figure} ${inGallons ? "gal" : "L"}`);
}

for (const tank of document.querySelectorAll("[data-tank]")) {
  tank.addEventListener("input", () => draw(tank));
  draw(tank);
}
