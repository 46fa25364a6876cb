/* Keeps pages that were open, and shows them with their age where the watch cannot be reached. */
"use strict";
const KEPT = "pages", AWAY = "/away", MOST = 40, WAITS = 8000;
const keeps = (url) => !/^\/(a|live|api|login|metrics|site|wall)/.test(url.pathname);

const keep = async (request, answer) => {
  const store = await caches.open(KEPT), headers = new Headers(answer.headers);
  headers.set("x-kept", Date.now());
  await store.put(request, new Response(await answer.blob(), { headers }));
  const keys = await store.keys();
  if (keys.length > MOST) await store.delete(keys.find((one) => !one.url.endsWith(AWAY)));
};
const kept = async (request) => {
  const store = await caches.open(KEPT);
  const found = (await store.match(request)) || (await store.match(request, { ignoreSearch: true }));
  const answer = found || (request.mode === "navigate" && (await store.match(AWAY)));
  if (!answer || request.mode !== "navigate") return answer;
  const age = (Date.now() - answer.headers.get("x-kept")) / 1000;
  const text = (await answer.text()).replace("<body", `<body data-kept="${age}"`);
  return new Response(text, { headers: answer.headers });
};
const fetched = async (event, url) => {
  const { request } = event, page = request.mode === "navigate";
  try {
    const answer = await fetch(request, page ? { signal: AbortSignal.timeout(WAITS) } : {});
    const whole = answer.ok && !answer.redirected && !url.searchParams.has("told");
    if (whole && keeps(url)) event.waitUntil(keep(request, answer.clone()).catch(() => {}));
    return answer;
  } catch (error) {
    const old = await kept(request);
    if (old) return old;
    throw error;
  }
};

addEventListener("install", (event) => {
  event.waitUntil(fetch(AWAY).then((answer) => keep(AWAY, answer)).then(() => skipWaiting()));
});
addEventListener("activate", (event) => event.waitUntil(clients.claim()));
addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== location.origin) return;
  if (request.method === "POST" && url.pathname === "/logout") event.waitUntil(caches.delete(KEPT));
  const files = url.pathname.startsWith("/static/") || url.pathname.endsWith(".svg");
  if (request.method === "GET" && (request.mode === "navigate" || files)) event.respondWith(fetched(event, url));
});
