/* "Sales here": what was taken today, and each sale that this device keeps: waiting ones, ones that
   a person must look at, and those of the last days with their receipt. All of it without signal. */

import { gramsOf } from "./basket.js";
import * as catalogue from "./catalogue.js";
import * as figures from "./figures.js";
import {
  ask,
  button,
  calmly,
  dayOf,
  make,
  part,
  say,
  sayCount,
  show,
  showPrice,
  showRows,
  till,
  weightOf,
  whenOf,
  write,
} from "./screen.js";

const LABELS = {
  waits: ["waits", "tag"],
  refused: ["refused", "tag tag-bad"],
  differs: ["differs", "tag tag-warn"],
  handed_in: ["handed_in", "tag tag-info"],
  done: ["done", "tag tag-good"],
  undone: ["undone", "tag"],
};

export const isWaiting = ({ state }) =>
  state === "waits" || state === "refused" || state === "differs";

/* What a line of a sale is called; `goods` is what it sold, where that was kept. */
export function lineText(line, goods) {
  if (line.weighed) {
    const name = goods?.name ?? catalogue.offerOf(line.weighed)?.name ?? line.weighed;
    return `${weightOf(gramsOf(line))} ${name}`;
  }
  const code = line.product ?? line.size;
  return `${line.pieces} × ${goods?.name ?? catalogue.productOf(code)?.name ?? code}`;
}

/* A sale kept by an earlier version has its total in its text alone. */
const totalOf = ({ total_cents: total, body }) =>
  total ?? body.lines.reduce((sum, line) => sum + centsOf(line), 0) - (body.discount_cents || 0);

function centsOf(line) {
  return line.weighed
    ? figures.weightCents(gramsOf(line), line.unit_price)
    : figures.priceOfLine({ pieces: line.pieces, was: line }).cents;
}

/* ---- the receipt of a sale, from what this device has ---- */

function fact(name, value) {
  return make("div", {}, make("dt", { text: name }), make("dd", { text: value }));
}

function receiptOf(entry, now) {
  const { body, said } = entry;
  const place = catalogue.placeCalled(entry.place)?.name ?? entry.place;
  const rows = [];
  for (const [index, line] of body.lines.entries()) {
    const text = lineText(line, entry.goods?.[index]);
    rows.push(fact(`${text} (${showPrice(line.unit_price)})`, show(centsOf(line))));
  }
  if (body.discount_cents) rows.push(fact(say("discount"), show(-body.discount_cents)));
  rows.push(fact(say("total"), show(totalOf(entry))));
  if (body.on_top_cents) rows.push(fact(say("on_top"), show(body.on_top_cents)));
  for (const { method, cents, tendered_cents: tendered, reference } of figures.paymentsOf(
    body,
    totalOf(entry),
  )) {
    const by = reference ? `${say(method)} ${reference}` : say(method);
    rows.push(fact(by, show(tendered ?? cents)));
  }
  if (entry.change_cents) rows.push(fact(say("change"), show(entry.change_cents)));
  const lead = [said?.number, whenOf(entry.sold_at, now), place, entry.seller?.name]
    .filter(Boolean)
    .join(" · ");
  return make(
    "div",
    { class: "stack stack-tight" },
    make("p", { class: "strong", text: lead }),
    make("dl", { class: "sum" }, ...rows),
  );
}

function recordedOf({ said }) {
  const goods = (said?.lines ?? [])
    .map(({ name, pieces }) => (pieces ? `${pieces} × ${name}` : name))
    .join(", ");
  return [goods, show(said?.total_cents ?? 0), said?.number].filter(Boolean).join(" · ");
}

/* ---- what can be done with a sale ---- */

export async function askReason(title, text, presets, main) {
  const input = make("input", { id: "till-reason", maxlength: "200", autocomplete: "off" });
  const field = make(
    "div",
    { class: "field" },
    make("label", { for: "till-reason", text: say("reason") }),
    input,
  );
  const quick = make(
    "div",
    { class: "chips" },
    ...presets.map((preset) =>
      button(
        preset,
        () => {
          input.value = preset;
          input.focus();
        },
        { class: "chip" },
      ),
    ),
  );
  for (;;) {
    const answer = await ask({
      title,
      text,
      body: [quick, field],
      choices: [
        { value: "go", text: main, isMain: true },
        { value: null, text: say("cancel") },
      ],
    });
    if (answer !== "go") return null;
    if (input.value.trim()) return input.value.trim();
    input.setAttribute("aria-invalid", "true");
    input.placeholder = say("reason_missing");
  }
}

