/*
 * What the server answers instead of the worker while keeping pages is switched off: it clears what the worker
 * kept and leaves. The tablet's entries are elsewhere and stay.
 */
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(leave()));

async function leave() {
  const kept = (await caches.keys()).filter((name) => /^(files|pages) /.test(name));
  await Promise.all(kept.map((name) => caches.delete(name)));
  await self.registration.unregister();
}
