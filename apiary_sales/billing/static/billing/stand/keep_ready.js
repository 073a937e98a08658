/* On every page of a person who may sell: has the worker keep the stand on this device, so that it
   opens without signal wherever the person began. */

const { worker, root, person } = document.querySelector("script[data-worker]").dataset;
const REMEMBERED = "stand:kept-for";

function isReady(registration) {
  return new Promise((resolve) => {
    const coming = registration.installing ?? registration.waiting ?? registration.active;
    const look = () => {
      if (registration.active) resolve();
    };
    coming.addEventListener("statechange", look);
    look();
  });
}

/* Earlier versions answered for the stand alone; the browser would go on asking them first. */
async function retireEarlier(registration) {
  for (const other of await navigator.serviceWorker.getRegistrations()) {
    const script = (other.active ?? other.waiting ?? other.installing)?.scriptURL;
    const isEarlier = script === new URL(worker, location.href).href;
    if (other.scope !== registration.scope && isEarlier) await other.unregister();
  }
}

/* All of this page's scripts are here, so a new version can't come between them any more. */
function letTakeOver(registration) {
  registration.waiting?.postMessage("take over");
  registration.addEventListener("updatefound", () => {
    const coming = registration.installing;
    coming.addEventListener("statechange", () => {
      if (coming.state === "installed" && registration.active) coming.postMessage("take over");
    });
  });
}

/* What the kept page shows depends on the role of who is signed in, and is gone after signing out:
   let it be for whoever is signed in now. The kept page itself does not say who that is. */
function keepForPerson(registration) {
  try {
    if (!person || localStorage.getItem(REMEMBERED) === person) return;
    registration.active.postMessage("keep the page");
    localStorage.setItem(REMEMBERED, person);
  } catch {
    // A browser that keeps nothing has no page of another person either.
  }
}

async function start() {
  const registration = await navigator.serviceWorker.register(worker, { scope: root });
  letTakeOver(registration);
  await isReady(registration);
  await retireEarlier(registration);
  keepForPerson(registration);
}

if (navigator.serviceWorker) {
  // Not before the page has what it needs: a weak connection is for the person first.
  if (document.readyState === "complete") start().catch(() => {});
  else window.addEventListener("load", () => start().catch(() => {}));
}
