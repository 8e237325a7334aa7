// Entries kept on this phone until the log has confirmed each of them.
//
// queued → sent, or refused (nothing of it was written), or clash (others recorded on the same
// unit meanwhile, so the person chooses). An entry that was tried may be in the log though its
// answer was lost, so it is sent again as it is; the same identifiers count once.

import { postEntry, postFile } from "./door.js";

const WAITS_S = [5, 10, 20, 40, 80, 160, 300];
const SENT_SHOWN_MS = 3 * 86_400_000;
const LOCK = "viaduct-outbox";
const REFUSALS = new Set([400, 403, 413, 415, 422]);

export class Outbox {
  constructor(kept, { onChange, onSent, onTime }) {
    this.kept = kept;
    this.onChange = onChange;
    this.onSent = onSent;
    this.onTime = onTime;
    this.entries = [];
    this.link = "unknown"; // up, down, signed_out, trouble
    this.sending = "";
    this.me = "";
    this.failures = 0;
    this.justSent = 0;
    this.otherTabs = "BroadcastChannel" in window ? new BroadcastChannel(LOCK) : null;
    this.otherTabs?.addEventListener("message", () => this.load());
  }

  async load() {
    const entries = await this.kept.entries();
    const oldest = Date.now() - SENT_SHOWN_MS;
    for (const entry of entries.filter((e) => e.state === "sent" && e.sent_at < oldest)) {
      await this.kept.removeEntry(entry.id);
    }
    this.entries = entries.filter((e) => e.state !== "sent" || e.sent_at >= oldest);
    this.planNext();
    this.onChange();
  }

  async add(entries) {
    this.justSent = 0;
    await this.kept.addEntries(entries);
    await this.changed();
  }

  async put(entry) {
    await this.kept.putEntry(entry);
    await this.changed();
  }

  async discard(id) {
    await this.kept.removeEntry(id);
    await this.changed();
  }

  async changed() {
    this.otherTabs?.postMessage("changed");
    await this.load();
  }

  get lastNumber() {
    return Math.max(0, ...this.entries.map((entry) => entry.number));
  }

  withState(...states) {
    return this.entries.filter((entry) => states.includes(entry.state));
  }

  // Whose name an entry waits for: a phone that is handed on sends nothing under another's name.
  waitsForName(entry) {
    return Boolean(this.me) && entry.state === "queued" && entry.by !== this.me;
  }

  // A later entry of a unit waits for the earlier one, because it may build on it.
  isBlocked(entry) {
    const earlier = this.entries.filter((e) => e.unit === entry.unit && e.number < entry.number);
    return earlier.some((e) => e.state !== "sent") || this.waitsForName(entry);
  }

  async drain() {
    if (this.draining) {
      this.again = true;
      return;
    }
    this.draining = true;
    clearTimeout(this.timer);
    this.timer = null;
    try {
      do {
        this.again = false;
        // Where another tab is at it this one comes back, later each time.
        if (!(await alone(() => this.sendAll()))) this.failures += 1;
      } while (this.again);
    } finally {
      this.draining = false;
      this.sending = "";
      this.planNext();
      this.onChange();
    }
  }

  async sendAll() {
    await this.kept.tryAgain();
    await this.load();
    // A try without signal would only make the entry one that may be in the log. Should the
    // browser be wrong about it, the list of units comes nevertheless and the link is up.
    if (navigator.onLine === false && this.link !== "up") {
      this.heard(0);
      return;
    }
    let any = false;
    let troubled = false;
    for (const { id } of this.withState("queued")) {
      const entry = this.entries.find((each) => each.id === id);
      if (!entry || entry.state !== "queued" || this.isBlocked(entry)) continue;
      await this.send(entry);
      if (["down", "signed_out"].includes(this.link)) break;
      if (this.link === "up") any = true;
      else troubled = true;
    }
    if (troubled && this.link === "up") this.link = "trouble";
    if (any) this.onSent();
  }

  // Trouble with one of them is no reason to keep the others waiting.
  async send(entry) {
    this.sending = entry.id;
    // Written down before it leaves: from now on it may be in the log.
    await this.put({ ...entry, tries: entry.tries + 1 });
    const { answer, events } = await this.sendWhole(entry);
    this.heard(answer ? answer.status : 0);
    if (this.link !== "up") return;
    await this.put({ ...entry, events, tries: entry.tries + 1, ...outcome(answer) });
    this.failures = 0;
    if (answer.status === 200) this.justSent += 1;
    await this.markCorrected(entry, answer.status);
  }

  // Photos and documents first, so that no event in the log names what is not there.
  async sendWhole(entry) {
    const events = [];
    for (const event of entry.events) {
      const files = [];
      for (const file of event.files || []) {
        const answer = file.key ? null : await this.sendFile(file);
        if (!file.key && answer?.status !== 200) return { answer, events: entry.events };
        files.push({ ...file, key: file.key || answer.body.key });
      }
      events.push({ ...event, files });
    }
    return { answer: await postEntry({ ...entry, events }), events };
  }

  async sendFile(file) {
    const blob = await this.kept.file(file.id);
    const gone = { message: `${file.name} is no longer on this phone.`, fix: "Choose it again." };
    return blob ? postFile(blob) : { status: 422, body: { problems: [gone] } };
  }

  async markCorrected(entry, status) {
    if (status !== 200) return;
    for (const earlier of this.entries.filter((each) => entry.corrects.includes(each.id))) {
      await this.put({ ...earlier, corrected: true });
    }
  }

  // Takes note of how the server answered; the page does so for the sheet too.
  heard(status) {
    if (status === 0) this.link = "down";
    else if (status === 401) this.link = "signed_out";
    else if (status === 200 || status === 409 || REFUSALS.has(status)) this.link = "up";
    else this.link = "trouble";
    if (this.link !== "up") this.failures += 1;
  }

  // While anything waits there is a next try, however the list was answered meanwhile.
  planNext() {
    const waiting = this.withState("queued");
    if (!waiting.length) this.failures = 0;
    if (!waiting.length || this.draining || this.timer) return;
    const onlyBlocked = waiting.every((entry) => this.isBlocked(entry));
    const wait = onlyBlocked ? WAITS_S.at(-1) : WAITS_S[Math.min(this.failures, WAITS_S.length) - 1] || WAITS_S[0];
    // Phones that lost signal together should not all come back in the same second.
    this.timer = setTimeout(() => {
      this.timer = null;
      this.onTime();
    }, wait * 1000 * (0.8 + 0.4 * Math.random()));
  }
}

function outcome({ status, body }) {
  if (status === 200) {
    const { last_seq = 0, warnings = [] } = body || {};
    return { state: "sent", sent_at: Date.now(), last_seq, warnings, problems: [], meanwhile: [] };
  }
  if (status === 409) {
    return { state: "clash", meanwhile: body?.meanwhile || [], clash_seq: body?.last_seq || 0 };
  }
  const problems = (body?.problems || []).filter((problem) => problem.severity !== "warning");
  const said = problems.length ? problems : [{ message: body?.message || REASONS[status] || REASONS[400], fix: "" }];
  return { state: "refused", problems: said };
}

const REASONS = {
  400: "The server could not read this entry.",
  403: "You may not record on this unit. Ask whoever looks after the accounts.",
  413: "This entry is too large to be sent in one piece.",
  415: "The server could not read this entry.",
};

// Returns whether it could: no other tab was at it.
async function alone(work) {
  if (!navigator.locks) {
    await work();
    return true;
  }
  return navigator.locks.request(LOCK, { ifAvailable: true }, async (lock) => {
    if (lock) await work();
    return Boolean(lock);
  });
}
