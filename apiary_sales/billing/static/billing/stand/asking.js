/* One question to the server, with a patience that covers the whole answer, and whether the answer
   is the server's at all: a portal of a public network or a proxy may answer in its place. */

export const PATIENCE_MS = 8000;

/* Ask `url`; with a `body` it is posted as JSON, with the `token()` against forged requests.
   Answers {kind: "answer", status, said} for an answer of ours, or {kind} alone: "none" (no
   connection), "stalled" (it took too long), "portal" (somebody else answered), or "trouble" (the
   server or a proxy can't now), which may say `wait_ms`. */
export async function ask(url, { body, token, patience = PATIENCE_MS } = {}) {
  const control = new AbortController();
  let timer = null;
  const tooLate = new Promise((resolve) => {
    timer = setTimeout(() => {
      resolve({ kind: "stalled" });
      control.abort();
    }, patience);
  });
  try {
    return await Promise.race([whole(url, body, token, control.signal), tooLate]);
  } finally {
    clearTimeout(timer);
  }
}

async function whole(url, body, token, signal) {
  const headers = { Accept: "application/json" };
  if (body) Object.assign(headers, { "Content-Type": "application/json", "X-CSRFToken": token() });
  try {
    const answer = await fetch(url, {
      method: body ? "POST" : "GET",
      headers,
      body: body && JSON.stringify(body),
      // A door of ours leads nowhere else; a portal's does.
      redirect: "manual",
      cache: "no-store",
      signal,
    });
    const text = await answer.text();
    if (answer.status >= 500 || answer.status === 429) return trouble(answer, text);
    if (answer.headers.get("X-Stand") !== "1") {
      // The house refuses a stale token against forged requests with a page; its pages have this
      // policy, a portal's have not. The next catalogue brings a new token.
      const isHouse = answer.status === 403 && answer.headers.has("Content-Security-Policy");
      return { kind: isHouse ? "trouble" : "portal" };
    }
    const said = read(text);
    return said ? { kind: "answer", status: answer.status, said } : { kind: "trouble" };
  } catch {
    return { kind: "none" };
  }
}

function trouble(answer, text) {
  const isOurs = answer.headers.get("X-Stand") === "1";
  const said = (isOurs && read(text)) || {};
  const seconds = Number(said.wait_seconds ?? answer.headers.get("Retry-After"));
  const wait_ms = seconds > 0 ? seconds * 1000 : 0;
  return { kind: "trouble", status: answer.status, said, wait_ms };
}

function read(text) {
  try {
    const said = JSON.parse(text);
    return said && typeof said === "object" ? said : null;
  } catch {
    return null;
  }
}
