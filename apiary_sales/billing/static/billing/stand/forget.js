/* On the page after signing out: takes the kept stand page, prices and receipts off this device. A
   sale that waits stays, and is sent once somebody signs in. */

import { forget } from "./store.js";

async function forgetPages() {
  for (const name of await caches.keys()) {
    if (name.startsWith("stand-")) await caches.delete(name);
  }
}

function forgetPerson() {
  try {
    // The next person's first page then has the stand kept anew.
    localStorage.removeItem("stand:kept-for");
  } catch {
    // A browser that keeps nothing has nothing to forget.
  }
}

async function start() {
  forgetPerson();
  if ("caches" in window) await forgetPages().catch(() => {});
  await forget().catch(() => {});
}

start();
