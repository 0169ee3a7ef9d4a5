"use strict";
/* Service worker: pages of opened pieces stay usable without a signal. The net comes first; what it gave last is shown where it is
   silent. What is said without a signal waits in waiting.js and is sent later. */
importScripts("/static/waiting.js");
const PAGES = "bench-pages-1";
const SHELL = ["/", "/help", "/pieces/new", "/static/site.css", "/static/mark.svg", "/static/app.js", "/static/result.js",
  "/static/ready.js", "/static/waiting.js", "/static/signal.js", "/static/byhand.js", "/static/aisle.js", "/static/finish.js", "/static/work.css", "/static/work.js",
  "/aisle-tables.json", "/finish-tables.json"];
const OF_PIECE = ["", "/aisle", "/aisle.json", "/finish", "/plan", "/sell", "/deal", "/haul", "/ledger", "/sheet", "/report"];
/* Longer than this one does not stand in an aisle looking at nothing, when the last state is at hand. */
const PATIENCE = 5000;

const pictures = (path) => /^\/p\/[^/]+\/photo\/|^\/api\/v1\/pieces\/[^/]+\/photos\/[^/]+\/picture$/.test(path);
const kept = (path) => path === "/" || path === "/help" || path === "/pieces/new" || path.endsWith("-tables.json") || path.startsWith("/static/") || path.startsWith("/p/") || pictures(path);
const pieceOf = (path) => /^\/(?:p|api\/v1\/pieces)\/([A-Za-z0-9_-]+)(?:\/|$)/.exec(path)?.[1] ?? null;
/* Pages are kept under their path; only pictures differ by what follows it. */
const name = (url) => url.origin + url.pathname + (pictures(url.pathname) ? url.search : "");

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(PAGES);
    await Promise.all(SHELL.map((path) => cache.add(path).catch(() => {})));
    await self.skipWaiting();
  })());
});
self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const key of await caches.keys()) if (key !== PAGES) await caches.delete(key);
    await self.clients.claim();
  })());
});

async function tell(message) {
  for (const client of await self.clients.matchAll()) client.postMessage(message);
}

async function forget(piece, only = "") {
  const cache = await caches.open(PAGES);
  for (const request of await cache.keys()) {
    const path = new URL(request.url).pathname;
    if (pieceOf(path) === piece && path.includes(only)) await cache.delete(request);
  }
  if (!only) for (const e of await waiting.all(piece)) await waiting.drop(e.id);
}

async function fromNet(request, url) {
  const answer = await fetch(request);
  if (answer.ok && !answer.redirected && kept(url.pathname)) await (await caches.open(PAGES)).put(name(url), answer.clone());
  if (answer.status === 404 && /^\/p\/[^/]+$/.test(url.pathname)) await forget(pieceOf(url.pathname));
  return answer;
}

async function shown(event, url) {
  const last = await (await caches.open(PAGES)).match(name(url));
  if (last && pictures(url.pathname)) return last; // a kept photo never changes
  const net = fromNet(event.request, url);
  event.waitUntil(net.then(() => {}, () => {}));
  const patience = new Promise((done) => { if (last) setTimeout(() => done(last), PATIENCE); });
  try {
    return await Promise.race([net, patience]);
  } catch (err) {
    if (last) return last;
    if (event.request.mode !== "navigate") throw err;
    return new Response("<!DOCTYPE html><html lang=en><meta name=viewport content='width=device-width'><title>No signal</title><link rel=stylesheet href=/static/site.css><main><h1>No signal</h1><p>This page was not opened while there was one, so it is not on this phone.</p><p><a href='/'>Pieces</a></p></main>",
      { status: 503, headers: { "Content-Type": "text/html" } });
  }
}

