"use strict";
/* The result page: progress, evidence on the photo, zoom, what is known, outlines corrected. */
(function result() {
  const piece = document.getElementById("drop")?.dataset.piece;
  const all = (selector, root = document) => [...root.querySelectorAll(selector)];

  const progress = document.getElementById("progress");
  if (progress) { history.scrollRestoration = "manual"; window.scrollTo(0, 0); } // what goes on stands at the top
  if (progress && window.EventSource) {
    const job = progress.dataset.job;
    const events = new EventSource(`/api/v1/jobs/${job}/events`);
    events.addEventListener("job", (e) => {
      const now = JSON.parse(e.data);
      document.getElementById("stage").textContent = now.state === "queued" && now.ahead ? `waiting, ${now.ahead} before it` : now.stage || now.state;
      document.getElementById("done").value = now.progress;
      if (["done", "failed", "cancelled"].includes(now.state)) { events.close(); window.location.reload(); }
    });
    events.addEventListener("gone", () => { events.close(); window.location.reload(); });
    document.getElementById("stop").addEventListener("click", async () => {
      try { await bench.send("POST", `/api/v1/jobs/${job}/cancel`); } catch (e) { document.getElementById("stage").textContent = e.message; }
    });
  }

  for (const box of all("#layers input")) {
    const show = () => all(`g[data-layer="${box.value}"]`).forEach((g) => g.classList.toggle("hidden", !box.checked && !g.classList.contains("held")));
    box.addEventListener("change", show);
  }

  function showPhoto(figure) {
    if (!which || !figure) return;
    all("figure.photo").forEach((f) => f.classList.toggle("hidden", f !== figure));
    all("button", which).forEach((b) => b.setAttribute("aria-pressed", String(b.dataset.for === figure.id)));
  }
  const which = document.getElementById("which");
  if (which) {
    which.classList.remove("hidden");
    for (const b of all("button", which)) b.addEventListener("click", () => showPhoto(document.getElementById(b.dataset.for)));
    showPhoto(document.querySelector("figure.photo"));
  }
  const say = (figure, text) => { figure.querySelector(".here").textContent = text; };
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  const bring = (node, block) => node.scrollIntoView({ block, behavior: calm ? "auto" : "smooth" });
  const open = (node) => { for (let n = node; n; n = n.parentElement) if (n.tagName === "DETAILS") n.open = true; };

  function choosePart(part, from) {
    all(".panel:not(.under)").forEach((p) => p.classList.toggle("chosen", p.dataset.part === part && part !== ""));
    const section = document.getElementById(`part-${part}`);
    if (section && from === "photo") { open(section); bring(section, "start"); }
    if (from === "list") {
      const panel = all(`.panel[data-part="${part}"]`);
      if (panel.length && !panel.some((p) => !p.closest("figure").classList.contains("hidden"))) showPhoto(panel[0].closest("figure"));
    }
  }

  function chooseFinding(id) {
    all(".mark.chosen").forEach((m) => m.classList.remove("chosen"));
    all("g.held").forEach((g) => { g.classList.remove("held"); const box = document.querySelector(`#layers input[value="${g.dataset.layer}"]`); g.classList.toggle("hidden", !(box && box.checked)); });
    all(".finding").forEach((b) => b.classList.toggle("chosen", b.dataset.finding === id));
    const marks = all(`g[data-finding="${id}"]`);
    marks.forEach((g) => { g.classList.remove("hidden"); g.classList.add("held"); all(".mark:not(.under)", g).forEach((m) => m.classList.add("chosen")); });
    if (!marks.length) return;
    const figure = marks[0].closest("figure");
    showPhoto(figure);
    say(figure, `Finding ${marks[0].querySelector("title").textContent}`);
    bring(figure, "nearest");
  }
  for (const g of all("g[data-finding]")) {
    g.addEventListener("click", (e) => {
      if (g.closest("figure").querySelector(".corner")) return;
      e.stopPropagation();
      const shown = g.querySelector("title").textContent;
      all(".mark.chosen").forEach((m) => m.classList.remove("chosen"));
      all(".mark:not(.under)", g).forEach((m) => m.classList.add("chosen"));
      say(g.closest("figure"), `Finding ${shown}`);
    });
  }

  for (const b of all(".finding")) b.addEventListener("click", () => chooseFinding(b.dataset.finding));
  for (const section of all("details.part")) section.addEventListener("focusin", () => choosePart(section.dataset.part, "list"));

  for (const form of all("form.known")) {
    form.addEventListener("submit", async (e) => {
      e.preventDefault();
      const told = form.querySelector(".told");
      const known = `${form.elements.face.value}/${form.elements.core.value}`;
      try {
        await bench.send("PUT", `/api/v1/pieces/${piece}/answers`, { answers: [{ key: `${form.dataset.part}/known`, answer: known === "/" ? null : known }] });
        told.textContent = known === "/" ? "Taken back." : "Kept: it outranks the photos in hand checks, plan and advert.";
      } catch (err) { told.textContent = err.message; }
    });
  }

  // Fewer corners to drag (Douglas and Peucker): none of those left out lies further than `far` pixels from what stays.
  function thinned(points, far) {
    const [a, b] = [points[0], points[points.length - 1]];
    const along = Math.hypot(b[0] - a[0], b[1] - a[1]);
    let worst = 0;
    let at = 0;
    points.slice(1, -1).forEach((p, n) => {
      const off = along ? Math.abs((b[0] - a[0]) * (a[1] - p[1]) - (a[0] - p[0]) * (b[1] - a[1])) / along : Math.hypot(p[0] - a[0], p[1] - a[1]);
      if (off > worst) { worst = off; at = n + 1; }
    });
    return worst <= far ? [a, b] : [...thinned(points.slice(0, at + 1), far).slice(0, -1), ...thinned(points.slice(at), far)];
  }
  function corners(points, far) {
    const kept = thinned([...points, points[0]], far).slice(0, -1);
    return kept.length >= 3 ? kept : points;
  }

  for (const figure of all("figure.photo")) {
    const stage = figure.querySelector(".stage");
    const moving = figure.querySelector(".moving");
    const svg = figure.querySelector("svg");
    const view = { k: 1, x: 0, y: 0 };
    const fingers = new Map();
    let moved = false;
    let editing = null;

    function place() {
      const w = stage.clientWidth;
      const h = stage.clientHeight;
      view.k = Math.min(8, Math.max(1, view.k));
      view.x = Math.min(0, Math.max(w - w * view.k, view.x));
      view.y = Math.min(0, Math.max(h - h * view.k, view.y));
      moving.style.transform = `translate(${view.x}px, ${view.y}px) scale(${view.k})`;
      stage.classList.toggle("zoomed", view.k > 1);
      moving.style.setProperty("--k", String(view.k));
      all(".number", svg).forEach((n) => n.setAttribute("font-size", String(Number(n.dataset.size) / view.k ** 0.85)));
    }
    function zoom(by, cx = stage.clientWidth / 2, cy = stage.clientHeight / 2) {
      const k = Math.min(8, Math.max(1, view.k * by));
      view.x = cx - (cx - view.x) * (k / view.k);
      view.y = cy - (cy - view.y) * (k / view.k);
      view.k = k;
      place();
    }
    all(".zoom", figure).forEach((b) => b.addEventListener("click", () => zoom(Number(b.dataset.by))));
    stage.addEventListener("wheel", (e) => { if (!e.ctrlKey) return; e.preventDefault(); const r = stage.getBoundingClientRect(); zoom(e.deltaY < 0 ? 1.2 : 1 / 1.2, e.clientX - r.left, e.clientY - r.top); }, { passive: false });

    stage.addEventListener("pointerdown", (e) => { fingers.set(e.pointerId, [e.clientX, e.clientY]); moved = false; if (fingers.size === 2) stage.classList.add("zoomed"); });
    stage.addEventListener("pointermove", (e) => {
      if (!fingers.has(e.pointerId) || editing?.held) return;
      const before = [...fingers.values()];
      const [px, py] = fingers.get(e.pointerId);
      fingers.set(e.pointerId, [e.clientX, e.clientY]);
      if (Math.hypot(e.clientX - px, e.clientY - py) > 3) moved = true;
      const r = stage.getBoundingClientRect();
      if (fingers.size === 1 && view.k > 1) { view.x += e.clientX - px; view.y += e.clientY - py; stage.classList.add("drag"); place(); }
      if (fingers.size === 2) {
        const now = [...fingers.values()];
        const far = (p) => Math.hypot(p[0][0] - p[1][0], p[0][1] - p[1][1]);
        zoom(far(now) / Math.max(1, far(before)), (now[0][0] + now[1][0]) / 2 - r.left, (now[0][1] + now[1][1]) / 2 - r.top);
      }
    });
    for (const kind of ["pointerup", "pointercancel", "pointerleave"]) stage.addEventListener(kind, (e) => { fingers.delete(e.pointerId); stage.classList.remove("drag"); });

    const at = (e) => {
      const point = svg.createSVGPoint();
      point.x = e.clientX; point.y = e.clientY;
      const p = point.matrixTransform(svg.getScreenCTM().inverse());
      return [Math.min(Number(figure.dataset.w), Math.max(0, p.x)), Math.min(Number(figure.dataset.h), Math.max(0, p.y))];
    };
    for (const panel of all(".panel:not(.under)", figure)) {
      const chosen = () => { if (!moved && !editing) { say(figure, panel.getAttribute("aria-label")); choosePart(panel.dataset.part, "photo"); } };
      panel.addEventListener("click", chosen);
      panel.addEventListener("keydown", (e) => { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); chosen(); } });
    }
    figure.querySelector(".fix").addEventListener("click", () => { if (!editing) edit(); });

    function edit() {
      const tools = bench.make("div", { class: "card noprint" });
      const said = bench.make("p", { class: "small", role: "status" }, "Tap a panel, then drag its corners; or choose what to do.");
      const ways = { move: "move corners", draw: "draw a panel", split: "split by a line", merge: "join two", remove: "no panel" };
      const row = bench.make("div", { class: "row" });
      editing = { do: "move", panel: null, points: [], panels: [], held: false };
      for (const [key, words] of Object.entries(ways)) {
        const label = bench.make("label", { class: "inline" });
        const radio = bench.make("input", { type: "radio", name: `do-${figure.id}`, value: key });
        if (key === "move") radio.checked = true;
        radio.addEventListener("change", () => { editing.do = key; editing.points = []; editing.panels = []; editing.panel = null; draw(); });
        label.append(radio, ` ${words}`);
        row.append(label);
      }
      const keep = bench.make("button", { type: "button" }, "Keep and look again");
      const leave = bench.make("button", { type: "button", class: "quiet" }, "Leave it");
      const undo = bench.make("button", { type: "button", class: "quiet" }, "Last point back");
      const end = bench.make("div", { class: "row" });
      end.append(keep, undo, leave);
      tools.append(row, said, end);
      figure.append(tools);
      const layer = document.createElementNS("http://www.w3.org/2000/svg", "g");
      svg.append(layer);
      const shape = (tag, attributes) => { const n = document.createElementNS("http://www.w3.org/2000/svg", tag); for (const [k, v] of Object.entries(attributes)) n.setAttribute(k, v); layer.append(n); return n; };
      const unit = Math.max(Number(figure.dataset.w), Number(figure.dataset.h)) / 70;

      function draw() {
        layer.replaceChildren();
        all(".panel:not(.under)", figure).forEach((p) => p.classList.toggle("chosen", p.dataset.panel === editing.panel || editing.panels.includes(p.dataset.panel)));
        if (!editing.points.length) return;
        shape(editing.do === "split" ? "polyline" : "polygon", { class: "mark chosen", points: editing.points.map((p) => p.join(",")).join(" ") });
        editing.points.forEach((p, n) => {
          const corner = shape("circle", { class: "corner", cx: p[0], cy: p[1], r: unit / view.k ** 0.5 });
          corner.addEventListener("pointerdown", (e) => { e.stopPropagation(); editing.held = true; corner.setPointerCapture(e.pointerId); });
          corner.addEventListener("pointermove", (e) => { if (!editing.held) return; editing.points[n] = at(e); corner.setAttribute("cx", editing.points[n][0]); corner.setAttribute("cy", editing.points[n][1]); layer.firstChild.setAttribute("points", editing.points.map((q) => q.join(",")).join(" ")); });
          corner.addEventListener("pointerup", (e) => { editing.held = false; e.stopPropagation(); });
        });
      }
      function tapped(e) {
        if (moved || editing.held || e.target.classList.contains("corner")) return;
        const panel = e.target.dataset?.panel;
        if (editing.do === "draw" || (editing.do === "split" && editing.panel)) {
          if (editing.do === "split" && editing.points.length === 2) editing.points = [];
          editing.points.push(at(e));
        } else if (panel !== undefined) {
          editing.panel = panel;
          if (editing.do === "merge") editing.panels = editing.panels.includes(panel) ? editing.panels.filter((p) => p !== panel) : [...editing.panels, panel];
          if (editing.do === "move") editing.points = corners(e.target.getAttribute("points").trim().split(" ").map((p) => p.split(",").map(Number)), unit / 2.5);
          said.textContent = { move: "Drag its corners.", split: "Now tap the two ends of the line.", merge: `${editing.panels.length} chosen.`, remove: "It will be taken away." }[editing.do] ?? "";
        }
        draw();
      }
      svg.addEventListener("click", tapped);
      undo.addEventListener("click", () => { if (editing.do !== "move") editing.points.pop(); draw(); });
      function close() { svg.removeEventListener("click", tapped); layer.remove(); tools.remove(); editing = null; all(".panel.chosen", figure).forEach((p) => p.classList.remove("chosen")); }
      leave.addEventListener("click", close);
      keep.addEventListener("click", async () => {
        const change = { photo: figure.dataset.photo, do: editing.do === "move" || editing.do === "draw" ? "outline" : editing.do };
        if (editing.do === "move") Object.assign(change, { panel: editing.panel, points: editing.points });
        if (editing.do === "draw") change.points = editing.points;
        if (editing.do === "split") Object.assign(change, { panel: editing.panel, line: editing.points });
        if (editing.do === "merge") change.panels = editing.panels;
        if (editing.do === "remove") change.panel = editing.panel;
        try { await bench.send("POST", `/api/v1/pieces/${piece}/corrections`, change); window.location.reload(); } catch (err) { said.textContent = err.message; said.className = "wrong"; }
      });
      draw();
    }
  }
})();
