// The addresses this page speaks with. No answer is an answer too: null.

const SHEET = "/api/entry-sheet";
const EVENTS = "/api/events";
const FILES = "/api/attachments";
const PATIENCE_MS = 20_000;
const PATIENCE_WITH_FILES_MS = 180_000;

export function fetchSheet(by) {
  const address = by ? `${SHEET}?${new URLSearchParams({ by })}` : SHEET;
  return asked(address, { headers: { Accept: "application/json" } });
}

export function postEntry(entry) {
  const body = { events: entry.events.map(withFiles), seen_seq: entry.seen_seq, despite_others: false };
  return asked(EVENTS, {
    method: "POST",
    headers: { "Content-Type": "application/json", Accept: "application/json" },
    body: JSON.stringify(body),
  });
}

// An event names what is attached to it in its note, by the hash that the server gave back.
function withFiles({ files = [], ...event }) {
  const named = files.map((file) => `attachment:${file.key}`);
  return { ...event, note: [event.note, ...named].filter(Boolean).join(" ") };
}

export function postFile(blob) {
  const headers = { "Content-Type": blob.type || "application/octet-stream", Accept: "application/json" };
  return asked(FILES, { method: "POST", headers, body: blob }, PATIENCE_WITH_FILES_MS);
}

async function asked(address, options, patience = PATIENCE_MS) {
  const giveUp = new AbortController();
  const timer = setTimeout(() => giveUp.abort(), patience);
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