export async function undo(entry, acts) {
  const presets = [say("undo_mistyped"), say("undo_changed_mind"), say("undo_trial")];
  const back = totalOf(entry) + (entry.body.on_top_cents || 0);
  const reason = await askReason(
    say("undo_title"),
    say("undo_text", { sale: entry.text, back: show(back) }),
    presets,
    say("undo_do", { back: show(back) }),
  );
  if (reason !== null) await acts.undo(entry.key, reason);
}

async function handIn(entry, acts) {
  const reason = await askReason(
    say("hand_in_title"),
    say("hand_in_text", { sale: entry.text }),
    [say("hand_in_why")],
    say("hand_in_do"),
  );
  if (reason !== null) await acts.handIn(entry.key, reason);
}

function actsOf(entry, acts) {
  const choices = [];
  const add = (name, act) =>
    choices.push(button(say(name), act, { class: "button button-quiet button-small" }));
  if (entry.undoing) return choices;
  if (entry.hands_in === undefined && (entry.state === "waits" || entry.state === "refused")) {
    add("mend", () => acts.mend(entry));
    add("try_again", () => acts.retry(entry.key));
    add("undo", () => undo(entry, acts));
    add("hand_in", () => handIn(entry, acts));
  }
  if (entry.state === "differs") {
    add("correct", () => acts.correct(entry.key));
    add("keep_recorded", () => acts.accept(entry.key));
    add("hand_in", () => handIn(entry, acts));
  }
  if (entry.state === "done") add("undo", () => undo(entry, acts));
  if (entry.state === "done" && entry.said?.read_url) addForBuyer(entry.said, choices);
  if (entry.said?.receipt_url) {
    choices.push(
      make("a", {
        class: "button button-quiet button-small",
        href: entry.said.receipt_url,
        text: say("open_receipt"),
      }),
    );
  }
  return choices;
}

/* What the buyer can have of a recorded sale: its public address, handed on or opened. */
function addForBuyer({ number, read_url: url }, choices) {
  const style = "button button-quiet button-small";
  const share = () => navigator.share({ title: number, url }).catch(() => {});
  if (navigator.share) choices.push(button(say("share_receipt"), share, { class: style }));
  choices.push(make("a", { class: style, href: url, text: say("read_later") }));
}

/* ---- the list ---- */

function makeRow() {
  return make(
    "li",
    {},
    make(
      "details",
      {},
      make(
        "summary",
        {},
        make("span", { dataset: { part: "line" } }),
        make("span", { dataset: { part: "tag" } }),
      ),
      make("div", { class: "stack stack-tight sale-opened", dataset: { part: "opened" } }),
    ),
  );
}

function changeRow(row, { entry, now, acts }) {
  // Drawn anew only where it is another, so that the button that has the focus stays.
  const version = JSON.stringify(entry);
  if (row.dataset.version === version) return;
  row.dataset.version = version;
  const [label, style] = LABELS[entry.state] ?? LABELS.waits;
  const tag = part("tag", row);
  tag.className = entry.undoing ? "tag" : style;
  tag.textContent = say(entry.undoing ? "state_undoing" : `state_${label}`);
  part("line", row).textContent = `${whenOf(entry.sold_at, now)} · ${entry.text}`;
  const opened = part("opened", row);
  const hadFocus = opened.contains(document.activeElement);
  opened.replaceChildren(
    ...[
      entry.why &&
        make("p", { class: entry.state === "done" ? "quiet" : "errors", text: entry.why }),
      entry.state === "differs" &&
        make("p", { text: say("recorded_is", { recorded: recordedOf(entry) }) }),
      entry.state === "differs" && make("p", { text: say("entered_is", { entered: entry.text }) }),
      ...(entry.said?.marks ?? []).map((text) =>
        make("p", { class: "notice notice-warning", text }),
      ),
      receiptOf(entry, now),
      make("div", { class: "actions" }, ...actsOf(entry, acts)),
    ].filter(Boolean),
  );
  if (hadFocus) row.querySelector("summary").focus();
}

