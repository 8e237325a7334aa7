// Opens the page and wakes it when signal, sight or another tab asks for it.

import { part } from "./elements.js";
import { EntryPage } from "./entry_page.js";
import { openKept } from "./kept.js";
import { openReview } from "./sending.js";

const REFRESH_MS = 60_000;

async function main() {
  const data = JSON.parse(part("entry-data").textContent);
  const entry = new EntryPage(await openKept(), data.looks, data.sign_in);
  part("review-open").addEventListener("click", () => openReview(entry));
  part("entry-form").addEventListener("focusout", () => setTimeout(() => entry.drawWhatWaited(), 0));
  entry.press.watch();
  window.addEventListener("online", () => entry.retry());
  window.addEventListener("offline", () => {
    entry.outbox.heard(0);
    entry.drawState();
  });
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && entry.retry());
  setInterval(() => document.visibilityState === "visible" && entry.refresh(), REFRESH_MS);
  navigator.storage?.persist?.();
  navigator.serviceWorker?.register("/service-worker.js", { scope: "/" });
  await entry.begin();
  document.documentElement.dataset.ready = "yes";
}

main();
