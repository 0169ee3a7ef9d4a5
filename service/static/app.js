"use strict";
/* Shared by all pages: the token for requests, and photos on their way. */
const bench = {
  token: () => document.querySelector("meta[name=bench-token]")?.content ?? "",
  async send(method, url, body) {
    const headers = { "X-Bench-Token": bench.token() };
    if (body !== undefined) headers["Content-Type"] = "application/json";
    const answer = await fetch(url, { method, headers, body: body === undefined ? undefined : JSON.stringify(body) });
    const found = answer.status === 204 ? null : await answer.json();
    if (!answer.ok) {
      const e = found?.error ?? { subject: "The request", cause: "It failed.", remedy: "Try again." };
      throw new Error(`${e.subject}: ${e.cause} ${e.remedy}`);
    }
    return found;
  },
  make(tag, attributes = {}, text = "") {
    const node = document.createElement(tag);
    for (const [k, v] of Object.entries(attributes)) node.setAttribute(k, v);
    if (text) node.textContent = text;
    return node;
  },
};

(function photosOnTheirWay() {
  const drop = document.getElementById("drop");
  if (!drop) return;
  const coming = document.getElementById("coming");
  let piece = drop.dataset.piece; // empty where the piece is begun with its first photo
  let begun = null;
  const key = crypto.randomUUID ? crypto.randomUUID() : String(Math.random()).slice(2);
  let open = 0;
  let kept = 0;
  let failed = 0;
  const waiting = [];

  function card(file) {
    const item = bench.make("li");
    const image = bench.make("img", { alt: `Preview of ${file.name}` });
    // Formats that this browser cannot show keep an empty frame; they are sent all the same.
    image.src = URL.createObjectURL(file);
    image.addEventListener("load", () => URL.revokeObjectURL(image.src));
    image.addEventListener("error", () => { image.removeAttribute("src"); image.alt = ""; });
    const bar = bench.make("progress", { max: "1", value: "0", "aria-label": `Sending ${file.name}` });
    const said = bench.make("p", { class: "small" }, `${file.name}: waiting`);
    item.append(image, bar, said);
    coming.append(item);
    if (coming.children.length === 1) coming.scrollIntoView({ block: "nearest" });
    return { item, bar, said };
  }

  function send(file, shown) {
    open += 1;
    const form = new FormData();
    form.append("photo", file, file.name);
    const request = new XMLHttpRequest();
    request.open("POST", `/api/v1/pieces/${piece}/photos`);
    request.setRequestHeader("X-Bench-Token", bench.token());
    request.upload.addEventListener("progress", (e) => {
      if (e.lengthComputable) shown.bar.value = e.loaded / e.total;
      shown.said.textContent = `${file.name}: sending`;
    });
    request.addEventListener("loadend", () => {
      open -= 1;
      if (request.status >= 200 && request.status < 300) {
        kept += 1;
        shown.bar.value = 1;
        shown.said.textContent = `${file.name}: kept`;
      } else {
        failed += 1;
        let why = "It could not be sent. Check the connection and choose it again.";
        try { const e = JSON.parse(request.responseText).error; why = `${e.cause} ${e.remedy}`; } catch { /* no answer at all */ }
        shown.bar.remove();
        shown.said.className = "wrong";
        shown.said.textContent = `${file.name}: ${why}`;
      }
      next();
    });
    request.send(form);
  }

  // Two goes at the same piece make one: the key is the same.
  async function begin() {
    const value = (id) => document.getElementById(id)?.value ?? "";
    const made = await bench.send("POST", "/api/v1/pieces", { title: value("title"), notes: value("notes"), client_key: key });
    piece = made.id;
    // The form would begin a second piece: from now on it leads to this one.
    const form = drop.closest("form");
    if (form) {
      form.addEventListener("submit", (e) => { e.preventDefault(); if (!open && !waiting.length) window.location.assign(`/p/${piece}`); });
      const button = form.querySelector("button:not([type])");
      if (button) button.hidden = true;
    }
  }

  async function next() {
    if (!piece) {
      try {
        begun ??= begin();
        await begun;
      } catch (err) {
        begun = null;
        for (const [file, shown] of waiting.splice(0)) { shown.bar.remove(); shown.said.className = "wrong"; shown.said.textContent = `${file.name}: ${err.message}`; }
        return;
      }
    }
    const home = `/p/${piece}`;
    while (open < 2 && waiting.length) { const [file, shown] = waiting.shift(); send(file, shown); }
    if (!open && !waiting.length && kept && !failed) window.location.assign(home);
    if (!open && !waiting.length && kept && failed && !document.getElementById("go-on")) {
      const link = bench.make("a", { class: "button", id: "go-on", href: home }, "Go on with those that were kept");
      drop.append(link);
    }
  }

  function take(files) {
    for (const file of files) waiting.push([file, card(file)]);
    next();
  }

  for (const id of ["take", "choose"]) {
    const input = document.getElementById(id);
    input.addEventListener("change", () => { take([...input.files]); input.value = ""; });
  }
  drop.addEventListener("dragover", (e) => { e.preventDefault(); drop.classList.add("over"); });
  drop.addEventListener("dragleave", () => drop.classList.remove("over"));
  drop.addEventListener("drop", (e) => { e.preventDefault(); drop.classList.remove("over"); take([...e.dataTransfer.files]); });
})();
