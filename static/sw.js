// Keeps the program for days without a network. `VERSION` (a hash of every file's content) and
// `FILES` (path and SHA-256 of each) are put before this text when the page is built, so that every
// build has a worker of its own: it takes the whole of its build or nothing, and a page never gets
// files of two builds.
const CACHE = "lipwright-" + VERSION;
const SCOPE = new URL("./", self.location).href;

async function sha256(bytes) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return Array.from(digest, (b) => b.toString(16).padStart(2, "0")).join("");
}

async function takeOne(cache, [path, hash]) {
  const url = new URL(path, SCOPE).href;
  const response = await fetch(url, { cache: "no-cache" });
  if (!response.ok) throw new Error(path + ": the server answered " + response.status);
  // A server that is being given a new build answers with files of both: then this one is not taken.
  if ((await sha256(await response.clone().arrayBuffer())) !== hash) throw new Error(path + ": of another build");
  await cache.put(url, response);
}

async function takeAll() {
  const cache = await caches.open(CACHE);
  try {
    for (const file of FILES) await takeOne(cache, file);
  } catch (error) {
    await caches.delete(CACHE);
    throw error;
  }
}

async function forgetOthers() {
  for (const name of await caches.keys()) {
    if (name.startsWith("lipwright-") && name !== CACHE) await caches.delete(name);
  }
}

async function answer(request) {
  const url = new URL(request.url);
  url.search = "";
  url.hash = "";
  if (url.href === SCOPE) url.pathname += "index.html";
  const cache = await caches.open(CACHE);
  return (await cache.match(url.href)) ?? fetch(request);
}

self.addEventListener("install", (event) => event.waitUntil(takeAll()));
self.addEventListener("activate", (event) => event.waitUntil(forgetOthers()));
self.addEventListener("fetch", (event) => {
  if (event.request.method === "GET" && event.request.url.startsWith(SCOPE)) event.respondWith(answer(event.request));
});
// The page asks for this when the person chose to go over to the new build.
self.addEventListener("message", (event) => {
  if (event.data === "go over") self.skipWaiting();
});