const isGivenToOffice = ({ hands_in: reason }) => reason !== undefined;

/* What was given to the office and is not booked yet: its cash is in the drawer all the same. */
function showForOffice(entries) {
  const { handed_in_booked: booked = [] } = catalogue.latest();
  const cents = entries
    .filter((entry) => isGivenToOffice(entry) && !booked.includes(entry.key))
    .filter(({ state, place }) => state !== "undone" && place === catalogue.placeNow().code)
    .reduce((sum, entry) => sum + totalOf(entry) + (entry.body.on_top_cents || 0), 0);
  part("for-office").hidden = cents === 0;
  write(part("for-office"), say("for_office", { amount: show(cents) }));
}

function showToday(entries, clock) {
  const place = catalogue.placeNow();
  const { made_at: madeAt } = catalogue.latest();
  const isDoubtful = clock.isDoubtful(madeAt);
  const today = new Date(isDoubtful ? madeAt : clock.now()).toDateString();
  // By a wrong clock a sale has the wrong day too: then all that wait count.
  const isToday = (entry) =>
    (isDoubtful && isWaiting(entry)) || new Date(entry.sold_at).toDateString() === today;
  const ofToday = entries.filter(isToday);
  const books = place.today;
  const isBooksToday = new Date(madeAt).toDateString() === today;
  // What the books had when they last answered, and what was sold on this device since.
  const since = figures.soldSince(
    ofToday.filter((entry) => !isGivenToOffice(entry)),
    place.code,
    madeAt,
  );
  const more = figures.takingsOf(since);
  const sum = (name) => (isBooksToday ? books[name] : 0) + more[name];
  const methods = new Map();
  for (const source of isBooksToday ? [books.methods, more.methods] : [more.methods]) {
    for (const [method, cents] of Object.entries(source))
      methods.set(method, (methods.get(method) ?? 0) + cents);
  }
  write(
    part("today-heading"),
    say(isDoubtful ? "today_unsure" : "today", {
      place: place.name,
      total: show(sum("cents") + sum("on_top_cents")),
    }),
  );
  const rows = [...methods]
    .filter(([, cents]) => cents)
    .map(([method, cents]) => [say(method), show(cents)]);
  if (sum("on_top_cents")) rows.push([say("on_top"), show(sum("on_top_cents"))]);
  part("today").replaceChildren(...rows.map(([name, value]) => fact(name, value)));
  const waiting = since.filter(isWaiting);
  const counts = [sayCount("sales", sum("sales"))];
  if (waiting.length) counts.push(sayCount("not_in_books", waiting.length));
  write(part("today-note"), counts.join(" · "));
  showForOffice(ofToday);
  part("clock-unsure").hidden = !isDoubtful;
  write(part("clock-unsure"), say("clock_unsure", { day: dayOf(madeAt) }));
}

/* Show the sales of the place, newest first, with those of other places that still wait. */
export function showSales(entries, clock, acts) {
  calmly("sales", () => {
    const now = clock.now();
    const sales = entries.filter(({ kind }) => kind !== "undo");
    const undoing = sales.filter((entry) => entry.undoing);
    const here = sales.filter(
      (entry) => isWaiting(entry) || entry.place === catalogue.placeNow()?.code,
    );
    const waiting = sales.filter(isWaiting);
    const toLookAt = waiting.filter(({ state }) => state !== "waits");
    if (catalogue.placeNow()) showToday(sales, clock);
    showRows(
      part("sales-list"),
      [...here].reverse().map((entry) => ({ entry, now, acts })),
      ({ entry }) => entry.key,
      makeRow,
      changeRow,
    );
    part("no-sales").hidden = here.length > 0;
    part("waiting-row").hidden = waiting.length + undoing.length === 0;
    write(
      part("waiting"),
      waiting.length ? sayCount("wait", waiting.length) : sayCount("undo_waits", undoing.length),
    );
    const badge = part("badge");
    badge.hidden = waiting.length === 0;
    write(
      badge,
      toLookAt.length
        ? say("badge_settle", { count: toLookAt.length })
        : say("badge_waits", { count: waiting.length }),
    );
    badge.classList.toggle("bad", toLookAt.length > 0);
    till.querySelector("[data-act=sales]").classList.toggle("asks", toLookAt.length > 0);
  });
}
