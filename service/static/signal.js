"use strict";
/* On every page: says when there is no signal and what waits, sends it when there is one again. */
(function signal() {
  const piece = document.body.dataset.piece || "";
  const main = document.getElementById("main");
  const bar = bench.make("div", { class: "slip noprint", id: "signal", role: "status", hidden: "" });
  main.prepend(bar);
  let sentNow = 0;

  function lines(rows) {
    const open = rows.filter((e) => !e.refused);
    const out = [];
    if (!navigator.onLine) out.push("No signal. You see what was loaded last.");
    if (open.length) out.push(`${open.length} ${open.length === 1 ? "entry waits" : "entries wait"} on this phone; ${open.length === 1 ? "it goes" : "they go"} out when there is a signal.`);
    if (sentNow && !open.length) out.push(`${sentNow} ${sentNow === 1 ? "entry that waited has" : "entries that waited have"} gone out.`);
    return out;
  }

  async function show(why = "") {
    const rows = await waiting.all();
    const said = lines(rows);
    if (why === "key") said.push("Sign in with the access key to send them.");
    bar.replaceChildren(...said.map((t) => bench.make("p", {}, t)));
    if (sentNow && piece && !rows.length) bar.append(bench.make("a", { href: location.pathname + location.search, class: "button quiet small-button" }, "Show what changed"));
    if (why === "key") bar.append(bench.make("a", { href: `/key?next=${encodeURIComponent(location.pathname)}` }, "Sign in"));
    for (const e of rows.filter((r) => r.refused)) {
      const row = bench.make("p", { class: "wrong" }, `Not taken (said ${new Date(e.at).toLocaleString()}): ${e.refused} `);
      const off = bench.make("button", { type: "button", class: "quiet small-button" }, "Let it go");
      off.addEventListener("click", async () => { await waiting.drop(e.id); show(); });
      row.append(off);
      bar.append(row);
    }
    bar.hidden = !bar.childNodes.length;
  }

  // What was typed into a form and waits is shown in it again.
  async function refill() {
    for (const e of await waiting.all(piece)) {
      const form = [...document.querySelectorAll("form[data-refill]")].find((f) => new URL(f.action).pathname === e.url);
      if (!form || !e.type.startsWith("application/x-www-form-urlencoded")) continue;
      for (const [field, value] of new URLSearchParams(e.body)) {
        const input = form.elements.namedItem(field);
        if (!input || !("value" in input) || ["hidden", "submit"].includes(input.type)) continue;
        if (input.type === "checkbox") input.checked = true; else input.value = value;
      }
    }
  }

  async function go() {
    if (!(await waiting.all()).some((e) => !e.refused)) return show();
    const { sent, why } = await waiting.send(bench.token());
    sentNow += sent;
    await show(why);
    if (sent) navigator.serviceWorker?.controller?.postMessage({ keep: piece });
  }

  bench.signal = { show, go };
  window.addEventListener("online", go);
  window.addEventListener("offline", () => show());
  document.addEventListener("visibilitychange", () => { if (!document.hidden) go(); });
  refill().then(go).catch(() => {});

  if ("serviceWorker" in navigator) {
    navigator.serviceWorker.addEventListener("message", (e) => { if (e.data?.waiting) show(); });
    navigator.serviceWorker.register("/static/offline.js", { scope: "/" }).catch(() => {});
    navigator.serviceWorker.ready.then((r) => r.active.postMessage(piece ? { keep: piece, state: document.body.dataset.state } : { tidy: location.pathname === "/" }));
  }
})();
