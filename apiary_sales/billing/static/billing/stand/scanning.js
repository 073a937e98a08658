/* Bar codes: from a scanner that types like a keyboard, and from the camera where the browser can
   read codes by itself. `found(text)` gets what was read. */

import { ask, make, part, say, till } from "./screen.js";

// A scanner types a sign every few milliseconds, a person never so many so fast.
const APART_MS = 50;
const LENGTH_MIN = 4;
const LOOK_MS = 200;
const FORMATS = ["ean_13", "ean_8", "upc_a", "upc_e", "code_128", "code_39", "itf", "qr_code"];

/* Listen to a scanner wherever the focus is; what it typed into a field is taken out again. */
export function listenToKeys(found) {
  let typed = "";
  let last = 0;
  let before = null;

  function onKey(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    if (document.querySelector("dialog[open]")) return;
    const isFast = event.timeStamp - last < APART_MS;
    if (event.key.length === 1) {
      if (!isFast) {
        const field = document.activeElement;
        before = field?.matches("input, textarea") ? { field, value: field.value } : null;
        typed = "";
      }
      typed += event.key;
      last = event.timeStamp;
      return;
    }
    if (event.key === "Shift") return;
    const isScan = event.key === "Enter" && isFast && typed.length >= LENGTH_MIN;
    const text = typed;
    typed = "";
    if (!isScan) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (before) {
      before.field.value = before.value;
      before.field.dispatchEvent(new Event("input", { bubbles: true }));
    }
    found(text);
  }

  document.addEventListener("keydown", onKey, true);
}

async function detectorHere() {
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return null;
  const known = await window.BarcodeDetector.getSupportedFormats();
  const formats = FORMATS.filter((format) => known.includes(format));
  return formats.length ? new window.BarcodeDetector({ formats }) : null;
}

async function scan(detector, found) {
  let stream = null;
  let isOpen = true;
  const video = make("video", { playsinline: true, muted: true, class: "scan-picture" });
  const note = make("p", { role: "status", text: say("scan_help") });

  async function look(answer) {
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      if (!isOpen) throw new Error("closed");
      video.srcObject = stream;
      await video.play();
    } catch {
      for (const track of stream?.getTracks() ?? []) track.stop();
      note.textContent = say("scan_no_camera");
      return;
    }
    while (isOpen) {
      const [code] = await detector.detect(video).catch(() => []);
      if (code && isOpen) return answer(code.rawValue);
      await new Promise((resolve) => setTimeout(resolve, LOOK_MS));
    }
  }

  const text = await ask({
    title: say("scan"),
    body: [video, note],
    choices: [{ value: null, text: say("cancel") }],
    onOpen: (answer, dialog) => {
      dialog.querySelector("h2").focus();
      look(answer);
    },
  });
  isOpen = false;
  for (const track of stream?.getTracks() ?? []) track.stop();
  if (text) found(text);
}

/* Offer the camera where the browser can read codes; elsewhere its button stays hidden. */
export async function offerCamera(found) {
  const detector = await detectorHere().catch(() => null);
  const opener = till.querySelector("[data-act=scan]");
  opener.hidden = !detector;
  if (!detector) return;
  part("search-row").hidden = false;
  opener.addEventListener("click", () => scan(detector, found));
}
