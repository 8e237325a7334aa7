// The two addresses this page speaks with. No answer is an answer too: null.

const SHEET = "/api/entry-sheet";
const EVENTS = "/api/events";
const PATIENCE_MS = 20_000;

export function fetchSheet() {
  return asked(SHEET, { headers: { Accept: "application/json" } });
}

export function postEntry(entry) {
  const body = { events: entry.events, seen_seq: entry.seen_seq, despite_others: false };
  return asked(EVENTS, {
    method: "POST",
    headers: { "Content-Type": "application/json", Accept: "application/json" },
    body: JSON.stringify(body),
  });
}

async function asked(address, options) {
  const giveUp = new AbortController();
  const timer = setTimeout(() => giveUp.abort(), PATIENCE_MS);
  try {
    const answer = await fetch(address, {
      ...options, credentials: "same-origin", cache: "no-store", redirect: "manual", signal: giveUp.signal,
    });
    const json = (answer.headers.get("Content-Type") || "").includes("json");
    // A redirect can only lead to the sign-in page.
    const status = answer.type === "opaqueredirect" ? 401 : answer.status;
    return { status, body: json ? await answer.json() : null };
  } catch (unreachable) {
    if (unreachable instanceof TypeError || unreachable instanceof SyntaxError) return null;
    if (unreachable.name === "AbortError") return null;
    throw unreachable;
  } finally {
    clearTimeout(timer);
  }
}
