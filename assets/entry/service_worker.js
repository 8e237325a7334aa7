// Keeps the shift entry page on the phone, so that it opens without signal.
//
// The server writes VERSION (a hash of all that is kept) and FILES above this text. A new
// version is fetched whole before the old one is let go. Answers of the doors for writing and
// reading are never kept here.

const CACHE = `shift-entry-${VERSION}`;
const PAGE = "/entry";

self.addEventListener("install", (event) => {
  event.waitUntil(keepAll().then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(dropOld().then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  const isPage = address.pathname === PAGE;
  if (!isPage && (address.search || !FILES.includes(address.pathname))) return;
  event.respondWith(keptOrFetched(isPage ? PAGE : address.pathname, request));
});

async function keepAll() {
  const cache = await caches.open(CACHE);
  await Promise.all(FILES.map(async (file) => {
    const answer = await fetch(file, { cache: "reload", credentials: "same-origin" });
    // A redirect leads to signing in: that is not the page to keep.
    if (!answer.ok || answer.redirected) throw new Error(`${file} cannot be kept now`);
    await cache.put(file, answer);
  }));
}

async function dropOld() {
  const names = await caches.keys();
  const old = names.filter((name) => name.startsWith("shift-entry-") && name !== CACHE);
  await Promise.all(old.map((name) => caches.delete(name)));
}

async function keptOrFetched(file, request) {
  const cache = await caches.open(CACHE);
  return (await cache.match(file)) || fetch(request);
}
