"use strict";
/* Answers on their way: kept on this phone until the service has them. Shared by pages and the service worker.
   An entry: {piece, url, method, type, body, at, key, refused?}. Sent in the order in which they were said; each carries its key,
   so that one that arrives twice counts once, and the time at which it was said, so that the later answer wins. */
const waiting = (() => {
  const SLOW = 8000;
  const PATHS = /^\/(?:p|api\/v1\/pieces)\/([A-Za-z0-9_-]+)\/(?:aisle|check\/[^/]+|finish|plan|ticks|sell|deal|haul|ledger|prices|answers|corrections)$/;

  function store(mode, work) {
    return new Promise((done, fail) => {
      const asked = indexedDB.open("bench", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore("waiting", { keyPath: "id", autoIncrement: true });
      asked.onerror = () => fail(asked.error);
      asked.onsuccess = () => {
        const change = asked.result.transaction("waiting", mode);
        const request = work(change.objectStore("waiting"));
        change.oncomplete = () => { asked.result.close(); done(request.result); };
        change.onabort = change.onerror = () => { asked.result.close(); fail(change.error); };
      };
    });
  }
  const all = async (piece) => (await store("readonly", (s) => s.getAll())).filter((e) => !piece || e.piece === piece);
  const add = (entry) => store("readwrite", (s) => s.add(entry));
  const drop = (id) => store("readwrite", (s) => s.delete(id));
  const put = (entry) => store("readwrite", (s) => s.put(entry));

  function key() {
    return [...crypto.getRandomValues(new Uint8Array(12))].map((b) => b.toString(16).padStart(2, "0")).join("");
  }

  // An entry of what a form or a page sends, or null where it is nothing that can wait.
  function entry(url, method, type, body) {
    const path = new URL(url, self.location.origin).pathname;
    const piece = PATHS.exec(path)?.[1];
    if (!piece || !["POST", "PUT"].includes(method)) return null;
    const made = { piece, url: path, method, type, body, at: new Date().toISOString(), key: key() };
    if (type.startsWith("application/x-www-form-urlencoded")) {
      const form = new URLSearchParams(body);
      form.set("client_key", made.key);
      form.delete("csrf"); // it goes with the header, so that a token of today can take its place
      form.set("said_at", made.at);
      return { ...made, body: form.toString() };
    }
    if (!type.startsWith("application/json")) return null;
    const found = JSON.parse(body);
    if (Array.isArray(found.answers)) found.answers.forEach((a, n) => { a.client_key ??= `${made.key}-${n}`; a.said ??= made.at; });
    else found.client_key ??= made.key;
    return { ...made, body: JSON.stringify(found) };
  }

  async function freshToken() {
    const answer = await fetch("/help", { cache: "no-store", signal: AbortSignal.timeout(SLOW) });
    return /name="bench-token" content="([^"]*)"/.exec(await answer.text())?.[1] ?? "";
  }

  const post = (e, token) => fetch(e.url, {
    method: e.method, body: e.body, redirect: "manual", credentials: "same-origin", signal: AbortSignal.timeout(SLOW),
    headers: { "Content-Type": e.type, "X-Bench-Token": token, "X-Bench-Direct": "1" }, // the service worker lets it pass
  });
  const taken = (answer) => answer.ok || answer.type === "opaqueredirect";

  // Sends one, with a token of today where the page's is too old. Throws where there is no signal.
  async function deliver(e, token) {
    const answer = await post(e, token || await freshToken());
    return answer.status === 403 ? post(e, await freshToken()) : answer;
  }

  async function cause(answer) {
    const text = await answer.text().catch(() => "");
    try { const e = JSON.parse(text).error; return `${e.subject}: ${e.cause} ${e.remedy}`; } catch { /* a page */ }
    const told = /<main[^>]*>([\s\S]*?)<\/main>/.exec(text)?.[1].replace(/<[^>]*>/g, " ").replace(/\s+/g, " ").trim();
    return told || `The service refused it (${answer.status}).`;
  }

  let sending = null;
  // Sends what waits; {sent, left, why}: `why` is "signal", "key" or "".
  async function go(token) {
    let sent = 0;
    for (const e of await all()) {
      if (e.refused) continue;
      let answer;
      try { answer = await deliver(e, token); } catch { return { sent, why: "signal" }; }
      if (taken(answer)) { await drop(e.id); sent += 1; continue; }
      if (answer.status === 401) return { sent, why: "key" };
      if (answer.status === 403 || answer.status === 429 || answer.status >= 500) return { sent, why: "signal" };
      await put({ ...e, refused: await cause(answer) });
    }
    return { sent, why: "" };
  }
  function send(token = "") {
    const locked = () => (self.navigator?.locks ? navigator.locks.request("bench-waiting", () => go(token)) : go(token));
    sending = (sending ?? Promise.resolve()).then(locked, locked);
    return sending;
  }

  return { all, add, drop, entry, deliver, taken, send, PATHS };
})();
