"use strict";
/* Spot tests of the old finish without asking the service, as service/finish/spot.py concludes. */
const spotTests = (() => {
  // {finish, notes, next}: `finish` a key of the words or "unknown".
  function concluded(t, answers) {
    let [finish, sure] = ["unknown", true];
    const notes = [];
    for (const [n, test] of t.tests.entries()) {
      const given = test.answers.find((a) => a.key === answers[test.key]);
      if (!given) { if (test.key in answers && test.key !== "mineral_spirits") sure = false; continue; }
      const softened = given.means === "reactive" && answers.alcohol === "softens"; // alcohol took it: then it is not that
      if (given.note && !softened) notes.push(given.note);
      if (given.means) {
        sure = sure && !softened;
        const gentler = t.tests.slice(1, n).every((g) => g.key in answers);
        finish = sure && gentler ? given.means : "unknown";
        break;
      }
    }
    if (finish === "lacquer_or_waterborne" && answers.alcohol === "softens") notes.push(t.blend);
    const next = finish !== "unknown" ? null : t.tests.find((x) => !(x.key in answers)) ?? null;
    return { finish, notes, next };
  }
  return { concluded };
})();
if (typeof module !== "undefined") module.exports = spotTests;
else (async function page() {
  const home = document.getElementById("finish");
  if (!home || location.search) return; // begun without this script: go on without it
  let t;
  try { t = await (await fetch("/finish-tables.json")).json(); } catch { return; }
  const keep = document.getElementById("keep");
  const answers = {};
  const el = bench.make;
  function draw() {
    const found = spotTests.concluded(t, answers);
    const out = [];
    if (found.next) {
      const card = el("section", { class: "card thumb" });
      const head = el("h2", { tabindex: "-1" }, found.next.text);
      card.append(head, el("p", {}, found.next.how));
      for (const a of [...found.next.answers, { key: "cannot_say", words: "cannot tell" }]) {
        const b = el("button", { type: "button", class: a.key === "cannot_say" ? "big quiet" : "big" }, a.words);
        b.addEventListener("click", () => { answers[found.next.key] = a.key; draw(); home.querySelector("h2, .call")?.focus(); });
        card.append(b);
      }
      out.push(card);
    }
    const told = found.finish !== "unknown";
    if (Object.keys(answers).length) {
      out.push(el("p", { class: told ? "call" : "call open", role: "status", tabindex: "-1" }, told ? `The old finish: ${t.words[found.finish]}` : `Cannot tell${found.next ? " yet" : ""}`));
      found.notes.forEach((n) => out.push(el("p", { class: "slip" }, n)));
      const again = el("button", { type: "button", class: "quiet" }, "Begin again");
      again.addEventListener("click", () => { for (const k of Object.keys(answers)) delete answers[k]; draw(); });
      out.push(again);
    }
    home.replaceChildren(...out);
    keep.hidden = !told || keep.elements.part.options.length < 2;
    keep.elements.finish.value = told ? found.finish : "";
  }
  draw();
})();
