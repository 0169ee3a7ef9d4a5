"use strict";
/* Beside the piece: the next question at once, from byhand.js; what is said goes to the service behind it, or waits. Without this
   script, or where its tables cannot be had, the page's forms do the same. */
(async function aisle() {
  const home = document.getElementById("aisle") ?? document.getElementById("check");
  if (!home || !window.indexedDB) return;
  const { piece, part: only } = home.dataset;
  const url = `/p/${piece}/aisle`;
  const asked = new URLSearchParams(location.search);
  let t;
  let state;
  try {
    const [tables, standing] = await Promise.all(["/aisle-tables.json", `/p/${piece}/aisle.json`].map((u) => fetch(u).then((a) => { if (!a.ok) throw new Error(a.status); return a.json(); })));
    t = byhand.ready(tables);
    state = standing;
  } catch { return; }
  if (asked.get("goal")) state.goal = asked.get("goal");
  state.seconds = 60 * (Number(asked.get("minutes")) || Number(home.dataset.minutes) || 3);
  if (only && !state.parts.some((p) => p.id === only)) return;
  if (only) state.asked = [only];
  let rest = 0;
  const given = []; // keys answered on this page, newest last

  function put(key, answer) {
    const at = key.indexOf("/");
    const [subject, question] = [key.slice(0, at), key.slice(at + 1)];
    if (subject === "gate") { delete state.gate[question]; if (answer) state.gate[question] = answer; return; }
    const said = { ...state.said[subject] };
    delete said[question];
    if (answer) said[question] = answer;
    state.said[subject] = said;
  }
  const found = () => byhand.now(t, state, state.gate, state.said);

  // What waits on this phone has been said, though the service does not know it yet.
  for (const e of await waiting.all(piece)) {
    const form = e.refused ? null : new URLSearchParams(e.type.startsWith("application/json") ? "" : e.body);
    if (form?.get("key")) { put(form.get("key"), form.get("answer")); given.push(form.get("key")); }
  }
  if (state.last && !given.length) given.push(state.last);

  async function give(key, answer) {
    put(key, answer);
    if (answer) given.push(key); else given.splice(given.lastIndexOf(key), 1);
    draw(answer ? key : "");
    const body = new URLSearchParams({ key, answer: answer ?? "" }).toString();
    await waiting.add(waiting.entry(url, "POST", "application/x-www-form-urlencoded", body));
    const { why } = await waiting.send(bench.token());
    await bench.signal?.show(why);
    // Once the thumb rests: the other pages of the piece as they are now.
    clearTimeout(rest);
    if (!why) rest = setTimeout(() => navigator.serviceWorker?.controller?.postMessage({ keep: piece }), 2500);
  }

  const el = bench.make;
  const button = (words, kind, then) => { const b = el("button", { type: "button", class: kind }, words); b.addEventListener("click", then); return b; };
  const drawing = (name) => (t.drawings[name] ? document.importNode(new DOMParser().parseFromString(t.drawings[name], "image/svg+xml").documentElement, true) : null);

  function line(p) {
    const x = byhand.partLine(t, p, p.fused);
    const near = (words) => words.replace(" %", "\u00a0%");
    const rows = x.rows.map((r) => ({ ...r, low: near(r.low), high: near(r.high) })).map((r) => {
      const row = el("div", { class: "barrow" });
      row.append(el("span", {}, r.words), el("meter", { min: "0", max: "1", value: String(r.middle), "aria-label": r.words }, `${r.low} to ${r.high}`), el("span", { class: "n" }, r.low === r.high ? r.low : `${r.low} to ${r.high}`));
      return row;
    });
    return { ...x, rows, moved: x.moved.map((m) => ({ ...m, node: el("p", { class: "small" }, `${m.check}: ${m.answer}. ${m.words}${m.why ? ` (in part: ${m.why})` : ""}`) })) };
  }

  // What the answer just given did.
  function after(now, key) {
    const at = key.indexOf("/");
    const [subject, question] = [key.slice(0, at), key.slice(at + 1)];
    if (subject === "gate") {
      const r = now.at.reasons.find((x) => x.question === question);
      return r ? [`${r.words[0].toUpperCase()}${r.words.slice(1)}. ${r.reason}`, r.do] : [];
    }
    const p = now.parts.find((x) => x.id === subject);
    if (!p || byhand.OPEN.includes(p.said[question])) return [];
    const x = byhand.partLine(t, p, p.fused);
    const did = x.moved.find((m) => m.key === question);
    return [did ? `${did.words}${did.why ? ` (in part: ${did.why})` : ""}` : "That tells what is left not apart.", `${p.name}: ${x.call}`];
  }

  function question(q) {
    const card = el("section", { class: "card thumb" });
    const picture = drawing(q.drawing);
    if (picture) { const d = el("div", { class: "look" }); d.append(picture); card.append(d); }
    card.append(el("h2", { id: "q", tabindex: "-1" }, q.text), el("p", {}, q.how));
    const group = el("div", { role: "group", "aria-labelledby": "q" });
    for (const a of q.answers) group.append(button(a.words, "big", () => give(q.key, a.key)));
    const open = el("div", { class: "pair-of" });
    for (const [k, words] of Object.entries(t.open)) open.append(button(words, "big quiet", () => give(q.key, k)));
    group.append(open);
    card.append(group);
    return card;
  }

  const OVER = { time: "The time is over.", settled: "Every part is settled.", nothing: "No check left would tell much: what is open stays open." };

  function ended(now) {
    if (now.breaker) {
      const box = el("section", { class: "care broken", role: "alert" });
      box.append(el("h2", { id: "q", tabindex: "-1" }, "Deal-breaker"), el("p", { class: "lead" }, now.breaker.words[0].toUpperCase() + now.breaker.words.slice(1)));
      const reason = now.breaker.part === null ? now.at.reasons[0] : null;
      if (reason) box.append(el("p", {}, reason.do));
      box.append(el("p", {}, reason ? "No talk of money. Nothing more is asked." : "Not for this goal. Another goal may still be open: choose it below, or leave the piece."));
      return box;
    }
    const box = el("section", { class: "slip" });
    box.append(el("h2", { id: "q", tabindex: "-1" }, OVER[now.over]), el("p", {}, t.measure));
    if (now.over === "time") box.append(button("Three minutes more", "", () => { state.seconds += 180; draw(""); }));
    return box;
  }

  function draw(key) {
    const now = found();
    if (only) return drawPart(now, key);
    const spent = Math.round(now.seconds);
    document.getElementById("spent").textContent = `About ${Math.floor(spent / 60)} min ${spent % 60} s by what the questions take; ${Math.round(state.seconds / 60)} min planned.`;
    const last = given[given.length - 1];
    const told = key ? after(now, key) : [];
    const parts = [];
    if (told.length && !now.breaker) { const s = el("div", { class: "said" }); told.forEach((x) => s.append(el("p", {}, x))); parts.push(s); }
    parts.push(now.next ? question(now.next) : ended(now));
    if (last) parts.push(button("Take the last answer back", "quiet", () => give(last, null)));
    document.getElementById("ask").replaceChildren(...parts);
    stands(now);
    if (key !== null) { document.getElementById("q")?.focus({ preventScroll: true }); document.getElementById("ask").scrollIntoView({ block: "start" }); }
  }

  function stands(now) {
    const out = [];
    const head = el("p", {}, "At the gate: ");
    head.append(el("b", {}, t.verdicts[now.at.rank]), ".");
    const open = now.at.unknown;
    if (open.length) head.append(el("span", { class: "small" }, ` Not looked at, and so not clear: ${open.map((u) => u.name).join(", ")}.`));
    out.push(head);
    for (const r of now.at.reasons) { const s = el("div", { class: "slip" }); s.append(el("b", { class: "k" }, r.words), el("p", {}, `${r.reason} ${r.do}`)); out.push(s); }
    for (const p of now.parts) {
      const x = line(p);
      const box = el("details", { class: "card" });
      box.open = x.moved.length > 0;
      const top = el("span", {}, p.name);
      top.append(el("br"), el("span", { class: x.open ? "call open" : "call" }, x.call));
      const summary = el("summary");
      summary.append(top);
      box.append(summary, ...x.rows, ...x.moved.map((m) => m.node), el("p"));
      box.lastChild.append(el("a", { href: `/p/${piece}/check/${p.id}` }, `All checks of ${p.name.toLowerCase()}`));
      out.push(box);
    }
    document.getElementById("stands").replaceChildren(...out);
  }

  // One part: its checks stay where they are; call, ranges and marks follow.
  function drawPart(now, key) {
    const p = now.parts[0];
    const x = line(p);
    const call = document.getElementById("call");
    call.textContent = x.call;
    call.classList.toggle("open", x.open);
    document.getElementById("ranges").replaceChildren(...x.rows, ...x.moved.map((m) => m.node));
    for (const box of home.querySelectorAll("[data-check]")) {
      const said = p.said[box.dataset.check];
      box.querySelectorAll("button[name=answer]").forEach((b) => b.setAttribute("aria-pressed", String(b.value === (said ?? ""))));
      const back = box.querySelector("button[value='']");
      if (back) back.hidden = !said;
      const did = x.moved.find((m) => m.key === box.dataset.check);
      box.querySelector(".did").textContent = did ? `${did.words}${did.why ? ` (in part: ${did.why})` : ""}` : said && !byhand.OPEN.includes(said) ? "That tells what is left not apart." : "";
    }
    if (key) document.getElementById("told").textContent = `${p.name}: ${x.call}`;
  }
  if (only) {
    home.addEventListener("submit", (e) => {
      const box = e.target.closest("[data-check]");
      if (!box || !e.submitter) return;
      e.preventDefault();
      give(`${only}/${box.dataset.check}`, e.submitter.value || null);
    });
  }
  draw(null);
})();
