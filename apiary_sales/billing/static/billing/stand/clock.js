/* What time it is, by the server: the clock of a phone may be wrong by minutes or by months.
   Reads no page. */

import { recall, remember } from "./store.js";

const TOLD_MS = 2 * 60 * 1000;
// A stand that nobody opened for so long is rarer than a clock that went wrong.
const DOUBTED_MS = 30 * 24 * 60 * 60 * 1000;
const SLEEP_LEAST_MS = 1000;
const SLEEP_MOST_MS = 24 * 60 * 60 * 1000;

/* Make a clock. `difference` is how many milliseconds the device was ahead of the server when it
   was last compared, and `remember(difference)` keeps it; `device` and `ticks` read the two clocks
   of the device: the one that people set, and the one that only counts on. */
export function makeClock({
  difference = 0,
  remember = () => {},
  device = () => Date.now(),
  ticks = () => performance.now(),
} = {}) {
  let ahead = difference;
  let heardAt = null;
  const kept = { ahead: difference };

  function noteDifference(server, wall) {
    ahead = wall - server;
    if (Math.abs(ahead - kept.ahead) < SLEEP_LEAST_MS) return;
    kept.ahead = ahead;
    remember(ahead);
  }

  /* Take the time from an answer of the server. */
  function heard(moment) {
    const server = Date.parse(moment);
    if (Number.isNaN(server)) return;
    const wall = device();
    heardAt = { server, wall, tick: ticks() };
    noteDifference(server, wall);
  }

  function serverTime() {
    const wall = device();
    if (!heardAt) return wall - ahead;
    const tick = ticks();
    const passed = tick - heardAt.tick;
    const jumped = wall - heardAt.wall - passed;
    if (Math.abs(jumped) < SLEEP_LEAST_MS) return heardAt.server + passed;
    // The count of some devices stands still while they sleep: then both clocks differ by the
    // sleep. A longer jump, or one back, is a clock that somebody set, which says nothing.
    const slept = jumped > 0 && jumped < SLEEP_MOST_MS ? jumped : 0;
    heardAt = { server: heardAt.server + passed + slept, wall, tick };
    noteDifference(heardAt.server, wall);
    return heardAt.server;
  }

  return {
    heard,
    now: () => new Date(serverTime()),
    /* Whether an answer was heard since the page was opened. */
    isSure: () => heardAt !== null,
    /* Whether the time can hardly be right: no answer was heard since the page was opened, and it is
       before the last word of the server, at `lastHeard`, or very long after it. */
    isDoubtful: (lastHeard) => {
      const since = serverTime() - Date.parse(lastHeard);
      return heardAt === null && (since < 0 || since > DOUBTED_MS);
    },
    /* How many milliseconds the device is ahead; below zero where it is behind. */
    difference: () => {
      serverTime();
      return ahead;
    },
    /* Whether a person should be told that the device's clock is wrong. */
    isOff: () => {
      serverTime();
      return Math.abs(ahead) > TOLD_MS;
    },
    /* When a sale is made, as it is sent: by the server's time, and what the device says. */
    stamp: () => ({
      sold_at: new Date(serverTime()).toISOString(),
      clock_said: new Date(device()).toISOString(),
    }),
  };
}

/* The clock of this device, with the difference that was remembered when the page was last open. */
export async function startClock() {
  return makeClock({
    difference: (await recall("clock")) ?? 0,
    remember: (difference) => remember("clock", difference),
  });
}
