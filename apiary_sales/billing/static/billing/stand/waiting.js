/* Say on the first page how many sales wait on this device, with the way to them. */

import { entries } from "./store.js";

const OPEN = ["waits", "refused", "differs"];

async function show(notice) {
  const waiting = (await entries()).filter((entry) => OPEN.includes(entry.state));
  const { one, many } = notice.dataset;
  notice.querySelector("[data-text]").textContent =
    waiting.length === 1 ? one : many.replace("{count}", waiting.length);
  notice.hidden = waiting.length === 0;
}

const notice = document.querySelector("[data-waiting]");
// A browser that keeps nothing has no sale that waits.
if (notice) show(notice).catch(() => {});