/* A piece with all its pages and pictures, so that every one can be opened later. */
const lately = new Map();
async function keep(piece, state) {
  if (state && lately.get(piece) === state) return;
  lately.set(piece, state);
  const cache = await caches.open(PAGES);
  const wanted = OF_PIECE.map((p) => `/p/${piece}${p}`).concat("/aisle-tables.json", "/finish-tables.json");
  const seen = new Set();
  const photos = new Set();
  while (wanted.length) {
    const path = wanted.shift();
    if (seen.has(path)) continue;
    seen.add(path);
    const url = new URL(path, self.location.origin);
    if (pictures(url.pathname)) { photos.add(name(url)); if (await cache.match(name(url))) continue; }
    let answer;
    try { answer = await fetch(url); } catch { return; }
    if (answer.status === 404 && path === `/p/${piece}`) { await forget(piece); return; }
    if (!answer.ok || answer.redirected) continue;
    await cache.put(name(url), answer.clone());
    if (!(answer.headers.get("content-type") ?? "").startsWith("text/html")) continue;
    for (const [, ref] of (await answer.text()).matchAll(/(?:src|href)="(\/[^"#]*)"/g)) {
      const to = new URL(ref.replaceAll("&amp;", "&"), self.location.origin);
      if (pictures(to.pathname) || new RegExp(`^/p/${piece}/check/[^/]+$`).test(to.pathname)) wanted.push(to.pathname + to.search);
    }
  }
  // A photo that the piece no longer has is not kept here either.
  for (const request of await cache.keys()) {
    const url = new URL(request.url);
    if (pieceOf(url.pathname) === piece && pictures(url.pathname) && !photos.has(name(url))) await cache.delete(request);
  }
}

/* Pieces deleted elsewhere are forgotten here. */
async function tidy() {
  const cache = await caches.open(PAGES);
  const pieces = new Set((await cache.keys()).map((r) => pieceOf(new URL(r.url).pathname)).filter(Boolean));
  for (const piece of pieces) {
    try { if ((await fetch(`/api/v1/pieces/${piece}`)).status === 404) await forget(piece); } catch { return; }
  }
}

async function said(event, url) {
  const request = event.request;
  const copy = request.clone();
  const text = await request.text();
  const entry = waiting.entry(request.url, request.method, request.headers.get("content-type") ?? "", text);
  if (!entry) return fetch(copy);
  const token = request.headers.get("X-Bench-Token") ?? new URLSearchParams(text).get("csrf") ?? "";
  try {
    const answer = await waiting.deliver(entry, token);
    if (waiting.taken(answer)) event.waitUntil(keep(entry.piece));
    return answer;
  } catch {
    await waiting.add(entry);
    event.waitUntil(tell({ waiting: entry.piece }));
    if (request.mode !== "navigate") return Response.json({ waiting: true }, { status: 202 });
    return Response.redirect(request.referrer || `/p/${entry.piece}`, 303);
  }
}

async function gone(event, url) {
  const answer = await fetch(event.request);
  if (waiting.taken(answer)) {
    const photo = /\/photos\/([A-Za-z0-9_-]+)/.exec(url.pathname)?.[1];
    await forget(pieceOf(url.pathname), photo ?? "");
  }
  return answer;
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (url.origin !== self.location.origin) return;
  const method = event.request.method;
  if (event.request.headers.has("X-Bench-Direct")) return;
  if (method === "GET" && kept(url.pathname)) event.respondWith(shown(event, url));
  else if (["POST", "PUT"].includes(method) && waiting.PATHS.test(url.pathname)) event.respondWith(said(event, url));
  else if ((method === "POST" && /^\/p\/[^/]+\/(?:delete|photos\/[^/]+\/remove)$/.test(url.pathname)) || (method === "DELETE" && /^\/api\/v1\/pieces\/[^/]+(?:\/photos\/[^/]+)?$/.test(url.pathname))) event.respondWith(gone(event, url));
});

self.addEventListener("message", (event) => {
  if (event.data?.keep) event.waitUntil(keep(event.data.keep, event.data.state));
  if (event.data?.tidy) event.waitUntil(tidy());
});
