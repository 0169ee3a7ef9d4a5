"use strict";
/* Plan and sale: ticks are kept as they are made, the advert goes to the clipboard. */
(function work() {
  const piece = document.body.dataset.piece;
  const ticks = document.getElementById("ticks");
  if (ticks && window.indexedDB) {
    document.getElementById("keep-ticks").hidden = true;
    const done = document.getElementById("done");
    const url = new URL(ticks.action).pathname;
    const count = () => { done.textContent = `${ticks.querySelectorAll("input:checked").length} of ${done.dataset.all} done`; };
    // What waits on this phone was ticked last.
    waiting.all(piece).then((rows) => {
      const last = rows.filter((e) => e.url === url && !e.refused).pop();
      if (!last) return;
      const form = new URLSearchParams(last.body);
      ticks.querySelectorAll("input[type=checkbox]").forEach((box) => { box.checked = form.has(box.name); });
      count();
    });
    ticks.addEventListener("change", async () => {
      count();
      const body = new URLSearchParams(new FormData(ticks)).toString();
      // All ticks go together: what waits from before has nothing to add.
      for (const e of await waiting.all(piece)) if (e.url === url) await waiting.drop(e.id);
      await waiting.add(waiting.entry(url, "POST", "application/x-www-form-urlencoded", body));
      const { why } = await waiting.send(bench.token());
      await bench.signal?.show(why);
      if (!why) navigator.serviceWorker?.controller?.postMessage({ keep: piece });
    });
  }
  // Photos taken for the advert: a list for this phone alone.
  for (const box of document.querySelectorAll("input[data-keep]")) {
    const name = `advert/${piece}/${box.dataset.keep}`;
    try {
      box.checked = localStorage.getItem(name) === "1";
      box.addEventListener("change", () => { if (box.checked) localStorage.setItem(name, "1"); else localStorage.removeItem(name); });
      document.getElementById("ticks-here").hidden = false;
    } catch { /* nothing may be kept here */ }
  }
  const copy = document.getElementById("copy");
  if (copy) {
    copy.hidden = false;
    copy.addEventListener("click", async () => {
      const text = document.getElementById("advert");
      try { await navigator.clipboard.writeText(text.value); copy.textContent = "Copied"; } catch { text.focus(); text.select(); copy.textContent = "Marked: copy it by hand"; }
    });
  }
})();
