// The addresses this page speaks with. No answer is an answer too: null.

const SHEET = "/api/entry-sheet";
const EVENTS = "/api/events";
const FILES = "/api/attachments";
const NOT_OURS = { status: 502, body: null };
const SAID_WITHOUT_JSON = new Set([401, 413]);
const PATIENCE_MS = 20_000;
const PATIENCE_WITH_FILES_MS = 180_000;

export async function fetchSheet(by) {
  const address = by ? `${SHEET}?${new URLSearchParams({ by })}` : SHEET;
  const answer = await asked(address, { headers: { Accept: "application/json" } });
  return answer?.status === 200 && !answer.body?.as_of ? NOT_OURS : answer;
}

export async function postEntry(entry) {
  const body = { events: entry.events.map(withFiles), seen_seq: entry.seen_seq, despite_others: false };
  const answer = await asked(EVENTS, {
    method: "POST",
    headers: { "Content-Type": "application/json", Accept: "application/json" },
    body: JSON.stringify(body),
  });
  return answer?.status === 200 && !confirms(answer.body, entry.events) ? NOT_OURS : answer;
}

// Only what is named in the answer is in the log.
function confirms({ accepted = [], repeated = [] }, events) {
  const named = new Set([...accepted, ...repeated]);
  return events.every((event) => named.has(event.event_id));
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
    if (json) return { status, body: await answer.json() };
    // Something on the way may answer in the server's place, such as the page of a site's network.
    return SAID_WITHOUT_JSON.has(status) ? { status, body: null } : NOT_OURS;
  } catch (unreachable) {
    if (unreachable instanceof TypeError || unreachable instanceof SyntaxError) return null;
    if (unreachable.name === "AbortError") return null;
    throw unreachable;
  } finally {
    clearTimeout(timer);
  }
}
