// Keeps the page itself on the phone. Findings never pass through here: the page keeps and sends them.
const SHELL = "garage-shell-2";
const FACES = ["besley", "libre-franklin"].map(name => `/app/static/${name}-latin-wght-normal.woff2`);
const FILES = ["/garage/", "/garage/garage.js", "/garage/style.css", ...FACES];

self.addEventListener("install", event => {
  event.waitUntil(caches.open(SHELL).then(kept => kept.addAll(FILES)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", event => {
  event.waitUntil(caches.keys()
    .then(names => Promise.all(names.filter(name => name !== SHELL).map(name => caches.delete(name))))
    .then(() => self.clients.claim()));
});

self.addEventListener("fetch", event => {
  const path = new URL(event.request.url).pathname;
  if (event.request.method !== "GET" || !FILES.includes(path)) return;
  event.respondWith(fetch(event.request)
    .then(fresh => {
      const copy = fresh.clone();
      if (fresh.ok && !fresh.redirected) caches.open(SHELL).then(kept => kept.put(path, copy));
      return fresh;
    })
    .catch(() => caches.match(path)));
});
